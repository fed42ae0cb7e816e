"""Checks of what grows old: sources, the edition itself, guard rails."""
