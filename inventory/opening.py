"""Opens an inventory folder: Nornir's inventory, the pairs in it, and the policy."""

from __future__ import annotations

import logging
import os
from collections import Counter
from collections.abc import Mapping, Sequence, Set
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

from pydantic import AfterValidator, BaseModel, ConfigDict, StrictInt, StrictStr

from inventory import names, yaml_files
from inventory.pairs import NO_PORT, Pair, is_port
from inventory.policy import Policy
from inventory.problems import InventoryError, Problem
from inventory.waivers import Waiver, read_waivers

if TYPE_CHECKING:
    from nornir.core import Nornir

_SILENT = logging.NullHandler()


@dataclass(frozen=True)
class Fleet:
    """An open inventory: Nornir itself, the pairs in its order, the policy, hosts that are in no pair, the waivers."""

    folder: Path
    nornir: Nornir
    pairs: tuple[Pair, ...]
    policy: Policy
    unpaired: tuple[str, ...]
    waivers: tuple[Waiver, ...] = ()

    @property
    def policy_file(self) -> Path:
        """Where the policy stands."""
        return self.folder / "policy.yaml"


def open_inventory(folder: Path, rules: Mapping[str, bool]) -> Fleet:
    """Open the inventory in a folder; `rules` has every rule's id and whether it may be waived and weighed otherwise.

    Raises InventoryError with all mistakes of all its files.
    """
    from inventory.pairing import pairs_of

    if not folder.is_dir():
        message = "is a file; name a folder" if folder.exists() else "there is no such inventory folder"
        raise InventoryError([Problem(folder, "", message)])
    found: list[Problem] = []
    policy: Policy | None = None
    waivers: tuple[Waiver, ...] = ()
    try:
        policy = read_policy(folder / "policy.yaml", rules)
    except InventoryError as error:
        found += error.problems
    try:
        waivers = read_waivers(folder / "waivers.yaml", rules)
    except InventoryError as error:
        found += error.problems
    try:
        nornir = _open_nornir(folder)
        pairs, unpaired = pairs_of(nornir.inventory, folder)
    except InventoryError as error:
        found += error.problems
    if found or policy is None:
        raise InventoryError(found)
    return Fleet(folder, nornir, pairs, policy, unpaired, waivers)


def read_policy(path: Path, rules: Mapping[str, bool]) -> Policy:
    """The policy of a file; InventoryError with all its mistakes. `rules` as for `open_inventory`."""
    if not os.path.lexists(path):
        message = "there is no policy; copy the demo's and fill in your vendor's published figures"
        raise InventoryError([Problem(path, "", message)])
    data = yaml_files.load(path)
    found = _eased(data, path, rules)
    try:
        policy = yaml_files.validate(Policy, data, path, context={"rules": rules})
    except InventoryError as error:
        raise InventoryError([*error.problems, *found]) from None
    if found:
        raise InventoryError(found)
    return policy


def _eased(data: Mapping[str, Any], path: Path, rules: Mapping[str, bool]) -> list[Problem]:
    """What the policy lets count for less though nobody may: a weight must not do what a waiver can't."""
    weights = data.get("rules")
    return [
        Problem(path, f"rules.{id}", f"nobody may turn {id} off or ease it; take it out, or weigh it as block")
        for id, weight in (weights.items() if isinstance(weights, dict) else ())
        if weight != "block" and not rules.get(id, True)
    ]


def _port(value: int) -> int:
    if not is_port(value):
        raise ValueError(NO_PORT)
    return value


# What no address holds, but a shell would act on: OpenSSH's configuration may hand it one (`ProxyCommand ... %h`).
_NOT_IN_ADDRESSES = set(" '\"`$;&|<>(){}\\*?!#/")


def _address(value: str) -> str:
    if not names.is_one_line(value) or value.startswith("-") or set(value) & _NOT_IN_ADDRESSES:
        raise ValueError("must be an address, or a host's name")
    return value


class _Login(BaseModel):
    model_config = ConfigDict(extra="forbid")

    hostname: Annotated[StrictStr, AfterValidator(_address)] | None = None
    port: Annotated[StrictInt, AfterValidator(_port)] | None = None
    username: StrictStr | None = None
    password: StrictStr | None = None
    platform: StrictStr | None = None


class _ConnectionOptions(_Login):
    extras: dict[str, Any] | None = None


class _Element(_Login):
    data: dict[str, Any] | None = None
    connection_options: dict[str, _ConnectionOptions] = {}


class _HostOrGroup(_Element):
    groups: list[StrictStr] | None = None


def _open_nornir(folder: Path) -> Nornir:
    config = folder / "config.yaml"
    settings = yaml_files.load(config) if os.path.lexists(config) else {}
    inventory = settings.get("inventory") or {}
    if not isinstance(inventory, dict) or not isinstance(inventory.get("options") or {}, dict):
        raise InventoryError([Problem(config, "inventory", "must hold keys and values, as Nornir's manual describes")])
    if inventory.get("plugin", _FILES) == _FILES:
        inventory = _simple(folder, config, inventory)
    # Nornir would write a log file into the current folder unless told otherwise.
    log = settings.get("logging") or {"enabled": False}
    return _start(config, {**settings, "inventory": inventory, "logging": log})


_FILES = "SimpleInventory"
_FILE_OPTIONS = {"host_file": "hosts.yaml", "group_file": "groups.yaml", "defaults_file": "defaults.yaml"}


