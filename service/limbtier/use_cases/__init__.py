"""What the service does, one file a verb."""
