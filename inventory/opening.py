"""Opens an inventory folder: Nornir's inventory, the pairs in it, and the policy."""

from __future__ import annotations

import logging
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

from pydantic import AfterValidator, BaseModel, ConfigDict, StrictInt, StrictStr

from inventory import yaml_files
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
        raise InventoryError([Problem(folder, "", "there is no such inventory folder")])
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
    if not path.exists():
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


class _Login(BaseModel):
    model_config = ConfigDict(extra="forbid")

    hostname: StrictStr | None = None
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
    settings = yaml_files.load(config) if config.exists() else {}
    inventory = settings.get("inventory") or {}
    if not isinstance(inventory, dict) or not isinstance(inventory.get("options") or {}, dict):
        raise InventoryError([Problem(config, "inventory", "must hold keys and values, as Nornir's manual describes")])
    if inventory.get("plugin", "SimpleInventory") == "SimpleInventory":
        inventory = _simple(folder, inventory)
        _check_files(inventory["options"])
    # Nornir would write a log file into the current folder unless told otherwise.
    log = settings.get("logging") or {"enabled": False}
    return _start(config, {**settings, "inventory": inventory, "logging": log})


def _simple(folder: Path, inventory: dict[str, Any]) -> dict[str, Any]:
    """SimpleInventory's options, with file names taken from the inventory folder where they are relative."""
    options = dict(inventory.get("options") or {})
    for option, name in (("host_file", "hosts"), ("group_file", "groups"), ("defaults_file", "defaults")):
        options[option] = str(folder / Path(str(options.get(option, f"{name}.yaml"))).expanduser())
    return {**inventory, "plugin": "SimpleInventory", "options": options}


def _check_files(options: dict[str, Any]) -> None:
    """Find all mistakes of SimpleInventory's files beforehand: Nornir would stop at the first, with a traceback."""
    found: list[Problem] = []
    hosts, groups = (_elements(Path(options[key]), key, found) for key in ("host_file", "group_file"))
    defaults = Path(options["defaults_file"])
    try:
        yaml_files.validate(_Element, yaml_files.load(defaults) if defaults.exists() else {}, defaults)
    except InventoryError as error:
        found += error.problems
    for key, elements in (("host_file", hosts), ("group_file", groups)):
        for name, element in elements.items():
            found += [
                Problem(Path(options[key]), f"{name}.groups", f"there is no group {group!r} in the groups file")
                for group in element.groups or []
                if group not in groups
            ]
    found += _circles(Path(options["group_file"]), groups)
    if found:
        raise InventoryError(found)


def _elements(path: Path, option: str, found: list[Problem]) -> dict[str, _HostOrGroup]:
    if option == "group_file" and not path.exists():
        return {}
    elements: dict[str, _HostOrGroup] = {}
    try:
        data = yaml_files.load(path)
    except InventoryError as error:
        found += error.problems
        return {}
    for name, body in data.items():
        if not isinstance(name, str):
            found.append(Problem(path, str(name), "a name must be text; write it in quotes"))
        elif not isinstance(body, dict):
            found.append(Problem(path, name, "must hold keys and values"))
        else:
            try:
                elements[name] = yaml_files.validate(_HostOrGroup, body, path)
            except InventoryError as error:
                found += [Problem(path, f"{name}.{problem.key}", problem.message) for problem in error.problems]
    return elements


def _circles(path: Path, groups: dict[str, _HostOrGroup]) -> list[Problem]:
    def reaches_itself(start: str) -> bool:
        seen: set[str] = set()
        stack = list(groups[start].groups or [])
        while stack:
            name = stack.pop()
            if name == start:
                return True
            if name not in seen and name in groups:
                seen.add(name)
                stack += groups[name].groups or []
        return False

    return [Problem(path, f"{name}.groups", "the group is its own parent") for name in groups if reaches_itself(name)]


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
