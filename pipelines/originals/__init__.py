"""Camera originals, opened read-only: headers, frames by number, sound, framing."""
