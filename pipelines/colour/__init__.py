"""Colour science: encodings, gamuts, displays, grades, LUTs and looks, each evaluated exactly."""
