"""The recipes that ship, one TOML file each."""
