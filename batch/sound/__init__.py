"""Production sound found under the sound folders, and which take belongs to which clip, with the reason."""
