"""Inventories that somebody, or something, has damaged: the demo's, with some of its nodes replaced."""

from __future__ import annotations

import random
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import yaml

FILES = ("hosts.yaml", "groups.yaml", "defaults.yaml", "policy.yaml", "waivers.yaml")
# Few pairs are as good as many, and much faster to read.
_PAIRS = ("quay", "tidewater")

Draw = Callable[[random.Random], Any]
_STRANGE: tuple[Draw, ...] = (
    lambda r: None,
    lambda r: r.choice([True, False]),
    lambda r: r.choice([0, -1, 1, 2**63, 10 ** r.randint(1, 90), -(10**40), 1e308, 5e-324, float("inf"), float("nan")]),
    lambda r: r.choice(["", " ", "\0", "a\nb", "\x1b[31m", "x" * r.randint(1, 5000), "\u202e", "é" * 200, "../../x"]),
    lambda r: r.choice(["/abs", "a/b", ".", "..", "con", "-rf", "no", "0o17", "0001-01-01", "9999-12-31", "*" * 50]),
    lambda r: r.choice(["9999-12-31T23:59:59-14:00", "2027-13-45", "17.9", "17.12.4", "999999.1.1", "quay", "<b>&"]),
    lambda r: [],
    lambda r: {},
    lambda r: [r.choice([None, 1, "a", [], {}])] * r.randint(1, 5),
    lambda r: {r.choice([None, 1, True, "a", "\x1b", "17.9", 1.5]): r.choice([None, 1, "a", [], {}])},
    lambda r: _nested(r.randint(2, 60), r.choice([list, dict])),
)
# Damage to the text itself: what no dump of a structure would write.
_SCRAPS = (
    b"\0", b"\xff\xfe", b"\xef\xbb\xbf", b"\t", b"[", b"{", b"}", b"*a", b"&a ", b"<<: *a", b"!!int x", b"!!bool x",
    b"!!python/object:os.system x", b"!!timestamp x", b"!!binary x", b"!!set {a}", b"!!omap [a: 1]", b"? ", b"---\n",
    b"%YAML 9.9\n", b"1:1:1", b"0x", b".inf", b"2027-02-30", b"'", b'"\\ud800"', b"- ", b": ", b"# ", b"\xc2\x85",
)  # fmt: skip


def _nested(depth: int, kind: type) -> Any:
    value: Any = 1
    for _ in range(depth):
        value = [value] if kind is list else {"a": value}
    return value


def damaged(seed: int, source: Path, folder: Path) -> None:
    """Fill the folder with the demo's inventory, damaged in some places; the same for the same seed."""
    chance = random.Random(seed)
    damage = {chance.choice(FILES) for _ in range(chance.randint(1, 2))}
    for name in FILES:
        data = yaml.safe_load((source / name).read_text(encoding="utf-8"))
        if name in ("hosts.yaml", "groups.yaml"):
            data = {key: body for key, body in data.items() if key == "controllers" or key.startswith(_PAIRS)}
        if name not in damage:
            content = _dumped(data)
        elif chance.random() < 0.3:
            content = _scribbled(chance, _dumped(data))
        else:
            for _ in range(chance.randint(1, 3)):
                _replace_one(chance, data)
            content = _dumped(data)
        (folder / name).write_bytes(content)


def _dumped(data: Any) -> bytes:
    return yaml.safe_dump(data, sort_keys=False).encode("utf-8")


def _scribbled(chance: random.Random, content: bytes) -> bytes:
    for _ in range(chance.randint(1, 3)):
        at = chance.randrange(len(content) + 1)
        content = content[:at] + chance.choice(_SCRAPS) + content[at + chance.choice([0, 0, 1, 5, 50]) :]
    return content


def _replace_one(chance: random.Random, data: Any) -> None:
    holder, key = chance.choice(list(_places(data)) or [(data, "x")])
    if isinstance(holder, dict) and chance.random() < 0.2:
        new = chance.choice(_STRANGE)(chance)
        holder[new if isinstance(new, str | int | float | bool | None) else "new"] = holder.pop(key, None)
    else:
        holder[key] = chance.choice(_STRANGE)(chance)


def _places(value: Any) -> Iterator[tuple[Any, Any]]:
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, inner in items:
        yield value, key
        yield from _places(inner)


def emptied(folder: Path) -> None:
    """Take everything out of a folder that a damaged inventory stood in."""
    shutil.rmtree(folder)
    folder.mkdir()
