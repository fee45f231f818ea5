"""Hostile texts for `parsers.read`: seeds, damage, texts made to take long, and a coverage-guided fuzzer."""
