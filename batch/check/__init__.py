"""Originals against their hash manifests: found below a folder or named, read once each, nothing written beside them."""
