"""The report: pages, their pictures, and the hash manifest."""
