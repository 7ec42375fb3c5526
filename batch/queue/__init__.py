"""The queue of jobs: rows on disk, their states, and locks."""
