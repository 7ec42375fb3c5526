"""Production sound: recordings and takes read, placed against a clip's timecode to the sample, and their samples."""
