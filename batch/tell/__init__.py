"""People told of the night, by mail and by webhook: what has changed, and at the end a digest."""
