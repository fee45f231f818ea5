"""Bad inventories and recordings, given to the command line itself: a sentence, 2, and nothing written anywhere."""

from __future__ import annotations

import json
import os
import resource
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from collector import demo, recording
from collector.cli import main
from parsers import catalogue
from tests.inventory.conftest import GROUPS, HOSTS

INVENTORY, FIXTURES = demo.inventory_folder(), demo.fixtures_folder()
POLICY = (INVENTORY / "policy.yaml").read_text(encoding="utf-8")
MEMBERS = ("quay-a", "quay-b")
Make = Callable[[Path], object]

# Every command that reads an inventory, told to write where it can. OUT stands for the test's folder, REC for captures.
ASKING = [
    ["sweep", "--quiet", "--out", "OUT/out", "--store", "OUT/nights.db"],
    ["check", "quay", "--quiet", "--out", "OUT/out"],
    ["replay", "REC", "--quiet", "--out", "OUT/out", "--csv", "OUT/fleet.csv"],
    ["targets", "quay", "--from", "REC"],
    ["plan", "quay", "--from", "REC", "--quiet", "--out", "OUT/out"],
    ["baseline", "quay", "--quiet", "--out", "OUT/out"],
    ["watch", "quay", "--store", "OUT/nights.db"],
    ["compare", "quay", "--from", "REC", "--to", "REC", "--out", "OUT/out"],
    ["evidence", "quay", "--store", "OUT/nights.db", "--out", "OUT/quay.zip"],
    ["board", "--store", "OUT/nights.db", "--out", "OUT/out"],
    ["record", "quay", "--from", "REC", "--into", "OUT/out"],
    ["policy", "--json"],
    ["trust"],
]
REPLAY = ASKING[2]


