"""Captures on disk: the round trip, what is missing, what is malformed, and names that lead elsewhere."""

from __future__ import annotations

import json
import stat
from collections.abc import Callable
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector import recording
from collector.capture import Capture, Ending
from collector.recording import RecordingError
from parsers import catalogue
from parsers.catalogue import Command

BOOT = catalogue.find("show boot")
VERSION = catalogue.find("show version")
CHASSIS = catalogue.find("show chassis rmi")
FLASH = catalogue.find("dir bootflash:")
STANDBY_FLASH = catalogue.find("dir stby-bootflash:")
NOON = datetime(2027, 2, 6, 12, 0, tzinfo=timezone(timedelta(hours=1)))

texts = st.one_of(
    st.binary(max_size=40).map(lambda raw: raw.decode("utf-8", "surrogateescape")),
    st.text(st.characters(exclude_categories=["Cs"]), max_size=20),
    st.lists(st.sampled_from(["quay", " ", "\r\n", "\n", "\r", "\x00", "\x1b[0m", "\u2028"]), max_size=9).map("".join),
)


def commands(*found: Command | None) -> list[Command]:
    return [command for command in found if command is not None]


@st.composite
def captures(draw: st.DrawFn) -> list[Capture]:
    made = []
    for command in draw(st.lists(st.sampled_from(catalogue.asked()), unique=True, max_size=3)):
        ending = draw(st.sampled_from(Ending))
        made.append(
            Capture(
                "quay-a",
                command.text,
                "" if ending is Ending.MISSING else draw(texts),
                ending,
                "" if ending is Ending.COMPLETE else draw(st.text(min_size=1, max_size=9)),
                draw(st.none() | st.datetimes(timezones=st.just(UTC))),
                draw(st.none() | st.floats(0, 1e6)),
            )
        )
    return made


@given(captures())
def test_what_is_written_is_loaded(written: list[Capture]) -> None:
    with TemporaryDirectory() as folder:
        recording.write(Path(folder), "quay-a", written)
        rows = commands(*(catalogue.find(capture.command) for capture in written))
        assert recording.load(Path(folder), "quay-a", rows) == written


def test_keeps_the_time_with_its_offset(tmp_path: Path) -> None:
    recording.write(tmp_path, "quay-a", [Capture("quay-a", "show boot", "x", started=NOON)])
    manifest = json.loads((tmp_path / "quay-a" / "manifest.json").read_text())
    assert manifest["captures"]["show boot"]["started"] == "2027-02-06T12:00:00+01:00"


def test_the_owner_only_and_nothing_left_over(tmp_path: Path) -> None:
    own = recording.write(tmp_path / "captures", "quay-a", [Capture("quay-a", "show boot", "x")])
    assert {path.name for path in own.iterdir()} == {"manifest.json", "show_boot.txt"}
    assert {stat.S_IMODE(path.stat().st_mode) for path in own.iterdir()} == {0o600}
    assert stat.S_IMODE(own.stat().st_mode) == stat.S_IMODE(own.parent.stat().st_mode) == 0o700


def test_a_members_folder_that_was_open_to_others_is_closed(tmp_path: Path) -> None:
    (tmp_path / "quay-a").mkdir(mode=0o755)
    own = recording.write(tmp_path, "quay-a", [])
    assert stat.S_IMODE(own.stat().st_mode) == 0o700


def test_removes_what_an_earlier_sweep_left_of_a_command_that_is_missing_now(tmp_path: Path) -> None:
    both = [Capture("quay-a", "show boot", "old"), Capture("quay-a", "show version", "old")]
    recording.write(tmp_path, "quay-a", both)
    (tmp_path / "quay-a" / "notes.txt").write_text("mine")
    missing = Capture("quay-a", "show boot", ending=Ending.MISSING, reason="no answer within 30 s")
    recording.write(tmp_path, "quay-a", [missing])
    assert sorted(path.name for path in (tmp_path / "quay-a").iterdir()) == ["manifest.json", "notes.txt"]
    boot, version = recording.load(tmp_path, "quay-a", commands(BOOT, VERSION))
    assert boot == missing
    assert version.ending is Ending.MISSING


