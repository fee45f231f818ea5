"""Controller text made safe to show: what would steer a terminal or hide in a page is spelled out instead."""

from __future__ import annotations

import unicodedata
from functools import lru_cache
from typing import Any

_RAW_BYTES = range(0xDC80, 0xDD00)


def visible(text: str) -> str:
    """The text with every control, format, private and unassigned character spelled out (`\\x1b`, `\\u202e`).

    Tabs become the blanks that a terminal shows for them. A byte that wasn't UTF-8, which Python keeps as a lone
    surrogate, is shown as that byte (`\\xff`).
    """
    if text.isprintable():
        return text
    return "".join(map(_shown, text.expandtabs(8)))


def encodable(text: str) -> str:
    """The text with every lone surrogate replaced by U+FFFD, so that it can be encoded as UTF-8; all else as it is."""
    # Most of a report is ASCII, and looking at each of its characters would be half of storing it.
    if text.isascii():
        return text
    return "".join(
        "\N{REPLACEMENT CHARACTER}" if "\ud800" <= character <= "\udfff" else character for character in text
    )


def encodable_data(value: Any) -> Any:
    """The same for every text in JSON-ready data, keys aside."""
    if isinstance(value, str):
        return encodable(value)
    if isinstance(value, dict):
        return {key: encodable_data(item) for key, item in value.items()}
    if isinstance(value, list):
        return [encodable_data(item) for item in value]
    return value


# Few of them in any text, and one that is made of them is spelled out thousands of times as fast.
@lru_cache(maxsize=4096)
def _shown(character: str) -> str:
    if character.isprintable() or unicodedata.category(character) == "Zs":
        return character
    code = ord(character)
    if code in _RAW_BYTES:
        return f"\\x{code - 0xDC00:02x}"
    if code <= 0xFF:
        return f"\\x{code:02x}"
    return f"\\u{code:04x}" if code <= 0xFFFF else f"\\U{code:08x}"
