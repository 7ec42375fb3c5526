"""Framing decisions (ASC FDL): which of them is a clip's, and what it makes of each output's frame, with the reason."""
