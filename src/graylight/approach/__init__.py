"""The way on foot to a place, and when to leave for it."""
