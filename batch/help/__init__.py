"""Help for whoever types commands: their pages with groups and examples, and completion in shells."""
