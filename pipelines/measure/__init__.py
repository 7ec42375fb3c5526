"""Measurements of pictures: checksums, tiles, the original as yardstick, codes out of range."""
