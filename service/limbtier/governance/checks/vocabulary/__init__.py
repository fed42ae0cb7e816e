"""Checks of the vocabulary: inputs, derived facts, lifts."""
