"""The file names of pages: safe on any file system, and never the same for two names."""

from __future__ import annotations

import hashlib
import re

_PLAIN = re.compile(r"[a-z0-9]+(?:[-_][a-z0-9]+)*")
_LONGEST = 60
# What some file systems take for a device, whatever follows the first dot.
_DEVICES = re.compile(r"con|prn|aux|nul|(com|lpt)[0-9]")


def stem(name: str) -> str:
    """The name of the page of a pair or a rule, without its ending; the same every night, whatever else there is.

    A name of small letters, digits, single hyphens and underscores stands for itself. Any other becomes its letters
    with a digest of the whole name behind two hyphens, which no plain name holds: `a/b`, `A B` and `a b` differ, on a
    file system that knows no capitals, too.
    """
    if _PLAIN.fullmatch(name) and len(name) <= _LONGEST and not _DEVICES.fullmatch(name):
        return name
    digest = hashlib.sha256(name.encode("utf-8", "surrogatepass")).hexdigest()[:16]
    letters = re.sub(r"[^a-z0-9]+", "-", name.lower())[:_LONGEST].strip("-")
    return f"{letters or 'pair'}--{digest}"
