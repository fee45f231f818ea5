"""`show ap neighbor summary` and `show ap dot11 … load-info`. Structures: DESIGN section 5's on tables of APs."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from parsers import Unreadable, read
from parsers.facts.neighbours import ApAlone, ApLoad, ApLoadRow, ApNeighbour, ApNeighbours
from tests.parsers.dressing import assert_reads_alike, cut, garbled, shortened

NEIGHBOURS_COMMAND = "show ap neighbor summary"
LOAD_COMMAND = "show ap dot11 5ghz load-info"
LOAD_24_COMMAND = "show ap dot11 24ghz load-info"

NEIGHBOURS = """\
Number of neighbors: 5

AP Name          Slot  Neighbor AP       Channel  RSSI (dBm)
-------------------------------------------------------------
quay-ramp-01     1     Car Deck 2 aft    36       -61
quay-ramp-01     0     0200.5e20.0990    11       -84 dBm
Car Deck 2 aft   1     quay-ramp-01      (44,48)* -63
Car Deck 2 aft         Upper  Deck                -127
Upper  Deck      1     -                 -        -
"""
ROWS = (
    ApNeighbour(name="quay-ramp-01", slot=1, neighbour="Car Deck 2 aft", channel=36, dbm=-61, at=5),
    ApNeighbour(name="quay-ramp-01", slot=0, neighbour="0200.5e20.0990", channel=11, dbm=-84, at=6),
    ApNeighbour(name="Car Deck 2 aft", slot=1, neighbour="quay-ramp-01", channel=44, dbm=-63, at=7),
    ApNeighbour(name="Car Deck 2 aft", neighbour="Upper  Deck", dbm=-127, at=8),
)
ALONE = (ApAlone(name="Upper  Deck", slot=1, at=9),)
HEADING = NEIGHBOURS.split("\n")[2]

LOAD = """\
Number of APs: 3

