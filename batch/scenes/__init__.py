"""Scene, take, circled and note of a clip: from names, tables that come later, and its sound; never over what its row says."""