def test_an_interrupted_writing_counts_as_missing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    recording.write(tmp_path, "quay-a", [Capture("quay-a", "show version", "cut", Ending.CUT_OFF, "dropped")])
    real = Path.replace

    def full(self: Path, target: Path) -> Path:
        if target.name == "show_boot.txt":
            raise OSError("No space left on device")
        return real(self, target)

    monkeypatch.setattr(Path, "replace", full)
    with pytest.raises(OSError, match="No space"):
        recording.write(tmp_path, "quay-a", [Capture("quay-a", "show version", "v"), Capture("quay-a", "show boot")])
    assert {c.ending for c in recording.load(tmp_path, "quay-a", commands(BOOT, VERSION))} == {Ending.MISSING}
    assert not list((tmp_path / "quay-a").glob("*.new"))


def test_without_a_manifest_the_files_are_complete_and_undated(tmp_path: Path) -> None:
    (tmp_path / "quay-a").mkdir()
    (tmp_path / "quay-a" / "show_boot.txt").write_bytes(b"BOOT\r\n\xff")
    boot, version = recording.load(tmp_path, "quay-a", commands(BOOT, VERSION))
    assert boot == Capture("quay-a", "show boot", "BOOT\r\n\udcff")
    assert (version.ending, version.reason) == (
        Ending.MISSING,
        f"no recording show_version.txt in {tmp_path / 'quay-a'}",
    )


@pytest.mark.parametrize(
    ("prepare", "said"),
    [
        (lambda own: None, "no recordings of it in "),
        (lambda own: own.touch(), "no recordings of it in "),
        (lambda own: own.mkdir(), "no recording show_boot.txt in "),
    ],
)
def test_a_folder_that_is_absent_or_empty_or_a_file(
    tmp_path: Path, prepare: Callable[[Path], object], said: str
) -> None:
    prepare(tmp_path / "quay-a")
    (boot,) = recording.load(tmp_path, "quay-a", commands(BOOT))
    assert boot.ending is Ending.MISSING
    assert boot.reason.startswith(said)


def test_what_the_manifest_and_the_folder_do_not_both_have_is_missing(tmp_path: Path) -> None:
    own = recording.write(tmp_path, "quay-a", [Capture("quay-a", "show boot", "x", started=NOON)])
    (own / "show_boot.txt").unlink()
    (own / "show_version.txt").write_text("from another night")
    boot, version = recording.load(tmp_path, "quay-a", commands(BOOT, VERSION))
    assert (boot.ending, version.ending) == (Ending.MISSING, Ending.MISSING)
    assert "show_boot.txt" in boot.reason
    assert "show_version.txt is not listed in manifest.json" in version.reason


def test_a_folder_in_a_files_place_is_missing(tmp_path: Path) -> None:
    path = tmp_path / "quay-a" / "show_boot.txt"
    path.mkdir(parents=True)
    (boot,) = recording.load(tmp_path, "quay-a", commands(BOOT))
    assert (boot.ending, boot.reason) == (Ending.MISSING, f"{path} is not a file that can be read")


@pytest.mark.parametrize("with_manifest", [True, False])
def test_another_form_of_a_command_counts_where_the_asked_one_is_absent(tmp_path: Path, with_manifest: bool) -> None:
    other = [
        Capture("quay-a", "show chassis", "1 Active"),
        Capture("quay-a", "dir bootflash: | include free", "9 free"),
    ]
    own = recording.write(tmp_path, "quay-a", other)
    if not with_manifest:
        (own / "manifest.json").unlink()
    chassis, flash, standby = recording.load(tmp_path, "quay-a", commands(CHASSIS, FLASH, STANDBY_FLASH))
    assert chassis == Capture("quay-a", "show chassis rmi", "1 Active")
    assert flash == Capture("quay-a", "dir bootflash:", "9 free")
    assert standby.ending is Ending.MISSING
    recording.write(tmp_path, "quay-a", [*other, Capture("quay-a", "show chassis rmi", ending=Ending.MISSING)])
    assert recording.load(tmp_path, "quay-a", commands(CHASSIS))[0].ending is Ending.MISSING


