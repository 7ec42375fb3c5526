"""Typed, versioned models of everything that rushlight writes as JSON for later, or for others; schemas come from them."""
