"""What other systems hand in and take away, by open standards."""
