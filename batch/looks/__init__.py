"""The looks of a clip: corrections, show LUTs and displays, by its row, its defaults and the recipe."""
