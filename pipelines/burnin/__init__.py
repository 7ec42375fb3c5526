"""Burn-in: text, running values, watermark and guides over a frame."""