GOOD: dict[str, Any] = {"file": "show_boot.txt", "started": None, "seconds": 1.5, "ending": "complete", "reason": ""}


@pytest.mark.parametrize(
    "broken",
    [
        "",
        "{",
        "[]",
        "null",
        '"captures"',
        "{}",
        '{"captures": []}',
        '{"captures": {}, "captures": {}}',
        '{"captures": {}, "more": 1}',
        "\xff",
        "[" * 100_000,
        *(
            json.dumps({"captures": {"show boot": {**GOOD, **change}}})
            for change in (
                {"ending": "well"},
                {"ending": None},
                {"seconds": -1},
                {"seconds": float("nan")},
                {"seconds": float("inf")},
                {"seconds": "long"},
                {"started": "2027-02-06T12:00:00"},
                {"started": "noon"},
                {"reason": None},
                {"file": "../../etc/passwd"},
                {"file": "/etc/passwd"},
                {"file": "show_version.txt"},
                {"file": None},
                {"ending": "missing"},
                {"colour": "blue"},
            )
        ),
        '{"captures": {"show boot": {"file": "show_boot.txt"}}}',
        '{"captures": {"show boot": 7}}',
    ],
)
def test_a_malformed_manifest_names_itself_and_what_to_do(tmp_path: Path, broken: str) -> None:
    own = tmp_path / "quay-a"
    own.mkdir()
    (own / "show_boot.txt").write_text("x")
    (own / "manifest.json").write_bytes(broken.encode("latin-1"))
    with pytest.raises(RecordingError) as caught:
        recording.load(tmp_path, "quay-a", commands(BOOT))
    assert str(caught.value).startswith(f"{own / 'manifest.json'}: ")
    assert "sweep again" in str(caught.value)


def test_a_manifest_that_is_a_folder(tmp_path: Path) -> None:
    (tmp_path / "quay-a" / "manifest.json").mkdir(parents=True)
    with pytest.raises(RecordingError, match=r"manifest\.json: can't be read"):
        recording.load(tmp_path, "quay-a", commands(BOOT))


def test_a_manifest_of_another_catalogue_is_read(tmp_path: Path) -> None:
    own = recording.write(
        tmp_path, "quay-a", [Capture("quay-a", "show boot", "x"), Capture("quay-a", "show tides", "y")]
    )
    assert (own / "show_tides.txt").exists()
    assert recording.load(tmp_path, "quay-a", commands(BOOT)) == [Capture("quay-a", "show boot", "x")]


HOSTILE = ["", ".", "..", "../quay", "a/b", "/etc", "a\\b", ".hidden", "-rf", "a\x00b", "a\nb", " a", "C:", "x" * 300]


@pytest.mark.parametrize("name", [*HOSTILE, "manifest.json", "Selection.json"])
def test_names_that_are_no_folders_are_refused(tmp_path: Path, name: str) -> None:
    inside = tmp_path / "captures"
    inside.mkdir()
    with pytest.raises(RecordingError, match="folder's name"):
        recording.write(inside, name, [Capture(name, "show boot", "x")])
    with pytest.raises(RecordingError, match="folder's name"):
        recording.load(inside, name, commands(BOOT))
    assert [*tmp_path.iterdir(), *inside.iterdir()] == [inside]


