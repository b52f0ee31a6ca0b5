"""Files that people already have, taken into a country: marks, tracks, boundaries. It uses no network."""
