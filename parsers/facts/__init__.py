"""The typed facts, one module for each family of commands."""
