"""Compiled loops: arrays and floats in, outputs filled in place; no options, files or frames of reference."""
