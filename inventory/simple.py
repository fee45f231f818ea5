"""Nornir's inventory out of the files that were read and found good: nobody reads them a second time, or otherwise.

Nornir's own plugin reads them as YAML 1.2, where the other files of an inventory are read as 1.1: what was checked
would not be what counts.
"""

from __future__ import annotations

import logging
from collections.abc import Mapping
from typing import Any

from nornir.core.inventory import ConnectionOptions, Defaults, Group, Groups, Host, Hosts, Inventory, ParentGroups
from nornir.core.plugins.inventory import InventoryPluginRegister

NAME = "ReadypairFiles"
_LOG = logging.getLogger("nornir.plugins.inventory.simple")
_LOGIN = ("hostname", "port", "username", "password", "platform")


class SimpleFiles:
    """Nornir's inventory plugin for the contents of its hosts, groups and defaults files."""

    def __init__(self, hosts: Mapping[str, Any], groups: Mapping[str, Any], defaults: Mapping[str, Any]) -> None:
        self._hosts, self._groups, self._defaults = hosts, groups, defaults

    def load(self) -> Inventory:
        """The inventory. Every group that is named has to be among the groups, and none its own parent."""
        for name, content in (("hosts", self._hosts), ("groups", self._groups), ("defaults", self._defaults)):
            if not content:
                _LOG.warning("the %s file is empty or contains only comments", name)
        defaults = Defaults(**_attributes(self._defaults))
        groups = Groups(
            {name: Group(name, defaults=defaults, **_attributes(read)) for name, read in self._groups.items()}
        )
        hosts = Hosts({name: Host(name, defaults=defaults, **_attributes(read)) for name, read in self._hosts.items()})
        for name, group in groups.items():
            group.groups = _parents(self._groups[name], groups)
        for name, host in hosts.items():
            host.groups = _parents(self._hosts[name], groups)
        return Inventory(hosts=hosts, groups=groups, defaults=defaults)


def register() -> str:
    """Make the plugin known to Nornir; returns its name."""
    InventoryPluginRegister.register(NAME, SimpleFiles)
    return NAME


def _attributes(read: Mapping[str, Any]) -> dict[str, Any]:
    options = {
        name: ConnectionOptions(**_login(each), extras=each.get("extras"))
        for name, each in (read.get("connection_options") or {}).items()
    }
    return {**_login(read), "data": read.get("data"), "connection_options": options}


def _login(read: Mapping[str, Any]) -> dict[str, Any]:
    return {key: read.get(key) for key in _LOGIN}


def _parents(read: Mapping[str, Any], groups: Mapping[str, Group]) -> ParentGroups:
    return ParentGroups([groups[name] for name in read.get("groups") or []])