@pytest.fixture(autouse=True)
def _nothing_of_the_users_own(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    for name in ("INVENTORY", "KNOWN_HOSTS", "USERNAME", "PASSWORD", "SECRET", "STORE", "NOTIFY"):
        monkeypatch.delenv(f"READYPAIR_{name}", raising=False)
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    monkeypatch.setenv("READYPAIR_STATE", str(tmp_path / "state"))
    monkeypatch.setenv("COLUMNS", "80")
    (tmp_path / "state").mkdir(mode=0o700)


@pytest.fixture
def site(tmp_path: Path) -> Path:
    """A sound inventory of one pair, to break."""
    folder = tmp_path / "site"
    folder.mkdir()
    for name, text in (("hosts", HOSTS), ("groups", GROUPS), ("policy", POLICY)):
        (folder / f"{name}.yaml").write_text(text, encoding="utf-8")
    return folder


@pytest.fixture
def recorded(tmp_path: Path) -> Path:
    """The captures of that pair, with manifests, to break."""
    folder = tmp_path / "recorded"
    for member in MEMBERS:
        shutil.copytree(FIXTURES / member, folder / member)
        entries = {
            command.text: {
                "file": f"{command.slug}.txt",
                "started": "2027-02-06T20:00:00+01:00",
                "seconds": 1.0,
                "ending": "complete",
                "reason": "",
            }
            for command in catalogue.COMMANDS
            if (folder / member / f"{command.slug}.txt").exists()
        }
        (folder / member / "manifest.json").write_text(json.dumps({"captures": entries}))
    return folder


def filled(arguments: list[str], site: Path, recorded: Path = FIXTURES) -> list[str]:
    """The arguments with this test's own folders in them."""
    out = str(site.parent)
    return [each.replace("OUT", out).replace("REC", str(recorded)) for each in arguments] + ["--inventory", str(site)]


def tree(folder: Path) -> Iterator[tuple[str, int, int]]:
    """What a folder holds, deeply, without looking into any file."""
    for path in sorted(folder.rglob("*")):
        found = path.lstat()
        yield str(path), found.st_size, found.st_mtime_ns


def a_text(name: str, text: str | bytes) -> Make:
    content = text.encode("utf-8") if isinstance(text, str) else text
    return lambda site: (site / name).write_bytes(content)


def changed(name: str, old: str, new: str) -> Make:
    def make(site: Path) -> None:
        text = (site / name).read_text(encoding="utf-8")
        assert old in text
        (site / name).write_text(text.replace(old, new), encoding="utf-8")

    return make


def put(name: str, how: Callable[[Path], object]) -> Make:
    def make(site: Path) -> None:
        (site / name).unlink(missing_ok=True)
        how(site / name)

    return make


MERGED = "a0: &a0 {k: v, l: w}\n" + "".join(
    f"a{n}: &a{n} {{<<: [{', '.join([f'*a{n - 1}'] * 10)}], x{n}: 1}}\n" for n in range(1, 12)
)
TOWER = GROUPS + "".join(f"g{n}: {{groups: [{f'g{n - 1}' if n else 'quay'}]}}\n" for n in range(2_000))
LATTICE = "l0: {}\nr0: {}\n" + "".join(
    f"{side}{n}: {{groups: [l{n - 1}, r{n - 1}]}}\n" for n in range(1, 40) for side in "lr"
)
DEEP = "[" * 90_000

# What is done to the inventory, and the file and the words of the sentence that has to be said.
BAD: dict[str, tuple[Make, str, str]] = {
    "a pipe": (put("policy.yaml", os.mkfifo), "policy.yaml", "not a file"),
    "a pipe for hosts": (put("hosts.yaml", os.mkfifo), "hosts.yaml", "not a file"),
    "a pipe for waivers": (put("waivers.yaml", os.mkfifo), "waivers.yaml", "not a file"),
    "a pipe for Nornir's settings": (put("config.yaml", os.mkfifo), "config.yaml", "not a file"),
    "a device that never ends": (put("groups.yaml", lambda p: p.symlink_to("/dev/zero")), "groups.yaml", "not a file"),
    "a folder": (put("policy.yaml", Path.mkdir), "policy.yaml", "Is a directory"),
    "a link to itself": (put("waivers.yaml", lambda p: p.symlink_to(p)), "waivers.yaml", "symbolic links"),
    "defaults that lead to themselves": (
        put("defaults.yaml", lambda p: p.symlink_to(p)), "defaults.yaml", "symbolic links"),
    "a link to nothing": (put("waivers.yaml", lambda p: p.symlink_to("nowhere")), "waivers.yaml", "No such file"),
    "UTF-16": (a_text("policy.yaml", POLICY.encode("utf-16")), "policy.yaml", "UTF-8"),
    "no UTF-8": (a_text("hosts.yaml", b"a: \xff\xfe\n"), "hosts.yaml", "UTF-8"),
    "NUL": (a_text("policy.yaml", POLICY + "\0"), "policy.yaml", "isn't valid YAML"),
    "empty": (a_text("hosts.yaml", ""), "hosts.yaml", "no host belongs to a pair"),
    "a list": (a_text("groups.yaml", "[1]"), "groups.yaml", "must hold keys and values"),
    "a sentence": (a_text("policy.yaml", "yes"), "policy.yaml", "must hold keys and values"),
    "circles of aliases": (a_text("policy.yaml", "a: &a [*a]\n"), "policy.yaml", "cyclic"),
    "merges that grow": (a_text("defaults.yaml", MERGED), "defaults.yaml", "grow out of hand"),
    "nested without end": (a_text("policy.yaml", f"a: {DEEP}"), "policy.yaml", "more than 100 deep, at line 1"),
    "nested deeply": (a_text("defaults.yaml", "data: " + "[" * 200 + "]" * 200), "defaults.yaml", "more than 100 deep"),
    "a key twice": (a_text("hosts.yaml", HOSTS + "quay-a: {}\n"), "hosts.yaml", "'quay-a' is given twice"),
    "code in a tag": (a_text("defaults.yaml", "data: !!python/object/apply:os.system [id]\n"), "defaults.yaml", "tag"),
    "a tag that doesn't fit": (changed("policy.yaml", "hold: 3", "hold: !!int x"), "policy.yaml", "tag"),
    "a truth that is none": (a_text("defaults.yaml", "data: {a: !!bool x}"), "defaults.yaml", "tag"),
    "100,000 digits": (changed("policy.yaml", "hold: 3", f"hold: {'9' * 100_000}"), "policy.yaml", "line 37"),
    "a number by sixties": (changed("policy.yaml", "hold: 3", f"hold: 1{':1' * 300_000}"), "policy.yaml", "line 37"),
    "not a number": (changed("policy.yaml", "clock_seconds: 5", "clock_seconds: .nan"), "policy.yaml", "clock_seconds"),
    "for ever": (changed("policy.yaml", "abort_minutes: 360", "abort_minutes: 1.0e+308"), "policy.yaml", "abort"),
    "hardly a rate": (changed("policy.yaml", "pessimistic: 40}", "pessimistic: 5.0e-324}"), "policy.yaml", "copy"),
    "too long a stage": (changed("policy.yaml", "pessimistic: 12}", "pessimistic: 1.0e+308}"), "policy.yaml", "expand"),
    "the last day": (changed("groups.yaml", "2027-02-06", "9999-12-31"), "groups.yaml", "quay.data.window.start"),
    "its beginning": (changed("groups.yaml", "2027-02-06", "0001-01-01"), "groups.yaml", "quay.data.window.start"),
    "no such day": (changed("groups.yaml", "2027-02-06", "2027-02-30"), "groups.yaml", "quay.data.window.start"),
    "Norway": (changed("groups.yaml", "pair: quay", "pair: no"), "groups.yaml", "quay.data.pair: must be text"),
    "an untrue site": (changed("groups.yaml", "Harbour Quay", "off"), "groups.yaml", "quay.data.site: must be text"),
    "a host that is a truth": (changed("hosts.yaml", "quay-a", "yes"), "hosts.yaml", "a name must be text"),
    "an unknown key": (a_text("policy.yaml", POLICY + "colour: red\n"), "policy.yaml", "colour: isn't a key"),
    "a key that steers": (a_text("policy.yaml", POLICY + '"a\\e[2J\\nb": 1\n'), "policy.yaml", "a\\x1b[2J\\nb: isn't"),
    "a novel": (changed("groups.yaml", "17.12.4", f'"{"x" * 100_000}"'), "groups.yaml", "is not a release"),
    "a tower of groups": (a_text("groups.yaml", TOWER), "groups.yaml", "more than 100 groups above"),
    "a lattice of groups": (a_text("groups.yaml", GROUPS + LATTICE), "groups.yaml", "more than 100 groups above"),
    "a group above itself": (a_text("groups.yaml", GROUPS + "a: {groups: [a]}\n"), "groups.yaml", "its own parent"),
    "a way up and out": (changed("hosts.yaml", "quay-a", '"../../etc/x"'), "hosts.yaml", "folder's name"),
    "a way from the root": (changed("hosts.yaml", "quay-a", "/abs"), "hosts.yaml", "folder's name"),
    "two dots": (changed("hosts.yaml", "quay-a", '".."'), "hosts.yaml", "folder's name"),
    "a device's name": (changed("hosts.yaml", "quay-a", "con"), "hosts.yaml", "folder's name"),
    "a hyphen in front": (changed("hosts.yaml", "quay-a", '"-rf"'), "hosts.yaml", "folder's name"),
    "a file of our own": (changed("hosts.yaml", "quay-a", "manifest.json"), "hosts.yaml", "folder's name"),
    "a long name": (changed("hosts.yaml", "quay-a", "q" * 300), "hosts.yaml", "at most 200"),
    "a name that steers": (changed("hosts.yaml", "quay-a", '"a\\e[31m\\nb"'), "hosts.yaml", "a\\x1b[31m\\nb: a name"),
    "capitals only": (changed("hosts.yaml", "quay-a", "QUAY-B"), "hosts.yaml", "by capitals only"),
    "a pair that steers": (changed("groups.yaml", "pair: quay", 'pair: "a\\e[31m"'), "groups.yaml", "quay.data.pair"),
    "a site that steers": (changed("groups.yaml", "Harbour Quay", '"a\\nb"'), "groups.yaml", "quay.data.site"),
    "an option": (changed("hosts.yaml", "192.0.2.11", "-oProxyCommand=x"), "hosts.yaml", "quay-a.hostname"),
    "an address that is a command": (changed("hosts.yaml", "192.0.2.11", '"x;id"'), "hosts.yaml", "quay-a.hostname"),
    "a waiver of all days": (
        a_text("waivers.yaml", "waivers: [{pair: q, rule: config-sync, who: a, why: b, until: 9999-12-31}]"),
        "waivers.yaml",
        "waivers.0.until",
    ),
    "hosts elsewhere": (a_text("config.yaml", "inventory: {options: {host_file: [1]}}"), "config.yaml", "host_file"),
}  # fmt: skip


_LAST_LINES = ("readypair sweep: ", "readypair watch: ")


def said(capsys: pytest.CaptureFixture[str]) -> list[str]:
    """What was said on standard error, without the last line that sweeps and watches always have."""
    return [line for line in capsys.readouterr().err.splitlines() if not line.startswith(_LAST_LINES)]


def assert_refused(arguments: list[str], site: Path, capsys: pytest.CaptureFixture[str], file: str, words: str) -> None:
    before = list(tree(site.parent))
    assert main(arguments) == 2
    told = said(capsys)
    assert any(line.startswith(f"readypair: {site / file}: ") and words in line for line in told), told
    assert all(line.startswith("readypair: ") and line.isprintable() and len(line) < 1_500 for line in told)
    assert list(tree(site.parent)) == before


@pytest.mark.parametrize("name", BAD)
def test_a_bad_inventory_is_a_sentence(name: str, site: Path, capsys: pytest.CaptureFixture[str]) -> None:
    make, file, words = BAD[name]
    make(site)
    assert_refused(filled(REPLAY, site), site, capsys, file, words)


@pytest.mark.parametrize("arguments", ASKING, ids=lambda each: each[0])
@pytest.mark.parametrize("name", ["a pipe", "merges that grow", "a way up and out"])
def test_every_command_refuses_it(
    arguments: list[str], name: str, site: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    make, file, words = BAD[name]
    make(site)
    assert_refused(filled(arguments, site), site, capsys, file, words)


def test_a_mark_of_the_byte_order_is_no_mistake(site: Path) -> None:
    for name in ("hosts.yaml", "groups.yaml", "policy.yaml"):
        (site / name).write_bytes(b"\xef\xbb\xbf" + (site / name).read_bytes())
    assert main(["policy", "--inventory", str(site)]) == 0


def test_what_was_checked_is_what_counts(site: Path) -> None:
    # YAML 1.2 would read these as numbers behind the back of whoever checked them as text.
    changed("hosts.yaml", "192.0.2.11", "0o17")(site)
    a_text("hosts.yaml", (site / "hosts.yaml").read_text() + "0o18: {}\n")(site)
    assert main(["policy", "--inventory", str(site)]) == 0


def bounded(arguments: list[str]) -> subprocess.CompletedProcess[str]:
    """The command line in a process of its own, with a gigabyte of memory and 20 s of a processor's time."""

    def limit() -> None:
        resource.setrlimit(resource.RLIMIT_AS, (2**30, 2**30))
        resource.setrlimit(resource.RLIMIT_CPU, (20, 20))

    line = [sys.executable, "-c", "from collector.cli import run; run()", *arguments]
    return subprocess.run(line, capture_output=True, text=True, check=False, preexec_fn=limit)


@pytest.mark.parametrize(
    ("name", "text", "words"),
    [
        ("policy.yaml", "a: " + "x" * 50_000_000, ": is larger than 20 MB; shorten it\n"),
        ("groups.yaml", f"a: [{'1,' * 9_000_000}]", ": holds more than 300,000 values, from line 1"),
        ("hosts.yaml", "".join(f"h{number}: []\n" for number in range(100_000)), "there are more mistakes"),
    ],
    ids=["50 MB", "9,000,000 values", "100,000 mistakes"],
)
def test_a_bomb_takes_neither_memory_nor_time(name: str, text: str, words: str, site: Path) -> None:
    (site / name).write_text(text)
    done = bounded(filled(REPLAY, site))
    assert done.returncode == 2, done.stderr[-500:]
    assert words in done.stderr
    assert "Traceback" not in done.stderr
    assert len(done.stderr) < 100_000


# Recordings


def entry(change: dict[str, Any]) -> Make:
    """A change of what both manifests say of `show version`."""

    def make(recorded: Path) -> None:
        for member in MEMBERS:
            path = recorded / member / "manifest.json"
            manifest = json.loads(path.read_text())
            manifest["captures"]["show version"].update(change)
            path.write_text(json.dumps(manifest))

    return make


def manifest(text: bytes) -> Make:
    return lambda recorded: (recorded / "quay-a" / "manifest.json").write_bytes(text)


BAD_MANIFESTS: dict[str, tuple[Make, str]] = {
    "a pipe": (put("quay-a/manifest.json", os.mkfifo), "not a file"),
    "a device that never ends": (put("quay-a/manifest.json", lambda p: p.symlink_to("/dev/zero")), "not a file"),
    "a link to itself": (put("quay-a/manifest.json", lambda p: p.symlink_to(p)), "symbolic links"),
    "a folder": (put("quay-a/manifest.json", Path.mkdir), "Is a directory"),
    "50 MB": (manifest(b" " * 50_000_000), "larger than 20 MB"),
    "UTF-16": (manifest('{"captures": {}}'.encode("utf-16")), "is not valid JSON"),
    "nested without end": (manifest(b"[" * 100_000), "is not valid JSON"),
    "100,000 digits": (manifest(b'{"captures": ' + b"9" * 100_000 + b"}"), "is not valid JSON"),
    "a file outside": (entry({"file": "../../etc/passwd"}), "captures.show version.file"),
    "a file from the root": (entry({"file": "/etc/passwd"}), "captures.show version.file"),
    "for ever": (entry({"seconds": float("inf")}), "seconds"),
    "a time without an offset": (entry({"started": "2027-02-06T12:00:00"}), "started"),
    "a year too many": (entry({"started": "10000-01-01T00:00:00+00:00"}), "started"),
}  # fmt: skip


@pytest.mark.parametrize("name", BAD_MANIFESTS)
def test_a_bad_manifest_leaves_the_pair_undecided(
    name: str, site: Path, recorded: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    make, words = BAD_MANIFESTS[name]
    make(recorded)
    assert main(["replay", str(recorded), "--inventory", str(site), "--json", "--quiet"]) == 1
    out, err = capsys.readouterr()
    (pair,) = json.loads(out)["pairs"]
    assert pair["verdict"] != "go"
    assert "Traceback" not in err
    told = " ".join(out.split())
    assert words in told
    assert "quay-a/manifest.json" in told


@pytest.mark.parametrize(
    ("name", "how", "words"),
    [
        ("a link out", lambda p, outside: p.symlink_to(outside), "is a link out of its folder"),
        ("a device", lambda p, _: p.symlink_to("/dev/zero"), "is not a file that can be read"),
        ("a pipe", lambda p, _: os.mkfifo(p), "is not a file that can be read"),
        ("a folder", lambda p, _: p.mkdir(), "is not a file that can be read"),
        ("a link to itself", lambda p, _: p.symlink_to(p), "is not a file that can be read"),
        ("50 MB", lambda p, _: p.write_bytes(b"x" * 50_000_000), "is larger than 20 MB"),
    ],
    ids=lambda each: each if isinstance(each, str) else "",
)
def test_a_capture_that_is_no_file_of_the_recording_is_missing(
    name: str,
    how: Callable[[Path, Path], object],
    words: str,
    site: Path,
    recorded: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    outside = site.parent / "outside.txt"
    shutil.copy(recorded / "quay-a" / "show_version.txt", outside)
    path = recorded / "quay-a" / "show_version.txt"
    path.unlink()
    how(path, outside)
    assert main(["replay", str(recorded), "--inventory", str(site), "--json", "--quiet"]) == 1
    out, err = capsys.readouterr()
    assert json.loads(out)["pairs"][0]["verdict"] != "go"
    assert words in out
    assert err == ""
    (capture,) = recording.load(
        recorded, "quay-a", [command for command in [catalogue.find("show version")] if command]
    )
    assert capture.text == ""


@pytest.mark.parametrize("started", ["9999-12-31T23:59:59-14:00", "0001-01-01T00:00:00+14:00"])
@pytest.mark.parametrize("arguments", [REPLAY, ASKING[4], ASKING[3], ASKING[7], ASKING[10]], ids=lambda each: each[0])
def test_times_at_the_ends_of_the_calendar_break_nothing(
    arguments: list[str], started: str, site: Path, recorded: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for member in MEMBERS:
        path = recorded / member / "manifest.json"
        manifest = json.loads(path.read_text())
        for each in manifest["captures"].values():
            each.update(started=started, seconds=1e308)
        path.write_text(json.dumps(manifest))
    assert main(filled(arguments, site, recorded)) in (0, 1, 2)
    assert "Traceback" not in capsys.readouterr().err


def test_words_that_steer_stay_in_the_reports(site: Path, recorded: Path, capsys: pytest.CaptureFixture[str]) -> None:
    entry({"ending": "cut off", "reason": "a\x1b[31m\ud800\nb"})(recorded)
    out = site.parent / "out"
    assert main(["replay", str(recorded), "--inventory", str(site), "--quiet", "--out", str(out)]) == 1
    printed = capsys.readouterr()
    assert "\x1b[31m" not in printed.out + printed.err
    assert (out / "report.json").read_bytes().decode("utf-8")


@pytest.mark.parametrize(
    ("how", "words"),
    [
        (os.mkfifo, "not a file"),
        (lambda path: path.symlink_to("/dev/zero"), "not a file"),
        (lambda path: path.write_text('{"pairs": 7}'), "pairs"),
        (lambda path: path.write_text('{"pairs": ["\\ud800\\u001b[31m"]}'), ""),
    ],
)
def test_a_bad_selection_is_a_sentence(
    how: Make, words: str, site: Path, recorded: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    how(recorded / "selection.json")
    before = list(tree(site.parent))
    assert main(filled(REPLAY, site, recorded)) == 2
    (told,) = said(capsys)
    assert words in told
    assert told.isprintable()
    assert list(tree(site.parent)) == before
