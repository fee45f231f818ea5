"""Finds a secret in whatever was written, in any form that it could have taken on the way there."""

from __future__ import annotations

import base64
import html
import io
import json
import os
import shlex
import sqlite3
import zipfile
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from urllib.parse import quote, quote_plus

import zstandard

_ZSTD = b"\x28\xb5\x2f\xfd"
_ZIP = b"PK\x03\x04"
_SQLITE = b"SQLite format 3\0"


def forms(secret: str) -> set[bytes]:
    """What the secret may look like, in lower case: its case may have been turned over, too."""
    raw = secret.encode()
    texts = {
        secret,
        quote(secret, safe=""),
        quote(secret),
        quote_plus(secret),
        html.escape(secret),
        json.dumps(secret)[1:-1],
        json.dumps(json.dumps(secret))[1:-1],
        shlex.quote(secret).strip("'"),
        repr(secret)[1:-1],
        raw.hex(),
        " ".join(f"{each:02x}" for each in raw),
        ":".join(f"{each:02x}" for each in raw),
        secret[::-1],
    }
    # Within a longer text, base 64 has three ways to cut it into groups; a group at the edge holds its neighbour, too.
    for before in range(3):
        coded = base64.b64encode(b"\0" * before + raw).rstrip(b"=")
        texts.add(coded[0 if not before else 4 : len(coded) - 2].decode())
    texts |= {each.replace("+", "-").replace("/", "_") for each in texts}
    return {each.lower().encode() for each in texts} | {secret.lower().encode("utf-16-le")}


def contents(name: str, data: bytes) -> Iterator[tuple[str, bytes]]:
    """The bytes, and those that are packed up in them: archives, compressed texts, the values of databases."""
    yield name, data
    if data.startswith(_ZIP):
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            for each in archive.namelist():
                yield from contents(f"{name}/{each}", archive.read(each))
    elif data.startswith(_ZSTD):
        yield from contents(f"{name} unpacked", zstandard.ZstdDecompressor().decompressobj().decompress(data))


def files(folder: Path) -> Iterator[tuple[str, bytes]]:
    """The contents of all files below a folder, and their names."""
    for path in sorted(folder.rglob("*")):
        yield str(path), os.fsencode(path)
        if path.is_file() and not path.is_symlink():
            data = path.read_bytes()
            yield from contents(str(path), data)
            if data.startswith(_SQLITE):
                yield from database(path)


def database(path: Path) -> Iterator[tuple[str, bytes]]:
    """Every value of every table of SQLite's, its log included."""
    with sqlite3.connect(path) as connection:
        tables = [name for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        for table in tables:
            yield from rows(f"{path}:{table}", connection.execute(f'SELECT * FROM "{table}"'))
    connection.close()


def rows(name: str, found: Iterable[Iterable[object]]) -> Iterator[tuple[str, bytes]]:
    """Every value of these rows."""
    for row in found:
        for value in row:
            data = bytes(value) if isinstance(value, bytes | memoryview) else str(value).encode("utf-8", "replace")
            yield from contents(name, data)


def found(secrets: Mapping[str, str], everything: Iterable[tuple[str, bytes]]) -> dict[str, set[str]]:
    """Where which of the secrets stands, by what each is called."""
    wanted = {name: forms(secret) for name, secret in secrets.items()}
    places: dict[str, set[str]] = {}
    for place, data in everything:
        low = data.lower()
        for name, shapes in wanted.items():
            if any(shape in low for shape in shapes):
                places.setdefault(name, set()).add(place)
    return places
