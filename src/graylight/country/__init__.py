"""The country: a folder on disk with its layers, vectors, settings and facts."""
