"""What the tests of the session share: small recordings, and a login to a simulated controller that serves them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from nornir.core.configuration import Config, SSHConfig

from collector import simulated
from collector.credentials import Credentials
from collector.simulated import ADDRESS, Behaviour
from collector.ssh import SshMember, SshSession
from parsers import catalogue
from parsers.catalogue import Command

MEMBER = "quay-a"
LET_IN = simulated.Credentials("duty", "pass-word-of-the-test", "secret-of-the-test")
SETTINGS = ["terminal length 0", "terminal width 511"]
TEXTS = {
    "show version": "Version 17.09.04a\nquay-a uptime is 3 weeks\n",
    "show boot": "BOOT variable = bootflash:packages.conf,1;\n",
    "show romvar": "".join(f"VARIABLE_{number} = {number}\n" for number in range(200)),
}


def command(text: str) -> Command:
    """The catalogue's row."""
    row = catalogue.find(text)
    assert row is not None
    return row


@contextmanager
def controller(
    folder: Path, behaviour: Behaviour | None = None, texts: Mapping[str, str | bytes] = TEXTS
) -> Iterator[simulated.Fleet]:
    """One simulated controller that serves these texts."""
    own = folder / MEMBER
    own.mkdir(exist_ok=True)
    for asked, text in texts.items():
        (own / f"{catalogue.slug(asked)}.txt").write_bytes(text if isinstance(text, bytes) else text.encode())
    with simulated.fleet({MEMBER: own}, {MEMBER: behaviour or Behaviour()}, LET_IN) as fleet:
        (folder / "known_hosts").write_text(fleet.known_hosts_text())
        yield fleet


@contextmanager
def logged_in(
    fleet: simulated.Fleet,
    folder: Path,
    *,
    hostname: str = ADDRESS,
    port: int | None = None,
    platform: str | None = "ios",
    configuration: str = "",
    credentials: Credentials | None = None,
    session: SshSession | None = None,
    **options: Any,
) -> Iterator[SshMember]:
    """A session with that controller; `configuration` is the text of the user's OpenSSH configuration."""
    (folder / "ssh_config").write_text(configuration)
    session = session or SshSession()
    extras = {
        "member": MEMBER,
        "credentials": credentials or Credentials(LET_IN.username, LET_IN.password),
        "known_hosts": folder / "known_hosts",
        **options,
    }
    own_port = port if port is not None else fleet.ports[MEMBER]
    nornirs = Config(ssh=SSHConfig(config_file=str(folder / "ssh_config")))
    session.open(hostname, None, None, own_port, platform, extras, nornirs)
    try:
        yield session.connection
    finally:
        session.close()
