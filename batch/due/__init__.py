"""What of a clip is to be made in an output folder: missing, changed, of another copy of its original, with other sound."""
