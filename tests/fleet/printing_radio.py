"""Prints who hears whom, and how many clients each radio has on a Friday evening at ten: what only a plan asks for.

The access points of one place stand in a row, the places beside each other, and what one hears of another falls with
the distance between them. The figures are a scenario; nothing here is measured.
"""

from __future__ import annotations

import math
from collections import Counter

from tests.fleet.description import AccessPoint, Controller, PairDescription

# Metres from one access point of a place to the next, by turns; from one place to the next; and where one stands apart.
_STEPS = (9, 22, 16)
_BETWEEN_PLACES = 38
_FAR = 130
_STANDS_APART = ("lantern-kiosk-row-12",)
# An access point tells whom it hears at this level (dBm) or above, and the loudest even where that is fainter.
_FAINTEST = -85
_LOUDEST = -45
_REACH = 80
_NEAREST_AT_24 = 2
_CHANNELS = {0: (1, 6, 11), 1: (36, 44, 52, 60, 100, 108, 116, 124), 2: (132, 140, 149)}
# So many clients, less one, are most at a radio where people wait, where they pass, and where somebody is on duty.
_MOST_CLIENTS = (
    ({"Waiting Hall", "Hall", "Gangway", "Gate North", "Gate South", "Ramp", "Pier Head", "Jetty", "Street Side"}, 24),
    ({"Ramp One", "Car Deck", "Foot Ramp", "Lorry Lanes", "Ticket Hall", "Bus Stop", "Kiosk Row", "East Slip"}, 11),
    ({"Mess Room", "Canteen", "Gate House", "Watch Room", "Winch House", "Bridge House", "Customs Shed", "Span"}, 4),
)

Place = tuple[float, float]
Cell = tuple[int, int]


def headed(heading: list[str], rows: list[str], every: int) -> list[str]:
    """The rows under their heading, which repeats every so many rows unless that is 0."""
    size = every or max(len(rows), 1)
    blocks = [rows[start : start + size] for start in range(0, len(rows), size)] or [[]]
    return [line for block in blocks for line in (*heading, *block)]


def show_neighbours(pair: PairDescription, member: Controller) -> list[str]:
    """Every access point's neighbours at 5 GHz, the loudest first, and the nearest at 2.4 GHz."""
    heading = [f"{'AP Name':<32} {'Slot':<5} {'Neighbor AP':<32} {'Channel':<8} RSSI (dBm)", "-" * 91]
    joined = _joined(pair)
    places = _places(joined)
    cells = _cells(joined, places)
    rows = []
    for ap in joined:
        heard = _heard(ap, places, _around(ap, places, cells) or joined)
        for slot, told in ((0, heard[:_NEAREST_AT_24]), (1, heard)):
            rows += [_neighbour(ap, slot, other.name, _channel(other, slot), level) for level, other in told]
        if ap.number % 64 == 1 and ap.number // 64 % 3 == 0:
            # A radio that nobody here has a name for.
            rows.append(_neighbour(ap, 1, f"0200.5ee0.{ap.number:04x}", 149, -79))
    return [f"Number of neighbors: {len(rows)}", "", *headed(heading, rows, pair.dress_of(member).heading_every), ""]


def show_load_at_5(pair: PairDescription, member: Controller) -> list[str]:
    """How busy each radio of 5 GHz is; an access point of three slots has two."""
    return _load(pair, member, _radios_at_5(pair))


def show_load_at_24(pair: PairDescription, member: Controller) -> list[str]:
    """How busy each radio of 2.4 GHz is."""
    return _load(pair, member, [(ap, 0) for ap in _joined(pair)])


def show_wireless_summary(pair: PairDescription, member: Controller) -> list[str]:
    """The totals, by band, and the clients that both bands' loads add up to."""
    joined = _joined(pair)
    at_5, at_24 = _radios_at_5(pair), [(ap, 0) for ap in joined]
    clients = sum(_clients(ap, slot) for ap, slot in (*at_5, *at_24))
    rows = [("802.11 2.4GHz", len(at_24)), ("802.11 5GHz", len(at_5)), ("All APs", len(joined))]
    return [
        "Access Point Summary",
        "",
        f"{'':<24} {'Total':>7} {'Up':>7} {'Down':>7}",
        "-" * 48,
        *(f"{kind:<24} {total:>7} {total:>7} {0:>7}" for kind, total in rows),
        "",
        "Client Summary",
        "",
        f"Current Clients : {clients}",
        "Excluded Clients: 0",
        "Disabled Clients: 0",
        "Foreign Clients : 0",
        "Anchor Clients  : 0",
        f"Local Clients   : {clients}",
        "",
    ]


def show_wlans(pair: PairDescription, member: Controller) -> list[str]:
    """Three networks of a port: the staff's, the passengers', and one that is switched off."""
    heading = [f"{'ID':<5} {'Profile Name':<33} {'SSID':<33} {'Status':<7} Security", "-" * 110]
    rows = [
        (1, "crew", "crew", "UP", "[WPA2][802.1x][AES]"),
        (2, "passengers on board", "Passengers on Board", "UP", "[open]"),
        (17, "crane-telemetry", "crane-telemetry", "DOWN", "[WPA2][PSK][AES]"),
    ]
    told = [f"{id:<5} {profile:<33} {ssid:<33} {status:<7} {security}" for id, profile, ssid, status, security in rows]
    return [f"Number of WLANs: {len(rows)}", "", *heading, *told, ""]


