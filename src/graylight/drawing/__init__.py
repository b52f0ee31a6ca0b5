"""Pictures: the map, what a place sees, single layers, and the profile of a way (see docs/drawing.md)."""
