"""The day as its cards come: which card is complete, which it is, and the run that takes each in once."""
