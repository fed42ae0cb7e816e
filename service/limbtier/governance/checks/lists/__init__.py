"""Checks of the plain lists: settings, arrangements, materials, and what they are called."""
