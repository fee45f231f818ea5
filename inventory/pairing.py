"""Finds the pairs in an open Nornir inventory and validates what is planned for them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Annotated, Any

from nornir.core.inventory import Host, Inventory
from pydantic import (
    AfterValidator,
    AwareDatetime,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    StrictBool,
    StrictFloat,
    StrictInt,
    StrictStr,
    ValidationError,
)

from inventory import names, yaml_files
from inventory.pairs import NO_PORT, Area, Image, Member, Pair, Window, is_port
from inventory.policy import ReleaseText, distinct
from inventory.problems import InventoryError, Problem
from parsers.release import plain

_SSH, _SSH_PORT = "ssh", 22


def _file_name(value: object) -> object:
    if isinstance(value, str) and (not names.is_one_line(value) or "/" in value or ":" in value):
        raise ValueError("must be a file's name without a folder or a file system in front of it")
    return value


def _one_line(value: str) -> str:
    if not names.is_one_line(value):
        raise ValueError(names.NOT_ONE_LINE)
    if value != value.strip():
        raise ValueError("has a blank in front or at its end, which nobody sees; take it out")
    return value


def _no_pattern(value: str) -> str:
    # Pairs are chosen with patterns: by --pairs, and by waivers.
    if set(value) & set("*?["):
        raise ValueError("holds one of * ? [, which stand for any other name where pairs are chosen; take it out")
    return value


Name = Annotated[StrictStr, AfterValidator(_one_line)]
"""A name that is shown to people."""


class _Image(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)

    file: Annotated[StrictStr, BeforeValidator(_file_name)]
    bytes: Annotated[StrictInt, Field(ge=1, le=10**12)]


def _in_this_age(value: datetime) -> datetime:
    # Days are added to it and taken off: that must not lead out of the calendar.
    if not 2000 <= value.year < 2100:
        raise ValueError("must lie between the years 2000 and 2099")
    return value


WindowStart = Annotated[AwareDatetime, AfterValidator(_in_this_age)]
"""When a window opens: a time that knows its offset from UTC."""


class _Window(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)

    start: WindowStart
    minutes: Annotated[StrictInt, Field(ge=1, le=7 * 24 * 60)]


def _zone_name(value: str) -> str:
    from zoneinfo import ZoneInfo

    try:
        ZoneInfo(value)
    except (ValueError, KeyError, OSError):
        raise ValueError(f"{value!r} is no time zone's name such as Europe/Oslo") from None
    return value


class _Area(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)

    name: Name
    aps: Annotated[tuple[StrictStr, ...], Field(min_length=1)]
    critical: StrictBool = False
    uplink_mbps: Annotated[StrictFloat | StrictInt, Field(ge=0.001, le=1_000_000)] | None = None


class _PairData(BaseModel):
    model_config = ConfigDict(extra="ignore", frozen=True)

    pair: Annotated[Name, AfterValidator(_no_pattern)]
    site: Name
    target_release: ReleaseText
    image: _Image | None = None
    images: Annotated[Mapping[ReleaseText, _Image], BeforeValidator(distinct(plain))] = {}
    window: _Window | None = None
    time_zone: Annotated[StrictStr, AfterValidator(_zone_name)] | None = None
    uplink_mbps: Annotated[StrictFloat | StrictInt, Field(ge=0.001, le=1_000_000)] | None = None
    areas: tuple[_Area, ...] = ()
    mobility_peers: tuple[StrictStr, ...] = ()
    shift: Name | None = None


@dataclass(frozen=True)
class _Origin:
    """Where a host's inherited key stands: the file, and the path of the `data` that holds it."""

    file: Path
    path: str


def pairs_of(inventory: Inventory, folder: Path) -> tuple[tuple[Pair, ...], tuple[str, ...]]:
    """The pairs, in the order of their first members, and the names of the hosts that are in none.

    Raises InventoryError with all mistakes.
    """
    by_pair: dict[str, list[Host]] = {}
    unpaired = []
    found: list[Problem] = []
    for host in inventory.hosts.values():
        name = host.get("pair")
        if name is None:
            unpaired.append(host.name)
        elif not isinstance(name, str) or not name.strip():
            found.append(_problem(host, folder, "pair", "must be text"))
        else:
            by_pair.setdefault(name, []).append(host)
    pairs = [pair for name, hosts in by_pair.items() if (pair := _pair(name, hosts, folder, found)) is not None]
    found += _shared_addresses(inventory, by_pair, folder)
    found += _shared_names(by_pair, folder)
    found += _pairs_alike(by_pair, folder)
    found += _unknown_peers(pairs, by_pair, folder)
    if not by_pair and not found:
        found.append(Problem(_hosts_file(folder), "", "no host belongs to a pair; give a group of two hosts data.pair"))
    if found:
        raise InventoryError(list(dict.fromkeys(found)))
    return tuple(pairs), tuple(unpaired)


