"""Formats of time, pictures and files: timecode, pixel formats, codecs, MP4 boxes."""
