"""Pages at a terminal: plans and queues as commands print them, from results of the API."""
