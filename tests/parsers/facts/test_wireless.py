"""`show wireless summary`, `show wlan summary`, `show ap dot11 … summary`. Structures: common practice, no source."""

from __future__ import annotations

import pytest

from parsers import Unreadable, read
from parsers.facts.wireless import Radio, RadioSummary, UpAndDown, WirelessSummary, Wlan, WlanSummary
from tests.parsers.dressing import assert_reads_alike, shortened

SUMMARY_COMMAND, WLANS_COMMAND = "show wireless summary", "show wlan summary"
RADIOS_COMMAND, RADIOS_24_COMMAND = "show ap dot11 5ghz summary", "show ap dot11 24ghz summary"

SUMMARY = """\
Access Point Summary

                      Total    Up    Down
------------------------------------------
802.11 2.4GHz             3     2       1
802.11 5GHz               4     4       0
All APs                   3     3       0

Client Summary

Current Clients : 117
Excluded Clients: 2
Local Clients   : 117
"""
WLANS = """\
Number of WLANs: 3

ID   Profile Name            SSID                    Status Security
--------------------------------------------------------------------------------
1    crew                    crew                    UP     [WPA2][802.1x][AES]
2    passengers on board     Passengers  on Board    DOWN   [open]
17   crane-telemetry                                 UP     [WPA2][PSK][AES]
"""
RADIOS = """\
AP Name          Mac Address     Slot  Admin State  Oper State  Width  Txpwr         Channel   Mode
----------------------------------------------------------------------------------------------------
quay-ramp-01     0200.5e20.0010  1     Enabled      Up          40     *3/8 (17 dBm) (44)*     Local
quay-ramp-01     0200.5e20.0010  2     Disabled     Down        20     8/8 (2 dBm)   (140)     Local
Car Deck 2 aft   0200.5e20.0020        Enabled      Down        20     1/8 (23 dBm)  (36)*     Local
"""
ANSWERS = [
    (SUMMARY_COMMAND, SUMMARY),
    (WLANS_COMMAND, WLANS),
    (RADIOS_COMMAND, RADIOS),
    (RADIOS_24_COMMAND, RADIOS),
]


def summary(text: str) -> WirelessSummary:
    facts = read(SUMMARY_COMMAND, text)
    assert isinstance(facts, WirelessSummary)
    return facts


def wlans(text: str) -> WlanSummary:
    facts = read(WLANS_COMMAND, text)
    assert isinstance(facts, WlanSummary)
    return facts


def radios(text: str) -> RadioSummary:
    facts = read(RADIOS_COMMAND, text)
    assert isinstance(facts, RadioSummary)
    return facts


def test_the_totals_are_read_by_band_and_in_all() -> None:
    facts = summary(SUMMARY)
    assert facts.clients == 117
    assert facts.aps == UpAndDown(kind="All APs", total=3, up=3, down=0, at=7)
    assert facts.radios == (
        UpAndDown(kind="802.11 2.4GHz", total=3, up=2, down=1, at=5),
        UpAndDown(kind="802.11 5GHz", total=4, up=4, down=0, at=6),
    )
    assert facts.at == {"clients": (11,), "aps": (7,), "radios": (5, 6)}


def test_the_networks_are_read_with_their_blanks() -> None:
    assert wlans(WLANS).wlans == (
        Wlan(id=1, profile="crew", ssid="crew", enabled=True, at=5),
        Wlan(id=2, profile="passengers on board", ssid="Passengers  on Board", enabled=False, at=6),
        Wlan(id=17, profile="crane-telemetry", enabled=True, at=7),
    )


def test_the_radios_are_read_with_both_states() -> None:
    assert radios(RADIOS).radios == (
        Radio(name="quay-ramp-01", mac="0200.5e20.0010", slot=1, admin_up=True, up=True, at=3),
        Radio(name="quay-ramp-01", mac="0200.5e20.0010", slot=2, admin_up=False, up=False, at=4),
        Radio(name="Car Deck 2 aft", mac="0200.5e20.0020", admin_up=True, up=False, at=5),
    )


def test_a_long_name_that_pushes_the_columns_aside_is_read_by_shapes() -> None:
    text = RADIOS.replace("quay-ramp-01     0200.5e20.0010  1 ", "A very long name of a deck 0200.5e20.0010  1 ")
    first = radios(text).radios[0]
    assert (first.name, first.slot, first.up) == ("A very long name of a deck", 1, True)


@pytest.mark.parametrize(("command", "text"), ANSWERS)
def test_the_dress_does_not_matter(command: str, text: str) -> None:
    assert_reads_alike(command, text)


@pytest.mark.parametrize("line", range(len(WLANS.splitlines())))
def test_a_network_never_goes_missing_unseen(line: int) -> None:
    lines = WLANS.splitlines(keepends=True)
    del lines[line]
    try:
        found = wlans("".join(lines)).wlans
    except Unreadable:
        return
    assert {wlan.id for wlan in found} == {1, 2, 17}


def test_the_networks_must_be_as_many_as_counted() -> None:
    with pytest.raises(Unreadable, match="counts 4 WLANs, but 3 rows"):
        wlans(WLANS.replace("WLANs: 3", "WLANs: 4"))


def test_two_networks_of_one_number_are_no_answer() -> None:
    with pytest.raises(Unreadable, match="same WLAN"):
        wlans(WLANS.replace("17   crane", "2    crane"))


def test_another_word_than_up_or_down_is_not_taken_for_either() -> None:
    with pytest.raises(Unreadable):
        wlans(WLANS.replace("UP     [WPA2][PSK]", "ODD    [WPA2][PSK]"))


def test_figures_that_do_not_add_up_are_no_answer() -> None:
    with pytest.raises(Unreadable, match="line 7 counts 3 in all, but 2 up and 0 down"):
        summary(SUMMARY.replace("All APs                   3     3", "All APs                   3     2"))


def test_a_summary_of_neither_is_no_answer() -> None:
    with pytest.raises(Unreadable, match="neither"):
        summary("Access Point Summary\n\nClient Summary\n")


def test_lost_totals_are_not_known() -> None:
    lines = SUMMARY.splitlines(keepends=True)
    facts = summary("".join(line for line in lines if not line.startswith(("All", "Current"))))
    assert facts.aps is None
    assert facts.clients is None


def test_a_radio_twice_is_no_answer() -> None:
    with pytest.raises(Unreadable, match="same radio"):
        radios(RADIOS.replace("0010  2 ", "0010  1 "))


def test_an_unreadable_row_is_no_answer() -> None:
    with pytest.raises(Unreadable):
        radios(RADIOS.replace("Up  ", "Odd "))


@pytest.mark.parametrize(("command", "text"), ANSWERS[1:])
def test_a_row_without_its_heading_is_no_answer(command: str, text: str) -> None:
    heading = next(line for line in text.splitlines(keepends=True) if "Name" in line)
    with pytest.raises(Unreadable):
        read(command, text.replace(heading, ""))


@pytest.mark.parametrize(("command", "text"), ANSWERS)
def test_what_is_cut_short_never_gains(command: str, text: str) -> None:
    whole = read(command, text).plain()
    for _, part in shortened(text):
        try:
            facts = read(command, part).plain()
        except Unreadable:
            continue
        for key, value in facts.items():
            if key not in ("at",) and isinstance(value, int):
                assert value == whole[key]
