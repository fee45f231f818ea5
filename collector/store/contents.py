"""Texts as the store keeps them: one row a text, found by its SHA-256, compressed."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import islice
from typing import Any, TypeVar

import zstandard
from sqlalchemy import Connection, select
from sqlalchemy.dialects import postgresql, sqlite

from collector.store.schema import CONTENTS
from collector.store.telling import Damaged

_T = TypeVar("_T")
# Fewer values than any database takes in one statement.
_AT_ONCE = 500
_LEVEL = 3
# No text of a controller's is nearly as long, in bytes: one that says it is would only fill the memory.
_LONGEST = 1 << 30


@dataclass(frozen=True)
class Content:
    """A text as bytes, and the SHA-256 that it is known by."""

    digest: bytes
    data: bytes


def of_bytes(data: bytes) -> Content:
    """The content that these bytes are."""
    return Content(hashlib.sha256(data).digest(), data)


def of_text(text: str) -> Content:
    """A capture's text, whose lone surrogates stand for the bytes that came off the wire."""
    try:
        return of_bytes(text.encode("utf-8", "surrogateescape"))
    except UnicodeEncodeError:
        return of_bytes(text.encode("utf-8", "replace"))


def of_json(value: object) -> Content:
    """A value as JSON that is the same whenever the value is."""
    return of_bytes(json.dumps(value, sort_keys=True, separators=(",", ":")).encode("ascii"))


def add(connection: Connection, contents: Iterable[Content]) -> dict[bytes, int]:
    """Store what isn't there yet, and give each content's number by its digest."""
    by_digest = {content.digest: content for content in contents}
    known = _numbers(connection, by_digest)
    # In one order everywhere: two collectors that store the same new texts wait for each other, not both.
    missing = [by_digest[digest] for digest in sorted(by_digest.keys() - known.keys())]
    if missing:
        connection.execute(_adding(connection), [_row(content) for content in missing])
        known |= _numbers(connection, [content.digest for content in missing])
    return known


def load(connection: Connection, number: int) -> bytes:
    """The content of this number; KeyError where there is none, Damaged where it isn't what was stored."""
    columns = (CONTENTS.c.digest, CONTENTS.c.size, CONTENTS.c.packed)
    row = connection.execute(select(*columns).where(CONTENTS.c.id == number)).one_or_none()
    if row is None:
        raise KeyError(number)
    return unpacked(row.digest, row.size, row.packed)


def unpacked(digest: bytes, size: int, packed: bytes) -> bytes:
    """The bytes that were packed; Damaged where they aren't the ones that the digest was made of."""
    try:
        # The library makes room for what the frame says, whatever it is told to take at most.
        if not zstandard.frame_content_size(packed) == size <= _LONGEST:
            raise Damaged(digest.hex()[:12])
        data = zstandard.ZstdDecompressor().decompress(packed, max_output_size=size)
    except zstandard.ZstdError:
        data = b""
    if hashlib.sha256(data).digest() != digest:
        raise Damaged(digest.hex()[:12])
    return data


def in_parts(values: Iterable[_T]) -> Iterator[Sequence[_T]]:
    """The values in parts that fit into one statement each."""
    rest = iter(values)
    while part := tuple(islice(rest, _AT_ONCE)):
        yield part


def _numbers(connection: Connection, digests: Iterable[bytes]) -> dict[bytes, int]:
    found: dict[bytes, int] = {}
    for part in in_parts(digests):
        rows = connection.execute(select(CONTENTS.c.digest, CONTENTS.c.id).where(CONTENTS.c.digest.in_(part)))
        found |= {bytes(row.digest): row.id for row in rows}
    return found


def _row(content: Content) -> dict[str, Any]:
    packed = zstandard.ZstdCompressor(level=_LEVEL).compress(content.data)
    return {"digest": content.digest, "size": len(content.data), "packed": packed}


def _adding(connection: Connection) -> Any:
    dialect = postgresql if connection.dialect.name == "postgresql" else sqlite
    return dialect.insert(CONTENTS).on_conflict_do_nothing()
