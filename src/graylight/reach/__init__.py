"""How long it takes on foot: pace, ground, walking time from the starts, and quiet."""
