"""Recipes, defaults and the day: the TOML documents that say what is to be made."""
