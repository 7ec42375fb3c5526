"""Files that are delivered: segments, joins, sound tracks, HDR metadata, stills; read back."""