@given(st.text())
def test_no_name_writes_outside_its_folder(name: str) -> None:
    with TemporaryDirectory() as folder:
        inside = Path(folder) / "captures"
        inside.mkdir()
        try:
            own = recording.write(inside, name, [Capture(name, "show boot", "x")])
        except RecordingError:
            assert not list(inside.iterdir())
        else:
            assert own.resolve().parent == inside.resolve()
        assert list(Path(folder).iterdir()) == [inside]


def test_the_pairs_that_were_asked(tmp_path: Path) -> None:
    assert recording.read_selection(tmp_path) is None
    recording.write_selection(tmp_path / "captures", ["quay", "north mole"])
    assert recording.read_selection(tmp_path / "captures") == ["quay", "north mole"]


@pytest.mark.parametrize("broken", ["", "[]", "{}", '{"pairs": "quay"}', '{"pairs": [1]}', '{"pairs": [], "x": 1}'])
def test_a_malformed_selection_names_itself(tmp_path: Path, broken: str) -> None:
    (tmp_path / "selection.json").write_text(broken)
    with pytest.raises(RecordingError, match=r"selection\.json: "):
        recording.read_selection(tmp_path)


def test_finds_the_captures_in_what_a_sweep_wrote(tmp_path: Path) -> None:
    recording.write(tmp_path / "captures", "quay-a", [])
    assert recording.find(tmp_path) == recording.find(tmp_path / "captures") == tmp_path / "captures"
    assert recording.members(recording.find(tmp_path)) == ["quay-a"]


def test_a_member_may_be_called_captures(tmp_path: Path) -> None:
    recording.write(tmp_path, "captures", [Capture("captures", "show boot", "x")])
    assert recording.find(tmp_path) == tmp_path


def test_a_file_in_place_of_a_recording_is_told_as_one(tmp_path: Path) -> None:
    (tmp_path / "capture.txt").write_text("")
    with pytest.raises(RecordingError, match=r"capture\.txt: is a file; name a folder, such as what"):
        recording.find(tmp_path / "capture.txt")


def test_finds_nothing_where_there_is_no_folder(tmp_path: Path) -> None:
    with pytest.raises(RecordingError, match="there is no such folder"):
        recording.find(tmp_path / "nowhere")


def test_a_capture_that_changed_since_it_was_recorded_counts_as_missing(tmp_path: Path) -> None:
    command = catalogue.COMMANDS[0]
    recording.write(tmp_path, "quay-a", [Capture("quay-a", command.text, "one\ntwo\n")])
    file = tmp_path / "quay-a" / f"{command.slug}.txt"
    file.write_text("one\n")
    (capture,) = recording.load(tmp_path, "quay-a", [command])
    assert capture.ending is Ending.MISSING
    assert capture.reason == f"{file} has changed since it was recorded"


_SCRAPS: st.SearchStrategy[Any] = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=9) | st.sampled_from(list(Ending)),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=9), inner, max_size=3),
    max_leaves=5,
)
_DAMAGE = st.dictionaries(st.sampled_from([*GOOD, "sha256", "colour"]), _SCRAPS, max_size=3)


@given(damage=_DAMAGE, whole=st.none() | _SCRAPS, cut=st.none() | st.integers(0, 200))
def test_whatever_a_manifest_holds_is_read_or_refused(damage: dict[str, Any], whole: Any, cut: int | None) -> None:
    with TemporaryDirectory() as folder:
        own = Path(folder) / "quay-a"
        own.mkdir()
        (own / "show_boot.txt").write_text("x")
        data = {"captures": {"show boot": {**GOOD, **damage}}} if whole is None else whole
        (own / "manifest.json").write_text(json.dumps(data)[:cut])
        said = f"{own / 'manifest.json'}: "
        try:
            (boot,) = recording.load(Path(folder), "quay-a", commands(BOOT))
        except RecordingError as error:
            said = str(error)
        else:
            assert boot.text in ("", "x")
        assert said.startswith(f"{own / 'manifest.json'}: ")
