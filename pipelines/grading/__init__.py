"""Grading pictures fast: looks baked into tables, and the compiled kernel that applies them."""
