"""Statements about every assessment, settled by a solver and replayed through the engine."""
