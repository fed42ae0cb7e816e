"""The database of decisions given."""
