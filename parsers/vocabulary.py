"""The words of the controllers' own language: whatever else stands in a capture may be a name."""

from __future__ import annotations

import re
from functools import cache
from importlib import resources

_WORD = re.compile(r"[A-Za-z]+")
_SHORTEST_OF_TEMPLATES = 3


@cache
def words() -> frozenset[str]:
    """All known words, in lower case: those of `parsers/words.txt`, and those that the templates look for."""
    folder = resources.files("parsers")
    listed = (folder / "words.txt").read_text(encoding="ascii").split()
    templates = [path for path in (folder / "templates").iterdir() if path.name.endswith(".ttp")]
    looked_for = {
        word.lower()
        for path in templates
        for word in _WORD.findall(path.read_text(encoding="utf-8"))
        if len(word) >= _SHORTEST_OF_TEMPLATES
    }
    return frozenset(listed) | looked_for
