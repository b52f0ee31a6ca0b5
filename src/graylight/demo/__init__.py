"""The invented range: made by code, from a fixed seed."""