def show_radios_at_5(pair: PairDescription, member: Controller) -> list[str]:
    """Every radio of 5 GHz with its states."""
    return _states(pair, member, _radios_at_5(pair))


def show_radios_at_24(pair: PairDescription, member: Controller) -> list[str]:
    """Every radio of 2.4 GHz with its states."""
    return _states(pair, member, [(ap, 0) for ap in _joined(pair)])


def _radios_at_5(pair: PairDescription) -> list[tuple[AccessPoint, int]]:
    return [(ap, slot) for ap in _joined(pair) for slot in ((1, 2) if ap.slots == 3 else (1,))]


def _states(pair: PairDescription, member: Controller, radios: list[tuple[AccessPoint, int]]) -> list[str]:
    heading = [
        f"{'AP Name':<32} {'Mac Address':<15} {'Slot':<5} {'Admin State':<12} {'Oper State':<11} {'Width':<6} "
        f"{'Txpwr':<15} {'Channel':<16} Mode",
        "-" * 130,
    ]
    rows = [
        f"{ap.name:<32} {ap.radio_mac:<15} {slot:<5} {'Enabled':<12} {'Up':<11} {20 if slot == 0 else 40:<6} "
        f"{f'*{ap.number % 5 + 2}/8 ({20 - ap.number % 5} dBm)':<15} {f'({_channel(ap, slot)})*':<16} Local"
        for ap, slot in radios
    ]
    return [*headed(heading, rows, pair.dress_of(member).heading_every), ""]


def _load(pair: PairDescription, member: Controller, radios: list[tuple[AccessPoint, int]]) -> list[str]:
    heading = [f"{'AP Name':<32} {'MAC Address':<15} {'Slot':<5} {'Channel Utilization (%)':<24} Clients", "-" * 86]
    rows = [
        f"{ap.name:<32} {ap.radio_mac:<15} {slot:<5} {_busy(ap, slot):<24} {_clients(ap, slot)}" for ap, slot in radios
    ]
    count = len({ap.name for ap, _ in radios})
    return [f"Number of APs: {count}", "", *headed(heading, rows, pair.dress_of(member).heading_every), ""]


def _joined(pair: PairDescription) -> list[AccessPoint]:
    return [ap for ap in pair.access_points if ap.failure is None]


def _neighbour(ap: AccessPoint, slot: int, other: str, channel: int, level: int) -> str:
    return f"{ap.name:<32} {slot:<5} {other:<32} {channel:<8} {level}"


def _places(aps: list[AccessPoint]) -> dict[str, Place]:
    """Where each access point stands, in metres, by its name."""
    rows = list(dict.fromkeys(ap.location for ap in aps))
    along: Counter[str] = Counter()
    found = {}
    for turn, ap in enumerate(aps):
        found[ap.name] = (float(along[ap.location]), float(rows.index(ap.location) * _BETWEEN_PLACES))
        along[ap.location] += _STEPS[turn % len(_STEPS)]
        if ap.name in _STANDS_APART:
            found[ap.name] = (_FAR, _FAR)
    return found


def _cells(aps: list[AccessPoint], places: dict[str, Place]) -> dict[Cell, list[AccessPoint]]:
    """The access points by squares as wide as the farthest that is heard at the level."""
    found: dict[Cell, list[AccessPoint]] = {}
    for ap in aps:
        found.setdefault(_cell(places[ap.name]), []).append(ap)
    return found


def _cell(place: Place) -> Cell:
    return int(place[0] // _REACH), int(place[1] // _REACH)


def _around(ap: AccessPoint, places: dict[str, Place], cells: dict[Cell, list[AccessPoint]]) -> list[AccessPoint]:
    """The others in its square and those beside it; empty where it has them to itself."""
    x, y = _cell(places[ap.name])
    near = [(x + right, y + up) for right in (-1, 0, 1) for up in (-1, 0, 1)]
    return [other for cell in near for other in cells.get(cell, []) if other is not ap]


def _heard(ap: AccessPoint, places: dict[str, Place], aps: list[AccessPoint]) -> list[tuple[int, AccessPoint]]:
    """Whom an access point hears, the loudest first."""
    levels = [(_level(ap, other, places), other) for other in aps if other is not ap]
    levels.sort(key=lambda each: (-each[0], each[1].number))
    return [each for turn, each in enumerate(levels) if turn == 0 or each[0] >= _FAINTEST]


def _level(ap: AccessPoint, other: AccessPoint, places: dict[str, Place]) -> int:
    """How loud the one hears the other: 40 dB less at ten times the distance, and not quite the same both ways."""
    distance = math.dist(places[ap.name], places[other.name])
    uneven = (ap.number * 5 + other.number * 3) % 7 - 3
    return min(_LOUDEST, round(-46 - 40 * math.log10(max(distance, 1) / 7)) + uneven)


def _channel(ap: AccessPoint, slot: int) -> int:
    return _CHANNELS[slot][ap.number % len(_CHANNELS[slot])]


def _clients(ap: AccessPoint, slot: int) -> int:
    most = next((most for places, most in _MOST_CLIENTS if ap.location in places), 2)
    quarters = {0: 1, 1: 4, 2: 2}[slot]
    return (ap.number * 7 + slot * 3) % most * quarters // 4


def _busy(ap: AccessPoint, slot: int) -> int:
    """In per cent: what the clients do, and at 2.4 GHz what others do as well."""
    return min(96, (17 if slot == 0 else 3) + 2 * _clients(ap, slot) + ap.number % 5)
