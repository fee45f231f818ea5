"""`dir bootflash:`. Structures: DESIGN section 5."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone

import pytest

from parsers import Unreadable, read
from parsers.facts.flash import CoreDirectory, Directory, File
from tests.parsers.dressing import assert_reads_alike, cut, garbled, shortened

TOTALS = "26458804224 bytes total (19503411200 bytes free)\n"
LISTING = f"""\
Directory of bootflash:/

11      drwx            16384  Mar 11 2026 09:02:44 +00:00  lost+found
393217  -rw-             6891  Jun 27 2026 22:30:12 +00:00  packages.conf
393218  -rw-            18221   Jul 2 2026 01:12:40 +00:00  notes of the night shift.txt
393219  -rw-        968112552         Jun 27 2026 22:32:12  wx-base.17.09.04a.pkg
12      -rw-                0                    <no date>  empty

{TOTALS}"""


def directory(text: str, command: str = "dir bootflash:") -> Directory:
    facts = read(command, text)
    assert isinstance(facts, Directory)
    return facts


def test_files_and_space() -> None:
    facts = directory(LISTING)
    assert facts == Directory(
        bytes_total=26_458_804_224,
        bytes_free=19_503_411_200,
        files=(
            File(name="packages.conf", bytes=6_891, modified=datetime(2026, 6, 27, 22, 30, 12, tzinfo=UTC), at=4),
            File(
                name="notes of the night shift.txt",
                bytes=18_221,
                modified=datetime(2026, 7, 2, 1, 12, 40, tzinfo=UTC),
                at=5,
            ),
            File(name="wx-base.17.09.04a.pkg", bytes=968_112_552, modified=datetime(2026, 6, 27, 22, 32, 12), at=6),
            File(name="empty", bytes=0, at=7),
        ),
    )
    assert facts.at == {"bytes_total": (9,), "bytes_free": (9,), "files": (4, 5, 6, 7)}


@pytest.mark.parametrize("text", [LISTING, TOTALS])
def test_a_directory_in_every_dress(text: str) -> None:
    assert_reads_alike("dir bootflash:", text)
    assert_reads_alike("dir stby-bootflash:", text.replace("of bootflash", "of stby-bootflash"))


@pytest.mark.parametrize("command", ["dir bootflash: | include free", "dir stby-bootflash: | include free"])
def test_only_the_totals_were_asked(command: str) -> None:
    facts = directory(TOTALS, command)
    assert (facts.bytes_total, facts.bytes_free, facts.files) == (26_458_804_224, 19_503_411_200, None)
    assert "files" not in facts.at


def test_an_empty_file_system_has_no_files() -> None:
    text = "Directory of bootflash:/\n\nNo files in directory\n\n100 bytes total (100 bytes free)\n"
    assert directory(text).files == ()


def test_totals_with_the_share_that_is_free() -> None:
    assert directory("1000 bytes total (320 bytes free/32% free)").bytes_free == 320


@pytest.mark.parametrize("line", ["393220  -rw-   12#4  Jun 27 2026 22:30:12 +00:00  x.bin", "~~~~"])
def test_a_listing_with_an_unreadable_line_names_no_files(line: str) -> None:
    facts = directory(LISTING.replace("\n12 ", f"\n{line}\n12 "))
    assert facts.files is None
    assert facts.bytes_free == 19_503_411_200


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        (LISTING.replace(TOTALS, ""), "no line tells the free space"),
        (LISTING.replace("195034", "19~034"), "no line tells the free space"),
        (
            LISTING + "26458804224 bytes total (9 bytes free)",
            "lines 9 and 10 contradict each other about the bytes free",
        ),
        (
            LISTING + "9 bytes total (19503411200 bytes free)",
            "lines 9 and 10 contradict each other about the bytes total",
        ),
        ("10 bytes total (11 bytes free)", r"more free bytes \(11\) than there are \(10\)"),
        ("%Error opening stby-bootflash:/ (No such device)", "the controller answered: %Error opening stby-bootflash"),
        (f"{'9' * 30} bytes total (1 bytes free)", "no line tells the free space"),
    ],
)
def test_what_does_not_tell_the_free_space_is_unreadable(text: str, problem: str) -> None:
    with pytest.raises(Unreadable, match=problem):
        directory(text)


def test_no_loss_makes_room_or_files() -> None:
    before = directory(LISTING)
    sizes = {(file.name, file.bytes) for file in before.files or ()}
    tried = 0
    for name, damaged in [*cut(LISTING), *shortened(LISTING), *garbled(LISTING)]:
        try:
            after = directory(damaged)
        except Unreadable:
            continue
        tried += 1
        assert after.bytes_free == before.bytes_free, name
        # A spoilt name is another name: it can't be told from a file of that name.
        assert {size for _, size in sizes} >= {file.bytes for file in after.files or ()}, name
    assert tried > 100


def only_file(date: str) -> File:
    facts = directory(f"11  -rw-  16384  {date}  system report.tar.gz\n{TOTALS}")
    assert facts.files is not None
    return facts.files[0]


@pytest.mark.parametrize(
    ("date", "modified"),
    [
        ("Feb 05 2027 21:10:45 +01:00", datetime(2027, 2, 5, 21, 10, 45, tzinfo=timezone(timedelta(hours=1)))),
        (
            "Feb  5 2027 21:10:45 -0330",
            datetime(2027, 2, 5, 21, 10, 45, tzinfo=timezone(-timedelta(hours=3, minutes=30))),
        ),
        ("Feb 5 2027 21:10:45", datetime(2027, 2, 5, 21, 10, 45)),
        ("Feb 30 2027 21:10:45 +01:00", None),
        ("Feb 05 2027 25:10:45 +01:00", None),
        ("Feb 05 2027 21:10:45 +24:00", None),
        ("F~b 05 2027 21:10:45 +01:00", None),
        ("Feb ~5 2027 21:10:45", None),
        ("Feb 05 2027 21~10:45 +01:00", None),
        ("Feb 05 2027 21:10:45 ~01:00", None),
        ("Feb 05 2027 21:10:45 +01x00", None),
        ("Feb 05 2027 21:10:45 +0~:00", None),
        ("<no date>", None),
    ],
)
def test_when_a_file_was_modified(date: str, modified: datetime | None) -> None:
    file = only_file(date)
    assert (file.name, file.bytes) == ("system report.tar.gz", 16_384)
    assert file.modified == modified
    assert modified is None or file.modified is not None
    assert (file.modified and file.modified.tzinfo) == (modified and modified.tzinfo)


def test_a_listing_of_nothing_names_no_files() -> None:
    """A row that was lost leaves the same text behind: an empty folder says that it is."""
    assert directory(f"Directory of bootflash:/core/\n\n{TOTALS}", "dir bootflash:core").files is None
    assert directory(LISTING + "No files in directory\n").files is None


CORE = f"""\
Directory of bootflash:/core/

