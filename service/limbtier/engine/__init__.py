"""Assessment and edition in, decision with its trace out."""
