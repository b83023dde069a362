"""Drenchbook: tepid water for every emergency shower and eyewash on a site."""

__version__ = "0.1.0"
