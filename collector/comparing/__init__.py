"""A pair after its window against the same pair before it, or any two of its nights: what differs, and what of it."""
