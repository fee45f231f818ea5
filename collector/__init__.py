"""Asks both controllers of every pair, judges what they say and tells."""
