"""graylight: read a mountain before setting foot on it."""

__version__ = "0.1.0"
