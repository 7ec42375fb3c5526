"""Recipes: the TOML documents that say what is to be made."""
