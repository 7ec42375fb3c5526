"""Colour science: encodings, gamuts, displays, grades and looks, each evaluated exactly."""
