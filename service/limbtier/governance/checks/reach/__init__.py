"""Checks that ask about every assessment: what no assessment can reach."""
