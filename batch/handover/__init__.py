"""A delivery closed for whoever gets it: what is in it, what changed since the last one, what is missing, and its proof."""
