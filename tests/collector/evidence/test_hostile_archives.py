"""`readypair evidence --verify` on what somebody made to do harm: one clear end, little memory, nothing written.

The tricks are those of the format's own document (APPNOTE.TXT 6.3.10) and of its known abuses: D. Fifield, "A better
zip bomb" (USENIX WOOT 2019), for many entries of one place and sizes that are lies; CWE-22 and CWE-59 for names that
lead elsewhere and links; CWE-409 for what grows when it is read. See `test_archive.py` for the form itself.
"""

from __future__ import annotations

import io
import json
import os
import shutil
import struct
import subprocess
import sys
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from collector import cli
from collector.evidence import archive
from collector.evidence.archive import digest, packed, read
from collector.evidence.verifying import verify
from tests.collector.evidence.test_archive import MOMENT
from tests.demo_fleet import HOUSE, INVENTORY

MEBIBYTE = 1024 * 1024


@pytest.fixture(scope="module")
def honest(filled: Path, tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """A good archive, as the command makes it."""
    folder = tmp_path_factory.mktemp("honest")
    store = shutil.copy(filled, folder / "s.db")
    out = folder / "quay.zip"
    question = ["evidence", "quay", "--inventory", str(INVENTORY), "--store", str(store), "--out", str(out)]
    assert cli.main(question) == 0
    return out.read_bytes()


def entry(name: bytes, *, extra: bytes = b"", size: int = 0, method: int = 0, flags: int = 0) -> bytes:
    """An entry of the directory: APPNOTE.TXT, 4.3.12."""
    sizes = (0, size, size, len(name), len(extra), 0, 0, 0, 0o100600 << 16, 0)
    return struct.pack("<4s4B4HL2L5H2L", b"PK\1\2", 20, 3, 20, 0, flags, method, 0, 0x21, *sizes) + name + extra


def directory(entries: bytes, number: int, note: bytes = b"") -> bytes:
    """A ZIP file that is a directory and nothing else: 4.3.16."""
    end = struct.pack("<4s4H2LH", b"PK\5\6", 0, 0, number & 0xFFFF, number & 0xFFFF, len(entries), 0, len(note))
    return entries + end + note


def long_end(data: bytes, size: int) -> bytes:
    """The archive with an end for more than four gigabytes, which says another size of the directory: 4.3.14, 15."""
    at = len(data)
    record = struct.pack("<4sQ2H2L4Q", b"PK\6\6", 44, 45, 45, 0, 0, 1, 1, size, 0)
    return data[:-22] + record + struct.pack("<4sLQL", b"PK\6\7", 0, at - 22, 1) + data[-22:]


def deflated(name: str, data: bytes, method: int = zipfile.ZIP_DEFLATED) -> bytes:
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", method) as bomb:
        bomb.writestr(name, data)
    return made.getvalue()


def with_manifest(honest: bytes, manifest: bytes) -> bytes:
    found = read(honest)
    files = {**found.files, "manifest.json": manifest}
    own = {name: data for name, data in files.items() if name != "SHA256SUMS"}
    return archive._zipped(found.folder, {**own, "SHA256SUMS": archive._sums(own)}, (2027, 2, 6, 0, 0, 0))


def remade(honest: bytes, evidence: bytes, **more: bytes) -> bytes:
    """The archive with other evidence, a report that bears its digest, and a manifest that fits."""
    found = read(honest)
    own = {name: data for name, data in found.files.items() if name not in ("manifest.json", "SHA256SUMS")}
    report = own["report.html"] + digest(evidence).encode()
    return packed(found.folder, {**own, "evidence.json": evidence, "report.html": report, **more}, MOMENT)


def with_value(honest: bytes, key: str, value: bytes) -> bytes:
    """The archive with this JSON as one value of its evidence."""
    told = json.loads(read(honest).files["evidence.json"])
    return remade(honest, json.dumps({**told, key: "@@"}).encode().replace(b'"@@"', value))


def many(item: bytes, number: int) -> bytes:
    return b"[" + b",".join([item] * number) + b"]"


def rows(number: int) -> bytes:
    return many(b'{"name": "a", "bytes": 1, "sha256": ""}', number)


def keys(number: int) -> bytes:
    return b"{" + b",".join(b'"%d":1' % each for each in range(number)) + b"}"


def manifest(files: bytes) -> bytes:
    return b'{"schema": 1, "tool": "readypair", "files": ' + files + b"}"


NONE, NOT_GOOD = 2, 1
Made = Callable[[bytes], bytes]
BOMBS: list[tuple[str, Made, int, str]] = [
    ("a gigabyte in a megabyte", lambda _: deflated("x/y", b"\0" * 200 * MEBIBYTE), NONE, "no manifest.json"),
    ("a bomb in a bomb", lambda _: deflated("x/y.zip", deflated("y", b"\0" * 50 * MEBIBYTE)), NONE, "no manifest.json"),
    ("a method that there isn't", lambda _: directory(entry(b"x/y", method=99), 1), NONE, "no manifest.json"),
    ("encrypted strongly", lambda _: directory(entry(b"x/y", flags=0x41), 1), NONE, "no manifest.json"),
    ("millions of entries", lambda _: directory(entry(b"x") * 2_700_000, 2_700_000), NONE, "its directory is"),
    ("long names", lambda _: directory(entry(b"x/" + b"\x80" * 65_000) * 1_900, 1_900), NONE, "its directory is"),
    ("long notes", lambda _: directory(entry(b"x", extra=b"\1\0\0\0" * 16_000) * 1_900, 1_900), NONE, "its directory"),
    ("a note on it", lambda _: directory(entry(b"x") * 200_000, 200_000, b"n" * 65_535), NONE, "its directory is"),
    ("a longer directory", lambda _: long_end(directory(entry(b"x"), 1), 1 << 62), NONE, "its directory is"),
    ("a name in no encoding", lambda _: directory(entry(b"\xff\xfe", flags=0x800), 1), NONE, "be read as a ZIP file"),
    ("a size beyond it", lambda _: directory(entry(b"x/y", size=0xFFFFFFFE), 1), NONE, "claim to hold more bytes"),
    ("too large", lambda _: b"\0" * (archive.MOST_BYTES + 1), NONE, "it is larger than"),
    ("a large manifest", lambda data: with_manifest(data, manifest(many(b"[]", 9 * MEBIBYTE))), NONE, "is larger than"),
    ("endless bytes", lambda data: with_manifest(data, manifest(rows(1).replace(b"1,", b"1e999,"))), NONE, "isn't one"),
    ("a long manifest", lambda data: with_manifest(data, manifest(rows(80_000))), NOT_GOOD, "not in manifest.json"),
    ("many lists", lambda data: with_value(data, "missing", many(b"[]", 7 * MEBIBYTE)), NOT_GOOD, "isn't one of"),
    ("many faults", lambda data: with_value(data, "captures", many(b"{}", 240_000)), NOT_GOOD, "shape at captures.0"),
    ("many keys", lambda data: with_value(data, "before", keys(150_000)), NOT_GOOD, "more places at least"),
    ("deep", lambda data: with_value(data, "policy", b"[" * 5_000_000 + b"]" * 5_000_000), NOT_GOOD, "isn't one of"),
    ("long digits", lambda data: with_value(data, "schema", b"9" * 5_000_000), NOT_GOOD, "isn't one of"),
    ("half a pair", lambda data: with_value(data, "pair", rb'"\ud800"'), NOT_GOOD, "doesn't say what evidence.json"),
    (
        "all hidden",
        lambda data: with_value(data, "pair", f'"{chr(0x202E) * 1_000_000}"'.encode()),
        NOT_GOOD,
        "doesn't say what evidence.json says",
    ),
    (
        "many captures",
        lambda data: remade(data, b"{}", **{f"captures/x/{each}.txt": b"" for each in range(3_000)}),
        NOT_GOOD,
        "evidence.json isn't one of readypair's",
    ),
]

LOOK = """
import resource, sys, os
from pathlib import Path
resource.setrlimit(resource.RLIMIT_AS, (1_300_000_000, 1_300_000_000))
from collector import cli
for path in sys.argv[1:]:
    status = cli.main(["evidence", "--verify", path])
    print(f"== {status}", flush=True)
    print(f"== {status}", file=sys.stderr, flush=True)
"""


def test_what_is_made_to_fill_the_memory(honest: bytes, tmp_path: Path) -> None:
    """All in one process whose memory is bounded: the largest of them took gigabytes, or minutes."""
    there = tmp_path / "there"
    there.mkdir()
    for number, (_, make, _, _) in enumerate(BOMBS):
        (there / f"{number}.zip").write_bytes(make(honest))
    before = sorted(each.name for each in there.iterdir())
    answer = subprocess.run(
        [sys.executable, "-c", LOOK, *(f"{number}.zip" for number in range(len(BOMBS)))],
        cwd=there,
        env={"PATH": os.environ["PATH"], "PYTHONPATH": str(HOUSE), "TMPDIR": str(there), "HOME": str(there)},
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )
    assert "Traceback" not in answer.stderr
    out, err = (each.split("== ") for each in (answer.stdout, answer.stderr))
    for number, (name, _, status, said) in enumerate(BOMBS):
        told, complained = (part[number].removeprefix(f"{BOMBS[number - 1][2]}\n") for part in (out, err))
        assert out[number + 1].startswith(f"{status}\n"), name
        assert said in (complained if status == NONE else told), name
        assert len((told + complained).splitlines()) <= (1 if status == NONE else 1_002), name
    assert sorted(each.name for each in there.iterdir()) == before


def test_wherever_it_is_cut_off(honest: bytes, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "x.zip"
    for part in range(100):
        path.write_bytes(honest[: len(honest) * part // 100])
        assert cli.main(["evidence", "--verify", str(path)]) == NONE, part
        out, err = capsys.readouterr()
        assert out == ""
        assert err.startswith(f"readypair: {path} is no archive of evidence: ")
        assert err.count("\n") == 1


def test_what_is_no_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "loop").symlink_to("loop")
    for path in (tmp_path, tmp_path / "pipe", tmp_path / "loop", tmp_path / "none", Path("/dev/zero")):
        assert cli.main(["evidence", "--verify", str(path)]) == NONE
        assert capsys.readouterr().err.startswith(f"readypair: {path} is no file; name an archive")


def local_name(data: bytes) -> bytes:
    """The name in the file's own header differs from the directory's."""
    return data.replace(b"-06/policy.yaml", b"-06/policy.yam_", 1)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (local_name, "File name in directory"),
        (lambda data: data.replace(b"PK\3\4", b"PK\3\5", 1), "Bad magic number"),
        (lambda data: b"MZ" + data, "bytes before, between or after them"),
        (lambda data: data + b"\0", "bytes before, between or after them"),
        (lambda data: data[:-2] + b"\4\0note", "or notes on them"),
    ],
)
def test_headers_that_disagree_and_bytes_around_it(honest: bytes, change: Made, said: str) -> None:
    assert said in "\n".join(verify(change(honest)).faults)


def test_a_name_that_would_steer_the_terminal(
    honest: bytes, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "x.zip"
    names = [b"\x1b]0;gone\x07", b"\xe2\x80\xae/gpj.exe", b"../../.ssh/authorized_keys", b"n" * 60_000, b"a\nb"]
    path.write_bytes(directory(b"".join(entry(b"x/" + name, flags=0x800) for name in names), len(names)))
    assert cli.main(["evidence", "--verify", str(path)]) == NONE
    data = io.BytesIO(honest)
    with zipfile.ZipFile(data, "a") as more:
        for name in names:
            more.writestr("x/" + name.decode(), b"")
    path.write_bytes(data.getvalue())
    assert cli.main(["evidence", "--verify", str(path)]) == NOT_GOOD
    out, err = capsys.readouterr()
    assert all(line.isprintable() and len(line) < 700 for line in [*out.splitlines(), *err.splitlines()])
    assert sorted(each.name for each in tmp_path.iterdir()) == ["x.zip"]


def test_a_whole_archive_written_anew_is_good_in_itself_and_says_what_that_is_worth(
    honest: bytes, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Nobody can tell such a one by itself: the command has to say so, and what does tell."""
    from collector.report import evidence_page

    told: dict[str, Any] = json.loads(read(honest).files["evidence.json"])
    told["before"]["verdict"] = "no-go" if told["before"]["verdict"] == "go" else "go"
    evidence = json.dumps(told).encode()
    found = read(honest)
    own = {name: data for name, data in found.files.items() if name not in ("manifest.json", "SHA256SUMS")}
    page = evidence_page.page(told, digest(evidence)).encode()
    forged = packed(found.folder, {**own, "evidence.json": evidence, "report.html": page}, MOMENT)
    path = tmp_path / "x.zip"
    path.write_bytes(forged)
    assert cli.main(["evidence", "--verify", str(path)]) == 0
    out = capsys.readouterr().out
    assert "unchanged in itself; that it is the one that was handed in shows only its SHA-256" in out
    assert digest(forged) in out
    assert digest(honest) not in out
