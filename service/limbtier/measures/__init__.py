"""Pure clinical arithmetic: exact numbers in, exact numbers out; no thresholds and no wording."""
