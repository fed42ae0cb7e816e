"""Checks, proofs and comparisons: what an edition does for every assessment, before it is used."""
