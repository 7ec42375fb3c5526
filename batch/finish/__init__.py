"""The last step of one job, run by a worker: segments joined with sound, read back, given their final names; sound made anew."""
