"""The evidence of a window for its change ticket: one archive, and its verification. Knows no network."""
