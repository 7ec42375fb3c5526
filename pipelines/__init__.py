"""What happens to pictures: encodings, looks, sources, raster, slate, writers. Knows nothing of jobs."""
