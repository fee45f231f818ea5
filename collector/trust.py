"""The explicit first meeting: which host key each member presents, and whether it is the known one."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from collector import hostkeys
from collector.hostkeys import HostKey, KnownHosts, Standing
from collector.ssh import CONNECTION
from inventory.pairs import Member, Pair

if TYPE_CHECKING:
    from nornir.core import Nornir

_AT_ONCE = 20


@dataclass(frozen=True)
class Meeting:
    """What came of asking one member for its host key: the key and how it stands, or the clause that says why not."""

    member: str
    address: str
    key: HostKey | None = None
    standing: Standing | None = None
    problem: str = ""


def meet(nornir: Nornir, pairs: Sequence[Pair], path: Path) -> list[Meeting]:
    """Ask every member of these pairs for its host key; `path` is the known_hosts file. Nothing is recorded.

    Raises OSError where the file can't be read.
    """
    known = KnownHosts.read(path)
    configuration = Path(nornir.config.ssh.config_file).expanduser()

    def ask(member: Member) -> Meeting:
        given = nornir.inventory.hosts[member.name].get_connection_parameters(CONNECTION)
        address = f"{member.hostname}:{member.port}"
        try:
            key = hostkeys.present(given.hostname or member.name, given.port, path=path, configuration=configuration)
        except hostkeys.NotPresented as error:
            return Meeting(member.name, address, problem=str(error))
        return Meeting(member.name, address, key, known.standing(key))

    with ThreadPoolExecutor(_AT_ONCE) as pool:
        return list(pool.map(ask, [member for pair in pairs for member in pair.members]))
