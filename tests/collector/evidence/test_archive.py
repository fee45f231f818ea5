"""The archive's one form, and what is no archive, or not a good one."""

from __future__ import annotations

import io
import struct
import subprocess
import warnings
import zipfile
from collections.abc import Callable, Iterable
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.evidence import archive
from collector.evidence.archive import NotAnArchive, TooLarge, against_manifest, digest, packed, read, safe_name

MOMENT = datetime(2027, 2, 6, 23, 35, 20, tzinfo=UTC)
FILES = {"report.html": b"<p>quay", "captures/before/quay-a/show_version.txt": b"Version 17.09.04a\r\n\xff\n"}
FOLDER = "evidence-quay-2027-02-06"
Entry = tuple[zipfile.ZipInfo, bytes]


def good() -> bytes:
    return packed(FOLDER, FILES, MOMENT)


def entries(data: bytes) -> list[Entry]:
    with zipfile.ZipFile(io.BytesIO(data)) as found:
        return [(info, found.read(info)) for info in found.infolist()]


def zipped(found: Iterable[Entry]) -> bytes:
    written = io.BytesIO()
    with warnings.catch_warnings(), zipfile.ZipFile(written, "w") as made:
        warnings.simplefilter("ignore")
        for info, data in found:
            made.writestr(info, data)
    return written.getvalue()


def info(name: str, like: zipfile.ZipInfo) -> zipfile.ZipInfo:
    made = zipfile.ZipInfo("x", like.date_time)
    made.filename = made.orig_filename = name
    made.create_system, made.external_attr = like.create_system, like.external_attr
    return made


def faults(data: bytes) -> list[str]:
    found = read(data)
    return [*found.faults, *against_manifest(found.files)]


def test_sha_256_gives_the_published_values() -> None:
    """FIPS 180-4, by NIST's example values for SHA-256 (one block, two blocks), and the long one of FIPS 180-2, B.3."""
    two_blocks = b"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq"
    assert digest(b"abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert digest(two_blocks) == "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1"
    assert digest(b"a" * 1_000_000) == "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0"


def test_the_systems_own_programs_read_it(tmp_path: Path) -> None:
    (tmp_path / "a.zip").write_bytes(good())
    subprocess.run(["unzip", "-tq", "a.zip"], cwd=tmp_path, check=True, capture_output=True)
    listed = subprocess.run(["unzip", "-Z1", "a.zip"], cwd=tmp_path, check=True, capture_output=True, text=True).stdout
    names = [*FILES, "manifest.json", "SHA256SUMS"]
    assert sorted(listed.split()) == sorted(f"{FOLDER}/{name}" for name in names)
    subprocess.run(["unzip", "-q", "a.zip"], cwd=tmp_path, check=True)
    checked = subprocess.run(
        ["sha256sum", "--strict", "-c", "SHA256SUMS"], cwd=tmp_path / FOLDER, check=True, capture_output=True, text=True
    )
    assert sorted(line.split(":")[0] for line in checked.stdout.splitlines()) == sorted([*FILES, "manifest.json"])
    assert {path.stat().st_mode & 0o777 for path in tmp_path.glob(f"{FOLDER}/**/*.txt")} == {0o600}


@given(st.dictionaries(st.from_regex(r"[a-z0-9_]{1,8}(/[a-z0-9_]{1,8}\.txt)", fullmatch=True), st.binary(max_size=60)))
def test_what_was_packed_is_read_again(files: dict[str, bytes]) -> None:
    found = read(packed("x", files, MOMENT))
    assert {name: data for name, data in found.files.items() if name in files} == files
    assert not found.faults
    assert not against_manifest(found.files)
    assert packed("x", dict(reversed(files.items())), MOMENT) == packed("x", files, MOMENT)


def test_too_much_for_one_archive(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(archive, "MOST_BYTES", 5_000)
    with pytest.raises(TooLarge):
        packed("x", {"a": b"x" * 3_000}, MOMENT)
    with pytest.raises(NotAnArchive, match="larger"):
        read(b"x" * 5_001)


def test_a_name_is_safe_everywhere_and_its_own() -> None:
    assert safe_name("quay-a") == "quay-a"
    names = ["a/b", "a\\b", "..", ".a", "a.", "-rf", "", "ä", "a b", "a" * 300, "\udcff"]
    made = [safe_name(name) for name in names]
    assert len(set(made)) == len(made)
    assert all(archive._SAFE.fullmatch(each) and len(each) < 80 for each in made)


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"PK",
        b"no archive at all" * 20,
        good()[:200],
        good()[:-1],
        zipped([]),
        b"PK\x05\x06" + b"\0" * 18,
        b"PK\x05\x06" + b"\xff" * 18,
    ],
    ids=["empty", "two bytes", "text", "begin", "last byte lost", "no files", "empty directory", "all ones"],
)
def test_what_is_no_archive(data: bytes) -> None:
    with pytest.raises(NotAnArchive):
        faults(data)


def test_another_programs_zip() -> None:
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w") as other:
        other.writestr("x/y", b"z")
        other.writestr("x/manifest.json", b'{"schema": 1, "tool": "another", "files": []}')
    with pytest.raises(NotAnArchive, match="isn't one of readypair's"):
        faults(made.getvalue())


