"""Looks as pictures: curves and chromaticities; a frame log, show and graded; exposure in false colours."""
