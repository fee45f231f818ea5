"""Makes pairs of controllers, healthy unless something else is asked for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import cycle, islice
from typing import Any

from tests.fleet.description import AccessPoint, Controller, File, PairDescription

_STAGED_AT = " Feb 1 2027 10:05:40 +00:00"
_AP_MODELS = ("WX-AP20", "WX-AP20", "WX-AP24E", "WX-AP31-OUTDOOR")


def healthy_pair(
    name: str,
    site: str,
    number: int,
    *,
    model: str = "WX-9840",
    release: str = "17.9.4a",
    first: dict[str, Any] | None = None,
    second: dict[str, Any] | None = None,
    both: dict[str, Any] | None = None,
    staged: bool = True,
    **pair: Any,
) -> PairDescription:
    """A pair that nothing stands in the way of, but for what is given.

    `number` makes the addresses and serials: 0 to 239 in one fleet. `first`, `second` and `both` are values of
    Controller for the members, all other names are values of PairDescription. `staged` puts the target's image on
    both members' flash; a file of that name among a member's own files stays as it is.
    """
    image = File(
        pair.get("image_file", PairDescription.image_file),
        pair.get("image_bytes", PairDescription.image_bytes),
        _STAGED_AT,
    )
    members = tuple(
        _with(
            image if staged else None, _controller(name, number, place, model, release, {**(both or {}), **(own or {})})
        )
        for place, own in enumerate((first, second))
    )
    return PairDescription(name=name, site=site, members=(members[0], members[1]), **pair)


def healthy_pairs(count: int, access_points: int = 12) -> list[PairDescription]:
    """As many healthy pairs as asked, physical and virtual by turns, each with as many access points as asked."""
    return [
        healthy_pair(
            f"berth-{number}",
            f"Berth {number}",
            number,
            model="WX-VC" if number % 2 else "WX-9840",
            access_points=access_point_rows(f"berth{number}", ("Ramp", "Waiting Hall", "Gate"), access_points, number),
        )
        for number in range(count)
    ]


def access_point_rows(
    prefix: str, places: Sequence[str], count: int, number: int, *, spaced: bool = False, staging: str = "Complete"
) -> tuple[AccessPoint, ...]:
    """Access points spread over places, with blanks in their names where asked, all as far with the target's image.

    `number` keeps their addresses apart from those of other pairs.
    """
    models = cycle(_AP_MODELS)
    return tuple(
        AccessPoint(
            name=f"{place} {turn:02d}" if spaced else f"{prefix}-{place.lower().replace(' ', '-')}-{turn:02d}",
            number=number * 64 + turn,
            model=next(models),
            location=place,
            address=_address(turn) if turn % 9 else f"2001:db8:{number + 1:x}::{turn:x}",
            slots=3 if turn % 5 == 0 else 2,
            staging=staging,
        )
        for turn, place in enumerate(islice(cycle(places), count), 1)
    )


def _address(turn: int) -> str:
    """From a documentation range (RFC 5737); for a large site from the larger one for benchmarks (RFC 2544)."""
    return f"203.0.113.{turn}" if turn < 255 else f"198.18.{turn >> 8}.{turn & 0xFF}"


def _with(image: File | None, member: Controller) -> Controller:
    if image is None or image.name in {file.name for file in member.files}:
        return member
    return replace(member, files=(*member.files, image))


def _controller(name: str, number: int, place: int, model: str, release: str, own: dict[str, Any]) -> Controller:
    chassis = number * 2 + place
    values: dict[str, Any] = {
        "name": f"{name}-{'ab'[place]}",
        "model": model,
        "serial": f"WXS27{'AB'[place]}{number:05d}",
        "mac": f"0000.5e00.53{chassis:02x}" if chassis < 256 else f"0200.5e00.{chassis:04x}",
        "address": f"{'192.0.2' if number < 120 else '203.0.113'}.{11 + chassis % 240}",
        "link_address": f"198.51.100.{11 + chassis % 240}",
        "release": release,
        "priority": 2 - place,
        **own,
    }
    controller = Controller(**values)
    package = (
        File(f"wx-rpboot.{controller.padded}.pkg", 61_840_244),
        File(f"wx-base.{controller.padded}.pkg", 968_112_552),
    )
    return Controller(**{**values, "files": (*package, *values.get("files", ()))})
