"""Samestone: is the stone that goes home the stone that came in?"""

__version__ = "0.1.0"
