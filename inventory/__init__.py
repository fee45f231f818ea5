"""Whom to ask, and by which policy to judge: Nornir inventories, pairs and policies."""
