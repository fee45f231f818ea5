"""Sizes in words, in the decimal units of IEC 80000-13."""

from __future__ import annotations


def exactly(count: int) -> str:
    """A number of bytes as it is: `1,250,000,000 bytes`."""
    return f"{count:,} byte{'' if count == 1 else 's'}"


def rounded(count: float) -> str:
    """A number of bytes to three digits or so: `1.25 GB`."""
    for unit, factor in (("GB", 10**9), ("MB", 10**6), ("kB", 10**3)):
        if count >= factor:
            return f"{count / factor:.2f}".rstrip("0").rstrip(".") + f" {unit}"
    return exactly(round(count))


def about(count: float) -> str:
    """An estimate in bytes, to three digits: `41.2 MB`."""
    return rounded(float(f"{count:.3g}"))
