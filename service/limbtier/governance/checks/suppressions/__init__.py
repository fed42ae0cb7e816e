"""Checks of the findings that were accepted."""
