"""Checks of the worked cases: what they leave untried."""
