"""What is said at a terminal or in a pipe: lines, tables, progress."""
