"""The live page over HTTP: output folders, read-only. It reads what the run writes and never calls it."""
