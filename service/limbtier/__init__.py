"""limbtier: starting tiers of compression and review dates, decided by versioned rule files."""

__version__ = "0.1.0"
