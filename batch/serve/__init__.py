"""The live page over HTTP: one output folder, read-only. It reads what the run writes and never calls it."""
