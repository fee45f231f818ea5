"""Tests of comparing a pair with itself."""