def test_a_later_readypairs() -> None:
    later = [
        (each, data.replace(b'"schema": 1', b'"schema": 2') if each.filename.endswith("manifest.json") else data)
        for each, data in entries(good())
    ]
    with pytest.raises(NotAnArchive, match="schema 2"):
        faults(zipped(later))


def added(name: str, change: Callable[[zipfile.ZipInfo], None] = lambda made: None, data: bytes = b"x") -> bytes:
    found = entries(good())
    made = info(name, found[0][0])
    change(made)
    return zipped([*found, (made, data)])


def link(made: zipfile.ZipInfo) -> None:
    made.external_attr = 0o120777 << 16


def deflated(made: zipfile.ZipInfo) -> None:
    made.compress_type = zipfile.ZIP_DEFLATED


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (added(f"{FOLDER}/more.txt"), "more.txt is in the archive and not in manifest.json"),
        (added(f"{FOLDER}/../../etc/cron.d/x"), "leads elsewhere"),
        (added(f"{FOLDER}/a/./b"), "leads elsewhere"),
        (added("/etc/passwd"), "isn't in the folder"),
        (added("../x"), "isn't in the folder"),
        (added("C:\\x"), "isn't in the folder"),
        (added(f"{FOLDER}/a\\..\\..\\x"), "leads elsewhere"),
        (added(f"{FOLDER}/a\x1b[2Jb"), r"'evidence-quay-2027-02-06/a\x1b[2Jb' has a name"),
        (added(f"{FOLDER}/dir/"), "leads elsewhere"),
        (added(f"{FOLDER}/REPORT.html"), "are one file where capitals don't count"),
        (added(f"{FOLDER}/report.html"), "is in it 2 times"),
        (added(f"{FOLDER}/link", link, b"/etc/passwd"), "such as a link"),
        (added(f"{FOLDER}/bomb", deflated, b"\0" * 5_000_000), "is compressed"),
        (good() + b"more", "bytes before, between or after"),
        (b"#!/bin/sh\n" + good(), "bytes before, between or after"),
    ],
)
def test_what_no_good_archive_holds(data: bytes, said: str) -> None:
    assert said in "\n".join(faults(data))


def test_a_note_on_the_archive_or_a_file() -> None:
    found = entries(good())
    found[0][0].comment = b"hidden"
    assert faults(zipped(found))
    found = entries(good())
    found[0][0].extra = struct.pack("<HH4s", 0xCAFE, 4, b"hide")
    assert faults(zipped(found))


def test_sizes_that_are_lies_are_never_believed() -> None:
    """A stored file that claims four gigabytes, in both places where it can: nothing of that size is ever asked for."""
    found = entries(good())
    data = bytearray(good())
    size = len(found[0][1])
    claimed = struct.pack("<II", 0xF0000000, 0xF0000000)
    honest = struct.pack("<II", size, size)
    lying = bytes(data).replace(honest, claimed)
    assert lying != bytes(data)
    with pytest.raises(NotAnArchive, match="claim to hold more bytes"):
        read(lying)


def test_files_that_lie_over_each_other() -> None:
    """Many entries of the directory for one place: each is small, together they are more than the archive."""
    found = entries(packed(FOLDER, {"a": b"x" * 100_000}, MOMENT))
    data = zipped(found)
    start = data.index(b"PK\x01\x02")
    end = data.index(b"PK\x05\x06")
    directory = data[start:end] * 500
    number = 500 * len(found)
    tail = struct.pack("<4s4H2LH", b"PK\x05\x06", 0, 0, number, number, len(directory), start, 0)
    with pytest.raises(NotAnArchive, match="claim to hold more bytes"):
        read(data[:start] + directory + tail)


def test_an_encrypted_file() -> None:
    data = bytearray(good())
    at = data.index(b"PK\x01\x02")
    data[at + 8] |= 1
    assert any("is encrypted" in each for each in read(bytes(data)).faults)


@given(st.data())
def test_no_byte_can_be_changed(data: st.DataObject) -> None:
    """Whatever byte is changed to whatever, it is a fault, or no archive any more."""
    whole = bytearray(good())
    at = data.draw(st.integers(0, len(whole) - 1))
    whole[at] = (whole[at] + data.draw(st.integers(1, 255))) % 256
    with suppress(NotAnArchive):
        assert faults(bytes(whole))


def test_every_change_of_a_file_is_a_fault() -> None:
    found = entries(good())
    for number, (each, data) in enumerate(found):
        changed = [*found[:number], (each, data.replace(b"1", b"2") + b" "), *found[number + 1 :]]
        lost = [*found[:number], *found[number + 1 :]]
        for other in (changed, lost):
            try:
                assert faults(zipped(other)), each.filename
            except NotAnArchive:
                assert each.filename.endswith("manifest.json")


def test_the_manifest_and_the_sums_are_looked_at_each_for_itself() -> None:
    name = "captures/before/quay-a/show_version.txt"
    files = dict(read(good()).files)
    other = files | {name: files[name].replace(b"17.09", b"17.12")}
    sums = archive._sums({each: data for each, data in other.items() if each != "SHA256SUMS"})
    said = [f"{name} isn't the file that manifest.json was made of: its SHA-256 differs"]
    assert against_manifest(other | {"SHA256SUMS": sums}) == said
    assert against_manifest(files | {"SHA256SUMS": sums}) == ["SHA256SUMS doesn't list every file with its SHA-256"]
