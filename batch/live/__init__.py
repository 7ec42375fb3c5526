"""The night while it runs: its state as one model, and the page that is made of it."""
