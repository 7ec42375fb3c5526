"""Lists and grades into what will be made of each clip, before a frame is read."""
