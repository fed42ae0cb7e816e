"""Checks of the rules: their conditions, their conclusions and what these rest on."""
