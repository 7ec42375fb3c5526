"""Clip lists as they are given: CSV, EDL, OpenTimelineIO, folders; and the originals they name."""
