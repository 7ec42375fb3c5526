"""Shipped recipes and camera encodings, as data."""
