"""A night from request to summary: the runner's loop, finishing, revisions, forecast, hooks."""
