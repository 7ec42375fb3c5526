"""One job of one clip: in plain values, and as the objects that render it."""
