"""Checks of the words that people read."""