AP Name          MAC Address     Slot  Channel Utilization (%)  Clients
------------------------------------------------------------------------
quay-ramp-01     0200.5e20.0010  1     12                       23
quay-ramp-01     0200.5e20.0010  2     7.5 %                    0
Car Deck 2 aft   0200.5e20.0020        100                      117
bare             0200.5e20.0030  1     N/A
"""
LOADS = (
    ApLoadRow(name="quay-ramp-01", mac="0200.5e20.0010", slot=1, utilisation_percent=12, clients=23, at=5),
    ApLoadRow(name="quay-ramp-01", mac="0200.5e20.0010", slot=2, utilisation_percent=7.5, clients=0, at=6),
    ApLoadRow(name="Car Deck 2 aft", mac="0200.5e20.0020", utilisation_percent=100, clients=117, at=7),
    ApLoadRow(name="bare", mac="0200.5e20.0030", slot=1, at=8),
)
LOAD_HEADING = LOAD.split("\n")[2]
ANSWERS = [(NEIGHBOURS_COMMAND, NEIGHBOURS), (LOAD_COMMAND, LOAD), (LOAD_24_COMMAND, LOAD)]


def neighbours(text: str) -> ApNeighbours:
    facts = read(NEIGHBOURS_COMMAND, text)
    assert isinstance(facts, ApNeighbours)
    return facts


def load(text: str) -> ApLoad:
    facts = read(LOAD_COMMAND, text)
    assert isinstance(facts, ApLoad)
    return facts


def one(row: str, heading: str = HEADING) -> ApNeighbour:
    (found,) = neighbours(f"Number of neighbors: 1\n{heading}\n{row}\n").neighbours
    return found


def one_load(row: str, heading: str = LOAD_HEADING) -> ApLoadRow:
    (found,) = load(f"Number of radios: 1\n{heading}\n{row}\n").loads
    return found


def test_every_row_of_neighbours() -> None:
    facts = neighbours(NEIGHBOURS)
    assert facts == ApNeighbours(count=5, neighbours=ROWS, alone=ALONE)
    assert facts.at == {"count": (1,), "neighbours": (5, 6, 7, 8), "alone": (9,)}


def test_every_row_of_loads() -> None:
    facts = load(LOAD)
    assert facts == ApLoad(ap_count=3, loads=LOADS)
    assert facts.at == {"ap_count": (1,), "loads": (5, 6, 7, 8)}
    assert read(LOAD_24_COMMAND, LOAD) == facts


@pytest.mark.parametrize(("command", "text"), ANSWERS)
def test_every_dress(command: str, text: str) -> None:
    assert_reads_alike(command, text)


@pytest.mark.parametrize(("command", "text"), ANSWERS)
def test_the_heading_may_repeat_and_its_columns_move(command: str, text: str) -> None:
    lines = text.split("\n")
    wider = [line[:17] + "    " + line[17:] for line in lines[2:4]]
    moved = "\n".join([*lines[:6], "", *wider, *(line[:17] + "    " + line[17:] for line in lines[6:9])])
    assert _without_places(read(command, moved).plain()) == _without_places(read(command, text).plain())


def _without_places(plain: dict[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in plain.items() if name != "at"}


@pytest.mark.parametrize(
    "heading",
    [
        "AP Name          Slot  Neighbour         Channel  RSSI",
        "AP Name          Slot  Neighbor AP Name  Channel  RSSI(dBm)",
        "AP NAME          SLOT  NEIGHBOUR AP      CHANNEL  Rssi (dBm)",
        "AP Name          Slot  Neighbor Name     Band     RSSI (dBm)",
    ],
)
def test_the_titles_of_neighbours_vary(heading: str) -> None:
    found = one("quay-ramp-01     1     Car Deck 2 aft    36       -61", heading)
    assert (found.name, found.slot, found.neighbour, found.dbm) == ("quay-ramp-01", 1, "Car Deck 2 aft", -61)
    assert found.channel == (None if "Band" in heading else 36)


@pytest.mark.parametrize(
    ("name", "mac", "wanted"),
    [
        ("Car Deck 2 aft", "0200.5e20.0990", "Car Deck 2 aft"),
        ("", "0200.5e20.0990", "0200.5e20.0990"),
        ("N/A", "02:00:5e:20:09:90", "02:00:5e:20:09:90"),
        ("Car Deck 2 aft", "-", "Car Deck 2 aft"),
    ],
)
def test_a_neighbour_without_a_name_is_its_radio(name: str, mac: str, wanted: str) -> None:
    layout = "{:<18}{:<18}{:<6}{:<18}{:<22}{:<18}{:<9}{}"
    titles = (
        "AP MAC Address",
        "AP Name",
        "Slot",
        "Neighbor AP",
        "Neighbor Radio MAC",
        "Neighbor AP Slot",
        "RSSI",
        "Channel",
    )
    found = one(layout.format("0200.5e20.0010", "A", "1", name, mac, "0", "-61", "36"), layout.format(*titles))
    assert found == ApNeighbour(name="A", slot=1, neighbour=wanted, channel=36, dbm=-61, at=3)


@pytest.mark.parametrize(
    ("row", "wanted"),
    [
        ("A name longer than its own column 1     quay-ramp-02      36       -61", ("quay-ramp-02", 36, -61)),
        ("A name longer than its own column 1 Another that is longer than its own 36 -61 dBm",
         ("Another that is longer than its own", 36, -61)),
        ("A name longer than its own column 1 02:00:5e:20:09:90 100,104 -61dBm", ("02:00:5e:20:09:90", 100, -61)),
    ],
)  # fmt: skip
def test_a_long_name_may_push_the_others_out_of_their_columns(row: str, wanted: tuple[str, int, int]) -> None:
    found = one(row)
    assert (found.name, found.slot) == ("A name longer than its own column", 1)
    assert (found.neighbour, found.channel, found.dbm) == wanted


@pytest.mark.parametrize(
    ("row", "wanted"),
    [
        ("A name longer than its own column 02:00:5e:20:00:10 1 12 23", ("02:00:5e:20:00:10", 1, 12, 23)),
        ("A name longer than its own column 0200.5e20.0010 0 N/A 5", ("0200.5e20.0010", 0, None, 5)),
        ("A name longer than its own column 0200.5e20.0010 0 12 % 5", ("0200.5e20.0010", 0, 12, 5)),
    ],
)
def test_a_long_name_may_push_the_load_out_of_its_columns(row: str, wanted: tuple[Any, ...]) -> None:
    found = one_load(row)
    assert found.name == "A name longer than its own column"
    assert (found.mac, found.slot, found.utilisation_percent, found.clients) == wanted


@pytest.mark.parametrize(
    "heading",
    [
        "AP Name          Radio MAC       Slot  Channel Utilisation(%)   Client Count",
        "AP Name          AP MAC          Slot  Channel Util (%)         Number of Clients",
        "AP NAME          BASE MAC        SLOT  UTILIZATION              CLIENTS",
    ],
)
def test_the_titles_of_loads_vary(heading: str) -> None:
    found = one_load("quay-ramp-01     0200.5e20.0010  1     12                       23", heading)
    assert found == ApLoadRow(
        name="quay-ramp-01", mac="0200.5e20.0010", slot=1, utilisation_percent=12, clients=23, at=3
    )


def test_a_headline_and_no_count() -> None:
    without = NEIGHBOURS.replace("Number of neighbors: 5", "AP Neighbor Summary")
    assert neighbours(without) == ApNeighbours(neighbours=ROWS, alone=ALONE)
    assert load(LOAD.replace("Number of APs: 3", "802.11a Load Information:")) == ApLoad(loads=LOADS)


def test_counts_of_rows_and_of_access_points() -> None:
    facts = neighbours(NEIGHBOURS.replace("neighbors: 5", "APs = 3"))
    assert (facts.count, facts.ap_count) == (None, 3)
    facts = neighbours("Number of APs: 3\n" + NEIGHBOURS.replace("Number of n", "Total number of AP n"))
    assert (facts.count, facts.ap_count) == (5, 3)
    assert load("Number of APs: 0\n") == ApLoad(ap_count=0)
    assert neighbours("Number of neighbors: 0\n") == ApNeighbours(count=0)


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        (NEIGHBOURS.replace(": 5", ": 6"), "the controller counts 6 neighbours, but 5 rows can be read"),
        (NEIGHBOURS.replace(": 5", ": 4"), "the controller counts 4 neighbours, but 5 rows can be read"),
        (NEIGHBOURS.replace("-63", "63"), "counts 5 neighbours, but 4 rows can be read"),
        (NEIGHBOURS.replace("-63", "-128"), "counts 5 neighbours, but 4 rows can be read"),
        (NEIGHBOURS.replace("-63", "-0"), "counts 5 neighbours, but 4 rows can be read"),
        (NEIGHBOURS.replace("-63", "-"), "counts 5 neighbours, but 4 rows can be read"),
        (NEIGHBOURS.replace("0200.5e20.0990", "-             "), "counts 5 neighbours, but 4 rows can be read"),
        (NEIGHBOURS.replace("Slot  N", "Sl~t  N"), "counts 5 neighbours, but 0 rows can be read"),
        (NEIGHBOURS.replace("Channel ", "Slot    "), "counts 5 neighbours, but 0 rows can be read"),
        (NEIGHBOURS.replace("RSSI (dBm)", "RSS~ (dBm)"), "counts 5 neighbours, but 0 rows can be read"),
        (NEIGHBOURS.replace(HEADING, ""), "counts 5 neighbours, but 0 rows can be read"),
        (NEIGHBOURS.replace("of neighbors: 5", "of neighbors: ~"), "1 of its lines can't be read"),
        (NEIGHBOURS.replace("neighbors: 5", "APs: 4"), "counts 4 access points, but its rows are about 3"),
        (NEIGHBOURS.replace("neighbors: 5", "APs: 3").replace("-63", "~63"), "1 of its lines can't be read"),
        (NEIGHBOURS + "Number of neighbors: 4\n", "lines 1 and 10 contradict each other about the count"),
        (HEADING, "no line tells the number of neighbours, and no row of a table can be read"),
        ("Number of APs: 2\n", "no line tells the number of neighbours, and no row of a table can be read"),
        (f"Number of neighbors: 1\n{HEADING}\nA name of Deck 2 longer 1 Another long name 36 -61\n",
         "counts 1 neighbours, but 0 rows"),
    ],
)  # fmt: skip
def test_neighbours_that_lost_something_are_unreadable(text: str, problem: str) -> None:
    with pytest.raises(Unreadable, match=problem):
        neighbours(text)


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        (LOAD.replace("APs: 3", "APs: 4"), "the controller counts 4 access points, but its rows are about 3"),
        (LOAD.replace("APs: 3", "APs: 2"), "the controller counts 2 access points, but its rows are about 3"),
        (LOAD.replace("APs: 3", "radios: 5"), "the controller counts 5 radios, but 4 rows can be read"),
        (LOAD.replace("7.5 % ", "101 % "), "1 of its lines can't be read"),
        (LOAD.replace(" 117", " ~17"), "1 of its lines can't be read"),
        (LOAD.replace("Clients", "Cli~nts"), "4 of its lines can't be read|no row of a table can be read"),
        (LOAD.replace(LOAD_HEADING, ""), "no row of a table can be read"),
        (LOAD_HEADING, "no line tells the number of radios, and no row of a table can be read"),
    ],
)
def test_loads_that_lost_something_are_unreadable(text: str, problem: str) -> None:
    with pytest.raises(Unreadable, match=problem):
        load(text)


@pytest.mark.parametrize(
    ("heading", "row"),
    [
        (HEADING, "                 1     Car Deck 2 aft    36       -61"),
        (HEADING, "1 Car Deck 2 aft 36 -61"),
        (HEADING, "1     Car Deck aft      36       -61"),
        ("AP Name          Slot  Neighbor AP       Slot   RSSI", "quay-ramp-01     1     Car Deck          0      -61"),
        ("AP Name          Slot  RSSI              Neighbor AP", "quay-ramp-01     1                       -"),
        ("AP Name          Slot  Neighbor AP       Band     RSSI", "A name longer than its own 1 Car Deck 2 aft 5 -61"),
    ],
)  # fmt: skip
def test_a_row_that_could_mean_something_else_is_not_read(heading: str, row: str) -> None:
    with pytest.raises(Unreadable, match="counts 1 neighbours, but 0 rows can be read"):
        one(row, heading)


@pytest.mark.parametrize(
    ("heading", "row"),
    [
        (LOAD_HEADING, "                 0200.5e20.0010  1     12                       23"),
        (LOAD_HEADING, "0200.5e20.0010 1 12 23"),
        ("AP Name          MAC Address     Band  Channel Utilization (%)  Clients",
         "A name longer than its own column 0200.5e20.0010 5GHz 12 23"),
    ],
)  # fmt: skip
def test_a_load_that_could_mean_something_else_is_not_read(heading: str, row: str) -> None:
    with pytest.raises(Unreadable, match="counts 1 radios, but 0 rows can be read"):
        one_load(row, heading)


def test_no_loss_hides_a_row_of_neighbours_or_makes_a_level_up() -> None:
    def told(text: str) -> tuple[list[int], int]:
        facts = neighbours(text)
        return [row.dbm for row in facts.neighbours], len(facts.alone)

    _assert_no_loss(NEIGHBOURS, told, ([row.dbm for row in ROWS], 1))


def test_no_loss_hides_a_radio_or_makes_clients_up() -> None:
    def told(text: str) -> list[int | None]:
        return [row.clients for row in load(text).loads]

    _assert_no_loss(LOAD.replace("APs: 3", "radios: 4"), told, [row.clients for row in LOADS])


def _assert_no_loss(text: str, told: Callable[[str], object], wanted: object) -> None:
    """A damaged answer tells the same or can't be read."""
    tried = 0
    for name, damaged in [*cut(text), *shortened(text), *garbled(text)]:
        try:
            found = told(damaged)
        except Unreadable:
            continue
        tried += 1
        assert found == wanted, name
    assert tried > 50


