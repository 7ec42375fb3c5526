"""One segment rendered: the function that a worker runs; and the slate card."""
