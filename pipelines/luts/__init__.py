"""LUT files of every kind that is read, what they do to a picture, and LUTs written for others."""
