"""Colour decisions: whose grade is whose, the record of grade changes, show LUTs, grades for others."""
