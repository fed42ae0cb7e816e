"""The log: append-only entries that anyone can verify, and what is read from them."""
