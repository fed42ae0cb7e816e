"""What every layer may use: diagnostics, errors, strict JSON, clock, settings."""