def _simple(folder: Path, config: Path, inventory: dict[str, Any]) -> dict[str, Any]:
    """What Nornir is to open in place of SimpleInventory: the same files, read and checked.

    File names are taken from the inventory folder where they are relative.
    """
    from inventory import simple

    options = {**_FILE_OPTIONS, **(inventory.get("options") or {})}
    found = [
        Problem(
            config, f"inventory.options.{name}", "must be one of host_file, group_file, defaults_file: a file's name"
        )
        for name, value in options.items()
        if name not in _FILE_OPTIONS or not isinstance(value, str) or "\0" in value
    ]
    if found:
        raise InventoryError(found)
    hosts, groups, defaults = (folder / Path(options[option]).expanduser() for option in _FILE_OPTIONS)
    return {**inventory, "plugin": simple.register(), "options": _read_files(hosts, groups, defaults)}


_SPLIT = "split the inventory"


def _read_files(hosts: Path, groups: Path, defaults: Path) -> dict[str, Any]:
    """What the files hold; InventoryError with all their mistakes."""
    found: list[Problem] = []
    read = {
        "hosts": _load(hosts, found, _SPLIT),
        "groups": _load(groups, found, _SPLIT) if os.path.lexists(groups) else {},
        "defaults": _load(defaults, found, "shorten it") if os.path.lexists(defaults) else {},
    }
    host_elements, group_elements = (
        _elements(path, read[name], found) for name, path in (("hosts", hosts), ("groups", groups))
    )
    try:
        yaml_files.validate(_Element, read["defaults"], defaults)
    except InventoryError as error:
        found += error.problems
    # What names a group in vain isn't known where the groups can't be read.
    unread = any(problem.file == groups and not problem.key for problem in found)
    for path, elements in () if unread else ((hosts, host_elements), (groups, group_elements)):
        for name, element in elements.items():
            found += [
                Problem(path, f"{name}.groups", f"there is no group {group!r} in the groups file")
                for group in element.groups or []
                if group not in read["groups"]
            ]
    found += _inheritance_problems(groups, group_elements)
    if found:
        raise InventoryError(found)
    return read


def _load(path: Path, found: list[Problem], shorten: str) -> dict[str, Any]:
    try:
        return yaml_files.load(path, shorten)
    except InventoryError as error:
        found += error.problems
        return {}


def _elements(path: Path, data: Mapping[Any, Any], found: list[Problem]) -> dict[str, _HostOrGroup]:
    elements: dict[str, _HostOrGroup] = {}
    for name, body in data.items():
        if not isinstance(name, str):
            found.append(Problem(path, str(name), "a name must be text; write it in quotes"))
        elif not names.is_one_line(name):
            found.append(Problem(path, name, f"a name {names.NOT_ONE_LINE}"))
        elif not isinstance(body, dict):
            found.append(Problem(path, name, "must hold keys and values"))
        else:
            try:
                elements[name] = yaml_files.validate(_HostOrGroup, body, path)
            except InventoryError as error:
                found += [Problem(path, f"{name}.{problem.key}", problem.message) for problem in error.problems]
    return elements


# Nornir walks every way up from a host, again for each value: towers of groups take it hours.
_MOST_ANCESTORS = 100


def _inheritance_problems(path: Path, groups: Mapping[str, _HostOrGroup]) -> list[Problem]:
    """Groups that are above themselves, and groups with more ways up than Nornir can walk."""
    parents = {name: [each for each in group.groups or [] if each in groups] for name, group in groups.items()}
    children: dict[str, list[str]] = {name: [] for name in groups}
    for name, above in parents.items():
        for each in above:
            children[each].append(name)
    waiting = {name: len(above) for name, above in parents.items()}
    ready = [name for name, number in waiting.items() if not number]
    ways: dict[str, int] = {}
    while ready:
        name = ready.pop()
        ways[name] = sum(1 + ways[each] for each in parents[name])
        for each in children[name]:
            waiting[each] -= 1
            if not waiting[each]:
                ready.append(each)
    found = [
        Problem(path, f"{name}.groups", "the group is its own parent")
        for name in _in_circles(parents, groups.keys() - ways)
    ]
    towers = [name for name in groups if ways.get(name, 0) > _MOST_ANCESTORS]
    if towers:
        message = f"inherits from more than {_MOST_ANCESTORS} groups above it, counted on every way; take some out"
        found.append(Problem(path, f"{towers[0]}.groups", message))
    return found


def _in_circles(parents: Mapping[str, Sequence[str]], among: Set[str]) -> list[str]:
    """Those that are above themselves, of groups that all have such a one above them."""
    left = set(among)
    below = Counter(each for name in left for each in parents[name])
    free = [name for name in left if not below[name]]
    while free:
        name = free.pop()
        left.discard(name)
        for each in parents[name]:
            if each in left:
                below[each] -= 1
                if not below[each]:
                    free.append(each)
    return [name for name in parents if name in left]


def _keep_quiet(log: Any) -> None:
    """Python prints the warnings of a logger that has no handler; where Nornir is to log, it adds its own."""
    logger = logging.getLogger("nornir")
    # It would add none beside another one.
    logger.removeHandler(_SILENT)
    if isinstance(log, dict) and log.get("enabled") is False:
        logger.addHandler(_SILENT)


def _start(config: Path, settings: dict[str, Any]) -> Nornir:
    from nornir import InitNornir

    _keep_quiet(settings["logging"])
    # The job brings its own runner.
    settings = {**settings, "runner": {"plugin": "serial"}}
    try:
        return InitNornir(**settings)
    except InventoryError:
        raise
    except Exception as error:
        message = f"Nornir can't open this inventory: {error or type(error).__name__}"
        raise InventoryError([Problem(config if config.exists() else config.parent, "", message)]) from None
