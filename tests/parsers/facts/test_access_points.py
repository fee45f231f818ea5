"""`show ap summary` and `show ap image`: wide tables. Structures: DESIGN section 5."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from parsers import Unreadable, read
from parsers.facts.access_points import AccessPoint, ApImage, ApImageRow, ApSummary
from tests.parsers.dressing import assert_reads_alike, cut, garbled, shortened

ADDRESS_FIRST = """\
Number of APs: 3

AP Name        Slots  AP Model      Ethernet MAC    Radio MAC       Location       Country  IP Address       State
----------------------------------------------------------------------------------------------------
quay-ramp-01   2      WX-AP20       0200.5e10.0001  0200.5e20.0010  Ramp One       NL       203.0.113.1      Registered
Car Deck 2 aft 3                    0200.5e10.0002  0200.5e20.0020                          2001:db8:1::12   Registered
bare                  WX-AP20                       0200.5e20.0030  Upper  Deck    NL
"""
COUNTRY_FIRST = """\
Number of APs: 3

CC = Country Code
RD = Regulatory Domain

AP Name        Slots AP Model      Ethernet MAC    Radio MAC       CC   RD   IP Address       State        Location
----------------------------------------------------------------------------------------------------
quay-ramp-01   2     WX-AP20       0200.5e10.0001  0200.5e20.0010  NL   -E   203.0.113.1      Registered   Ramp One
Car Deck 2 aft 3                   0200.5e10.0002  0200.5e20.0020       -E   2001:db8:1::12   Registered
bare                 WX-AP20                       0200.5e20.0030  NL                                      Upper  Deck
"""
ROWS = (
    AccessPoint(
        name="quay-ramp-01",
        slots=2,
        model="WX-AP20",
        ethernet_mac="0200.5e10.0001",
        radio_mac="0200.5e20.0010",
        location="Ramp One",
        country="NL",
        ip="203.0.113.1",
        state="Registered",
    ),
    AccessPoint(
        name="Car Deck 2 aft",
        slots=3,
        ethernet_mac="0200.5e10.0002",
        radio_mac="0200.5e20.0020",
        ip="2001:db8:1::12",
        state="Registered",
    ),
    AccessPoint(name="bare", model="WX-AP20", radio_mac="0200.5e20.0030", location="Upper  Deck", country="NL"),
)


def summary(text: str) -> ApSummary:
    facts = read("show ap summary", text)
    assert isinstance(facts, ApSummary)
    return facts


def image(text: str) -> ApImage:
    facts = read("show ap image", text)
    assert isinstance(facts, ApImage)
    return facts


def rows(facts: ApSummary | ApImage) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = facts.plain()["aps"]
    return found


def one(row: str, *, heading: str = ADDRESS_FIRST) -> dict[str, Any]:
    """The only row under a heading, read."""
    title = next(line for line in heading.split("\n") if line.startswith("AP Name"))
    return rows(summary(f"Number of APs: 1\n{title}\n{row}\n"))[0]


@pytest.mark.parametrize(("text", "places"), [(ADDRESS_FIRST, (5, 6, 7)), (COUNTRY_FIRST, (8, 9, 10))])
def test_both_orders_of_columns_say_the_same(text: str, places: tuple[int, ...]) -> None:
    facts = summary(text)
    assert rows(facts) == rows(ApSummary(aps=ROWS))
    assert facts.count == 3
    assert facts.at == {"count": (1,), "aps": places}
    assert tuple(ap.at for ap in facts.aps) == places


@pytest.mark.parametrize("text", [ADDRESS_FIRST, COUNTRY_FIRST])
def test_a_summary_in_every_dress(text: str) -> None:
    assert_reads_alike("show ap summary", text)


@pytest.mark.parametrize("text", [ADDRESS_FIRST, COUNTRY_FIRST])
def test_the_heading_may_repeat_and_its_columns_move(text: str) -> None:
    count, blank, *table = text.split("\n")
    head = table[: next(place for place, line in enumerate(table) if line.startswith("---")) + 1]
    wider = [line.replace("AP Name ", "AP Name    ") for line in head]
    last = table[-2][:5] + "   " + table[-2][5:]
    moved = "\n".join([count, blank, *table[:-2], *wider, last, ""])
    assert rows(summary(moved)) == rows(ApSummary(aps=ROWS))


@pytest.mark.parametrize(
    ("row", "wanted"),
    [
        (
            "A name that is longer than its own column  2      WX-AP20       0200.5e10.0001  0200.5e20.0010  "
            "Ramp One       NL       203.0.113.1      Registered",
            {"name": "A name that is longer than its own column", "slots": 2, "location": "Ramp One", "country": "NL"},
        ),
        (
            "quay-ramp-01                2      WX-AP20-OUTDOOR-LONG 0200.5e10.0001  0200.5e20.0010  "
            "A long tale of a location NL       2001:db8::1      Registered",
            {"model": "WX-AP20-OUTDOOR-LONG", "location": "A long tale of a location", "ip": "2001:db8::1"},
        ),
        (
            "A name that is longer than its own column  2 02:00:5e:10:00:01  02:00:5e:20:00:10    203.0.113.1",
            {"model": None, "location": None, "country": None, "state": None, "ethernet_mac": "02:00:5e:10:00:01"},
        ),
    ],
)
def test_a_long_cell_may_push_the_others_out_of_their_columns(row: str, wanted: dict[str, Any]) -> None:
    read_row = one(row)
    assert {name: read_row[name] for name in wanted} == wanted


def test_a_long_cell_in_the_newer_order() -> None:
    row = (
        "A name that is longer than its own column  2     WX-AP20       0200.5e10.0001  0200.5e20.0010  "
        "NL   -E   203.0.113.1      Registered   Ramp One"
    )
    assert one(row, heading=COUNTRY_FIRST) == {
        **rows(ApSummary(aps=ROWS[:1]))[0],
        "name": "A name that is longer than its own column",
    }


def test_no_access_points_is_an_answer() -> None:
    assert summary("Number of APs: 0\n") == ApSummary(count=0)


def test_no_count_is_no_count() -> None:
    facts = summary(ADDRESS_FIRST.replace("Number of APs: 3\n", ""))
    assert facts.count is None
    assert len(facts.aps) == 3


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        (ADDRESS_FIRST.replace("APs: 3", "APs: 4"), "the controller counts 4 access points, but 3 rows can be read"),
        (ADDRESS_FIRST.replace("APs: 3", "APs: 2"), "the controller counts 2 access points, but 3 rows can be read"),
        (ADDRESS_FIRST.replace("0200.5e20.0030", "0200.5e20.00"), "counts 3 access points, but 2 rows"),
        (ADDRESS_FIRST.replace("AP Name", "AP N~me"), "counts 3 access points, but 0 rows"),
        (ADDRESS_FIRST.replace("Number of APs: 3", "").replace(" 3  ", " x3 "), "1 of its lines can't be read"),
        (ADDRESS_FIRST.replace("Number of APs: 3", "Number of APs: ~"), "1 of its lines can't be read"),
        (ADDRESS_FIRST + "Number of APs: 2\n", "lines 1 and 8 contradict each other about the count"),
        ("AP Name  Slots\n-----------\n", "no line tells the number of access points, and no row"),
        ("noise", "no line tells the number of access points"),
    ],
)
def test_a_summary_that_lost_something_is_unreadable(text: str, problem: str) -> None:
    with pytest.raises(Unreadable, match=problem):
        summary(text)


IMAGE = """\
Total number of APs  : 3