_NAMES = st.lists(st.from_regex(r"[A-Za-z][A-Za-z0-9_.-]{0,9}", fullmatch=True), min_size=1, max_size=4).map(" ".join)
_RADIOS = st.from_regex(r"0200\.5e[0-9a-f]{2}\.[0-9a-f]{4}", fullmatch=True)
_FOUND = st.builds(
    ApNeighbour,
    name=_NAMES,
    slot=st.one_of(st.none(), st.integers(0, 3)),
    neighbour=st.one_of(_NAMES.filter(lambda name: name.lower() not in ("na", "none")), _RADIOS),
    channel=st.one_of(st.none(), st.integers(1, 177)),
    dbm=st.integers(-127, -1),
)


@given(st.lists(_FOUND, min_size=1, max_size=6))
def test_a_table_of_neighbours_is_read_back(rows: list[ApNeighbour]) -> None:
    layout = "{:<48}{:<6}{:<48}{:<9}{}\n"
    text = layout.format("AP Name", "Slot", "Neighbor AP", "Channel", "RSSI")
    for row in rows:
        slot, channel = ("" if value is None else value for value in (row.slot, row.channel))
        text += layout.format(row.name, slot, row.neighbour, channel, row.dbm)
    found = neighbours(text).plain()["neighbours"]
    assert found == ApNeighbours(neighbours=tuple(rows)).plain()["neighbours"]


@given(
    st.lists(
        st.builds(
            ApLoadRow,
            name=_NAMES,
            mac=st.one_of(st.none(), _RADIOS),
            slot=st.one_of(st.none(), st.integers(0, 3)),
            utilisation_percent=st.one_of(st.none(), st.integers(0, 100)),
            clients=st.integers(0, 500),
        ),
        min_size=1,
        max_size=6,
    )
)
def test_a_table_of_loads_is_read_back(rows: list[ApLoadRow]) -> None:
    layout = "{:<48}{:<16}{:<6}{:<25}{}\n"
    text = layout.format("AP Name", "MAC Address", "Slot", "Channel Utilization (%)", "Clients")
    for row in rows:
        cells = ("" if value is None else value for value in (row.mac, row.slot, row.utilisation_percent))
        text += layout.format(row.name, *cells, row.clients)
    assert load(text).plain()["loads"] == ApLoad(loads=tuple(rows)).plain()["loads"]
