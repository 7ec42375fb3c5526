"""The shooting day as a document: read, and the requests made of it."""