Number of APs
        Initiated                  : 0
        Downloading                : 1
        Predownloading             : 0
        Completed predownloading   : 1
        Not Supported              : 0
        Failed to Predownload      : 1

AP Name         Primary Image  Backup Image   Predownload Status  Predownload Ver  Next Retry Time  Retry Count  Method
----------------------------------------------------------------------------------------------------
quay-ramp-01    17.9.4.27      17.3.6.76      None                0.0.0.0          N/A              0            N/A
Car Deck 2 aft  17.9.4.27      17.12.4.33     Not Supported       17.12.4.33       NA               NA           CAPWAP
bare            17.9.4.27                     Failed                               22:41:07         3
"""
IMAGE_ROWS = (
    ApImageRow(
        name="quay-ramp-01", primary="17.9.4.27", backup="17.3.6.76", status="None", version="0.0.0.0", retries=0
    ),
    ApImageRow(
        name="Car Deck 2 aft",
        primary="17.9.4.27",
        backup="17.12.4.33",
        status="Not Supported",
        version="17.12.4.33",
    ),
    ApImageRow(name="bare", primary="17.9.4.27", status="Failed", retries=3),
)


def test_images_and_their_counts() -> None:
    facts = image(IMAGE)
    assert rows(facts) == rows(ApImage(aps=IMAGE_ROWS))
    assert facts.total == 3
    assert facts.counts == {
        "Initiated": 0,
        "Downloading": 1,
        "Predownloading": 0,
        "Completed predownloading": 1,
        "Not Supported": 0,
        "Failed to Predownload": 1,
    }
    assert facts.at["total"] == (1,)
    assert facts.at["counts"] == (4, 5, 6, 7, 8, 9)
    assert facts.at["counts.Failed to Predownload"] == (9,)
    assert facts.at["aps"] == tuple(ap.at for ap in facts.aps) == (13, 14, 15)


def test_images_in_every_dress() -> None:
    assert_reads_alike("show ap image", IMAGE)


def test_images_with_a_column_of_mac_addresses() -> None:
    text = (
        "Total number of APs : 2\n"
        "AP Name       Ethernet MAC    Primary Image  Backup Image  Predownload Status  Predownload Ver  "
        "Next Retry Time  Retry Count\n"
        "quay-ramp-01  0200.5e10.0001  17.9.4.27      17.3.6.76     None                0.0.0.0          "
        "NA               0\n"
        "A name longer than that  0200.5e10.0002  17.9.4.27      17.3.6.76     Not Supported       0.0.0.0          "
        "NA               2\n"
    )
    first, second = rows(image(text))
    assert first == rows(ApImage(aps=IMAGE_ROWS[:1]))[0]
    assert second == {**first, "name": "A name longer than that", "status": "Not Supported", "retries": 2}


def test_a_long_name_may_push_the_images_out_of_their_columns() -> None:
    text = IMAGE.replace("quay-ramp-01    ", "A name longer than its own column   ")
    assert rows(image(text))[0] == {**rows(image(IMAGE))[0], "name": "A name longer than its own column"}


def test_any_label_counts() -> None:
    facts = image("Total number of APs : 0\nSomething new = 7\n")
    assert (facts.total, facts.counts, facts.aps) == (0, {"Something new": 7}, ())


@pytest.mark.parametrize("flag", ["        Predownload in progress    : Yes", "Predownload in progress = No"])
def test_a_line_of_the_head_that_counts_nothing_leaves_the_counts_known(flag: str) -> None:
    facts = image(IMAGE.replace("\nAP Name", f"{flag}\n\nAP Name", 1))
    assert facts.counts == image(IMAGE).counts
    assert rows(facts) == rows(image(IMAGE))


@pytest.mark.parametrize(
    "change", [("Failed to Predownload      : 1", "Failed to Predownload : ~"), ("Initiated ", "~")]
)
def test_counts_are_not_known_where_a_line_of_the_head_is_not(change: tuple[str, str]) -> None:
    facts = image(IMAGE.replace(*change))
    assert facts.counts is None
    assert len(facts.aps) == 3


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        (IMAGE.replace("APs  : 3", "APs  : 4"), "the controller counts 4 access points, but 3 rows can be read"),
        (IMAGE.replace("bare  ", "~~~~  ~~").replace("17.9.4.27    ", "17.9.~.27    "), "but 0 rows can be read"),
        (IMAGE.replace("AP Name", "AP N~me"), "counts 3 access points, but 0 rows"),
        (IMAGE.replace("Total number of APs  : 3\n", "").replace("  Failed ", "  F#iled "), "1 of its lines can't be"),
        (IMAGE.replace("Initiated", "Downloading"), "lines 4 and 5 contradict each other about the counts.Downloading"),
        ("noise", "no line tells the number of access points"),
    ],
)
def test_images_that_lost_something_are_unreadable(text: str, problem: str) -> None:
    with pytest.raises(Unreadable, match=problem):
        image(text)


@pytest.mark.parametrize(("command", "text"), [("show ap summary", ADDRESS_FIRST), ("show ap image", IMAGE)])
def test_no_loss_leaves_fewer_access_points_than_the_controller_counts(command: str, text: str) -> None:
    tried = 0
    for name, damaged in [*cut(text), *shortened(text), *garbled(text)]:
        try:
            facts = read(command, damaged)
        except Unreadable:
            continue
        tried += 1
        assert isinstance(facts, ApSummary | ApImage)
        count = facts.count if isinstance(facts, ApSummary) else facts.total
        assert count is None or (count == len(facts.aps)), name
        assert count == 3 or "Number of APs: 3" not in damaged, name
    assert tried > 10


_WORDS = st.lists(st.from_regex(r"[A-Za-z][A-Za-z0-9_.-]{0,9}", fullmatch=True), min_size=1, max_size=4).map(" ".join)


@given(
    names=st.lists(_WORDS, min_size=1, max_size=5),
    location=st.one_of(st.just(""), _WORDS),
    model=st.sampled_from(["", "WX-AP20"]),
    country=st.sampled_from(["", "NL"]),
    address=st.one_of(st.just(""), st.ip_addresses().map(str)),
)
def test_a_table_is_read_back(names: list[str], location: str, model: str, country: str, address: str) -> None:
    """Whatever the names are and whichever columns are empty, as long as the cells keep to their columns."""
    layout = "{:<48}{:<7}{:<14}{:<16}{:<16}{:<48}{:<9}{:<46}{}\n"
    text = f"Number of APs: {len(names)}\n" + layout.format(
        "AP Name", "Slots", "AP Model", "Ethernet MAC", "Radio MAC", "Location", "Country", "IP Address", "State"
    )
    mac = "0200.5e10.0001"
    for name in names:
        text += layout.format(name, "2", model, mac, mac, location, country, address, "Registered")
    wanted = [(name, 2, model or None, location or None, country or None, address or None) for name in names]
    assert [(ap.name, ap.slots, ap.model, ap.location, ap.country, ap.ip) for ap in summary(text).aps] == wanted
