"""Clips by the camera that shot them, and what nobody states of a camera."""