182     -rw-          1048576  Feb 05 2027 21:10:45 +01:00  quay-a_1_RP_0_wncd_core.gz
181     drwx             4096  Jan 11 2027 08:00:00 +01:00  modules

{TOTALS}"""
EMPTY_CORE = f"Directory of bootflash:/core/\n\nNo files in directory\n\n{TOTALS}"
NO_CORE = "%Error opening bootflash:/core (No such file or directory)\n"


def test_core_files() -> None:
    facts = directory(CORE, "dir bootflash:core")
    assert isinstance(facts, CoreDirectory)
    assert [file.name for file in facts.files or ()] == ["quay-a_1_RP_0_wncd_core.gz"]
    assert facts.at["files"] == (3,)


@pytest.mark.parametrize(
    ("said", "command"),
    [
        (NO_CORE, "dir bootflash:core"),
        ("%Error opening stby-bootflash:core/ (No such file or directory)", "dir stby-bootflash:core"),
    ],
)
def test_a_folder_that_does_not_exist_holds_no_core_files(said: str, command: str) -> None:
    facts = directory(said, command)
    assert isinstance(facts, CoreDirectory)
    assert facts.plain() == {"bytes_total": None, "bytes_free": None, "files": [], "at": {"files": [1]}}
    assert facts.at == {"files": (1,)}
    with pytest.raises(Unreadable, match="the controller answered: %Error opening"):
        directory(said)


@pytest.mark.parametrize(
    "text",
    [
        "%Error opening bootflash:/core (No such device)",
        "%Error opening stby-bootflash:/ (No such file or directory)",
        "%Error opening bootflash:/core (I/O error)",
        "%Error opening stby-bootflash:/core (No such file or directory)",
        "%Error opening harddisk:/core (No such file or directory)",
        NO_CORE + CORE,
        CORE + NO_CORE,
    ],
)
def test_other_trouble_says_nothing_about_core_files(text: str) -> None:
    with pytest.raises(Unreadable, match="the controller answered: %Error opening"):
        directory(text, "dir bootflash:core")


@pytest.mark.parametrize("text", [CORE, EMPTY_CORE, NO_CORE])
def test_core_files_in_every_dress(text: str) -> None:
    assert_reads_alike("dir bootflash:core", text)


def test_no_loss_hides_a_core_file() -> None:
    one_file = "".join(line for line in CORE.splitlines(keepends=True) if "drwx" not in line)
    for name, damaged in [*cut(one_file), *shortened(one_file), *garbled(one_file)]:
        try:
            after = directory(damaged, "dir bootflash:core")
        except Unreadable:
            continue
        assert after.files is None or len(after.files) == 1, name
        assert all(file.modified in (None, datetime(2027, 2, 5, 20, 10, 45, tzinfo=UTC)) for file in after.files or ())


HEADINGS = ["bootflash:/", "flash:/", "Bootflash:", "stby-bootflash:/", "stby-flash:", "harddisk:/", "usb0:/", "flash"]


@pytest.mark.parametrize(
    ("command", "own"),
    [
        ("dir bootflash:", {"bootflash:/", "flash:/", "Bootflash:"}),
        ("dir stby-bootflash:", {"stby-bootflash:/", "stby-flash:"}),
    ],
)
@pytest.mark.parametrize("heading", HEADINGS)
def test_another_file_systems_room_counts_for_nothing(command: str, own: set[str], heading: str) -> None:
    text = f"Directory of {heading}\n\nNo files in directory\n\n{TOTALS}"
    for asked in (command, f"{command}core"):
        if heading in own:
            assert directory(text, asked).bytes_free == 19_503_411_200
        else:
            with pytest.raises(Unreadable, match="which isn't what was asked for"):
                directory(text, asked)


@pytest.mark.parametrize("command", ["dir bootflash:", "dir stby-bootflash:"])
def test_the_listing_of_a_folder_is_none_of_the_flash(command: str) -> None:
    """Else a file that was cut off at the top would be one that isn't there."""
    text = f"Directory of {command.removeprefix('dir ')}/core/\n\nNo files in directory\n\n{TOTALS}"
    assert directory(text, f"{command}core").files == ()
    with pytest.raises(Unreadable, match="isn't what was asked for"):
        directory(text, command)
