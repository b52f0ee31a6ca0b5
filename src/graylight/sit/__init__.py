"""The clock of a sit: what happens when, and whether it is worth going. See docs/morning.md."""
