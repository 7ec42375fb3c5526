"""The life of a picture: encodings, looks, sources, raster, slate, writers. Knows nothing of jobs."""
