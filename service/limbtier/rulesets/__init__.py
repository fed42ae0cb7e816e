"""Rule files: read strictly, checked, fingerprinted."""