def _pair(name: str, hosts: list[Host], folder: Path, found: list[Problem]) -> Pair | None:
    before = len(found)
    if len(hosts) != 2:
        names = ", ".join(host.name for host in hosts)
        found.append(
            _problem(hosts[0], folder, "pair", f"pair {name!r} must have two members; it has {len(hosts)}: {names}")
        )
    for host in hosts:
        found += _name_problems(host, folder)
        found += _port_problems(host, folder)
    data = [_data(host, folder, found) for host in hosts]
    first = data[0]
    if len(hosts) == 2 and first is not None and data[1] is not None:
        found += _differences(hosts, first, data[1], folder)
    if len(found) > before or first is None:
        return None
    members = (_member(hosts[0]), _member(hosts[1]))
    images = {release: Image(each.file, each.bytes) for release, each in first.images.items()}
    image = Image(first.image.file, first.image.bytes) if first.image else images.get(first.target_release)
    if image != images.get(first.target_release, image):
        problem = _problem(
            hosts[0], folder, "images", "differs from `image`, which is of the same release; correct one"
        )
        found.append(replace(problem, key=f"{problem.key}.{first.target_release}"))
        return None
    window = Window(first.window.start, first.window.minutes) if first.window else None
    return Pair(
        name,
        first.site,
        members,
        first.target_release,
        image,
        window,
        images,
        time_zone=first.time_zone,
        uplink_mbps=first.uplink_mbps,
        areas=tuple(Area(each.name, each.aps, each.critical, each.uplink_mbps) for each in first.areas),
        mobility_peers=first.mobility_peers,
        shift=first.shift,
    )


def _data(host: Host, folder: Path, found: list[Problem]) -> _PairData | None:
    known = {key: host[key] for key in _PairData.model_fields if host.get(key) is not None}
    try:
        return _PairData.model_validate(known)
    except ValidationError as error:
        for problem in yaml_files.problems(error, folder):
            key, _, rest = problem.key.partition(".")
            origin = _origin(host, key, folder)
            found.append(Problem(origin.file, ".".join(filter(None, (origin.path, key, rest))), problem.message))
        return None


def _differences(hosts: list[Host], first: _PairData, second: _PairData, folder: Path) -> Iterator[Problem]:
    for key in _PairData.model_fields:
        if getattr(first, key) != getattr(second, key):
            yield _problem(hosts[1], folder, key, f"differs from what {hosts[0].name} has; a pair's members share it")


def _name_problems(host: Host, folder: Path) -> Iterator[Problem]:
    # A member's captures go into a folder of its name.
    if not names.is_folder(host.name):
        yield Problem(_hosts_file(folder), host.name, names.NO_FOLDER)


def _port_problems(host: Host, folder: Path) -> Iterator[Problem]:
    """What is wrong with the ports that the host ends up with, whichever plugin of Nornir's they came from."""
    effective = host.get_connection_parameters(_SSH).port
    for key, port in (("port", host.port), (f"connection_options.{_SSH}.port", effective)):
        whole = port is None or (isinstance(port, int) and not isinstance(port, bool))
        if not whole or (port is not None and not is_port(port)):
            yield Problem(_hosts_file(folder), f"{host.name}.{key}", NO_PORT if whole else "must be a whole number")
            return


def _shared_addresses(inventory: Inventory, by_pair: dict[str, list[Host]], folder: Path) -> Iterator[Problem]:
    seen: dict[tuple[str, int], str] = {}
    for host in (host for hosts in by_pair.values() for host in hosts):
        member = _member(host)
        address = (member.hostname.lower(), member.port)
        if address in seen:
            message = f"has the same address and port as {seen[address]}: {member.hostname}:{member.port}"
            yield Problem(_hosts_file(folder), f"{host.name}.hostname", message)
        seen.setdefault(address, host.name)


def _shared_names(by_pair: Mapping[str, list[Host]], folder: Path) -> Iterator[Problem]:
    """Names that differ by capitals only: on some file systems one's captures would replace the other's."""
    seen: dict[str, str] = {}
    for host in (host for hosts in by_pair.values() for host in hosts):
        other = seen.setdefault(host.name.casefold(), host.name)
        if other != host.name:
            yield Problem(_hosts_file(folder), host.name, f"differs from {other} by capitals only; rename one of them")


def _pairs_alike(by_pair: Mapping[str, list[Host]], folder: Path) -> Iterator[Problem]:
    """Pairs whose names differ by capitals only: whoever reads of the one may think of the other."""
    seen: dict[str, str] = {}
    for name, hosts in by_pair.items():
        other = seen.setdefault(name.casefold(), name)
        if other != name:
            message = f"pair {name!r} differs from pair {other!r} by capitals only; rename one of them"
            yield _problem(hosts[0], folder, "pair", message)


def _unknown_peers(pairs: list[Pair], by_pair: Mapping[str, list[Host]], folder: Path) -> Iterator[Problem]:
    for pair in pairs:
        for peer in pair.mobility_peers:
            if peer not in by_pair or peer == pair.name:
                message = f"{peer!r} is the pair itself" if peer == pair.name else f"there is no pair {peer!r}"
                yield _problem(by_pair[pair.name][0], folder, "mobility_peers", message)


def _member(host: Host) -> Member:
    return Member(host.name, host.hostname or host.name, host.port or _SSH_PORT)


def _problem(host: Host, folder: Path, key: str, message: str) -> Problem:
    origin = _origin(host, key, folder)
    return Problem(origin.file, f"{origin.path}.{key}", message)


def _origin(host: Host, key: str, folder: Path) -> _Origin:
    """Where the host's value of a key stands; for a key that is missing, where its pair is named."""
    if (folder / "config.yaml").exists():
        return _Origin(folder / "config.yaml", f"{host.name}.data")
    for wanted in (key, "pair"):
        if wanted in host.data:
            return _Origin(folder / "hosts.yaml", f"{host.name}.data")
        for group in host.extended_groups():
            if wanted in group.data:
                return _Origin(folder / "groups.yaml", f"{group.name}.data")
        if host.defaults and wanted in _defaults_data(host):
            return _Origin(folder / "defaults.yaml", "data")
    return _Origin(folder / "hosts.yaml", f"{host.name}.data")


def _defaults_data(host: Host) -> dict[str, Any]:
    return host.defaults.data or {}


def _hosts_file(folder: Path) -> Path:
    config = folder / "config.yaml"
    return config if config.exists() else folder / "hosts.yaml"
