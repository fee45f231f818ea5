"""Known host keys. The independent readers of OpenSSH's formats are asyncssh and paramiko."""

from __future__ import annotations

import socket
import stat
import sys
from pathlib import Path

import asyncssh
import paramiko
import pytest

from collector import hostkeys
from collector.hostkeys import HostKey, KnownHosts, NotPresented, Standing
from collector.simulated import ADDRESS, Behaviour
from tests.collector.sessions import MEMBER, controller


def made_key(host: str = "192.0.2.11", kind: str = "ssh-ed25519") -> HostKey:
    type_, base64 = asyncssh.generate_private_key(kind).export_public_key().decode().split()[:2]
    return HostKey(host, type_, base64)


def known(path: Path, *lines: str) -> KnownHosts:
    path.write_text("".join(f"{line}\n" for line in lines))
    return KnownHosts.read(path)


def test_a_fingerprint_reads_as_openssh_prints_it() -> None:
    key = made_key()
    assert key.fingerprint == asyncssh.import_public_key(f"{key.type} {key.base64}").get_fingerprint("sha256")


def test_a_host_presents_its_key_without_a_login(tmp_path: Path) -> None:
    with controller(tmp_path) as fleet:
        key = hostkeys.present(ADDRESS, fleet.ports[MEMBER], path=tmp_path / "none")
        assert f"{key.line}\n" == fleet.known_hosts_text()
        assert fleet.received(MEMBER) == []


def test_a_host_presents_its_key_by_way_of_a_jump(tmp_path: Path) -> None:
    from tests.collector.test_ssh import FORWARD

    (tmp_path / "forward.py").write_text(FORWARD)
    config = tmp_path / "config"
    config.write_text(f"Host *\n  ProxyCommand {sys.executable} {tmp_path}/forward.py %h %p\n")
    with controller(tmp_path) as fleet:
        key = hostkeys.present(ADDRESS, fleet.ports[MEMBER], path=tmp_path / "none", configuration=config)
        assert f"{key.line}\n" == fleet.known_hosts_text()


def test_a_host_that_listens_nowhere_presents_nothing(tmp_path: Path) -> None:
    with (
        controller(tmp_path, Behaviour(unreachable=True)) as fleet,
        pytest.raises(NotPresented, match=f"nothing answers at {ADDRESS}"),
    ):
        hostkeys.present(ADDRESS, fleet.ports[MEMBER], path=tmp_path / "none")


def test_a_host_that_hangs_up_presents_nothing(tmp_path: Path) -> None:
    with socket.create_server((ADDRESS, 0)) as server:
        import threading

        threading.Thread(target=lambda: server.accept()[0].close(), daemon=True).start()
        with pytest.raises(NotPresented, match="showed no host key"):
            hostkeys.present(ADDRESS, server.getsockname()[1], path=tmp_path / "none")


@pytest.mark.parametrize(("port", "name"), [(22, "192.0.2.11"), (2222, "[192.0.2.11]:2222")])
def test_what_is_recorded_is_what_openssh_reads(tmp_path: Path, port: int, name: str) -> None:
    key = made_key(hostkeys.name_of("192.0.2.11", port))
    path = tmp_path / "ssh" / "known_hosts"
    assert hostkeys.record(path, [key]) == []
    assert path.read_text() == f"{name} {key.type} {key.base64}\n"
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    trusted = asyncssh.match_known_hosts(asyncssh.read_known_hosts(str(path)), "192.0.2.11", "", port)[0]
    assert [found.export_public_key().decode().split()[1] for found in trusted] == [key.base64]


def test_a_key_is_recorded_once(tmp_path: Path) -> None:
    key, path = made_key(), tmp_path / "known_hosts"
    hostkeys.record(path, [key, key])
    hostkeys.record(path, [key])
    assert path.read_text() == f"{key.line}\n"


def test_a_changed_key_is_reported_and_not_recorded(tmp_path: Path) -> None:
    old, new, other = made_key(), made_key(), made_key("192.0.2.12")
    path = tmp_path / "known_hosts"
    hostkeys.record(path, [old])
    assert hostkeys.record(path, [new, other]) == [new]
    assert path.read_text() == f"{old.line}\n{other.line}\n"


def test_what_was_there_stays_as_it_was(tmp_path: Path) -> None:
    path = tmp_path / "known_hosts"
    path.write_bytes(b"# mine \xff\n\nnonsense here\n192.0.2.9 ssh-ed25519 no+line+end")
    path.chmod(0o644)
    before = path.read_bytes()
    key = made_key()
    hostkeys.record(path, [key])
    assert path.read_bytes() == before + b"\n" + key.line.encode() + b"\n"
    assert stat.S_IMODE(path.stat().st_mode) == 0o644


def test_hashed_names_are_found(tmp_path: Path) -> None:
    key = made_key()
    hashed = known(tmp_path / "k", f"{paramiko.HostKeys.hash_host('192.0.2.11')} {key.type} {key.base64}")
    assert hashed.standing(key) is Standing.KNOWN
    assert hashed.standing(HostKey("192.0.2.12", key.type, key.base64)) is Standing.UNKNOWN


@pytest.mark.parametrize(
    "patterns", ["192.0.2.*", "*,!192.0.2.11", "192.0.2.1?", "other,192.0.2.11", "192.0.2.1", "!*"]
)
@pytest.mark.parametrize("host", ["192.0.2.11", "192.0.2.12", "quay"])
def test_patterns_fit_as_they_do_for_openssh(tmp_path: Path, patterns: str, host: str) -> None:
    key = made_key(host)
    ours = known(tmp_path / "k", f"{patterns} {key.type} {key.base64}").standing(key)
    theirs = asyncssh.match_known_hosts(asyncssh.read_known_hosts(str(tmp_path / "k")), host, "", 22)[0]
    assert (ours is Standing.KNOWN) == bool(theirs)


def test_of_a_fleets_lines_only_those_with_patterns_are_tried(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    tried: list[str] = []
    monkeypatch.setattr(hostkeys, "_fits", lambda pattern, host: tried.append(pattern))
    key, other = made_key(), made_key("192.0.2.12")
    lines = [f"192.0.2.{number},dock-{number} {other.type} {other.base64}" for number in range(20, 60)]
    hosts = known(tmp_path / "hosts", *lines, f"*.example,!a.example {other.type} {other.base64}", key.line, key.line)
    assert hosts.standing(key) is Standing.KNOWN
    assert hosts.standing(HostKey("DOCK-30", other.type, other.base64)) is Standing.KNOWN
    assert set(tried) <= {"*.example", "!a.example", "a.example"}


def test_a_port_of_its_own_is_a_host_of_its_own(tmp_path: Path) -> None:
    key = made_key("[192.0.2.11]:2222")
    hosts = known(tmp_path / "k", key.line)
    assert hosts.standing(key) is Standing.KNOWN
    assert hosts.standing(HostKey("192.0.2.11", key.type, key.base64)) is Standing.UNKNOWN


def test_either_of_two_keys_of_a_host_is_known(tmp_path: Path) -> None:
    first, second = made_key(), made_key()
    hosts = known(tmp_path / "k", first.line, second.line)
    assert (hosts.standing(first), hosts.standing(second)) == (Standing.KNOWN, Standing.KNOWN)


def test_a_key_of_another_type_counts_as_changed(tmp_path: Path) -> None:
    assert known(tmp_path / "k", made_key().line).standing(made_key(kind="ecdsa-sha2-nistp256")) is Standing.CHANGED


def test_a_revoked_key_is_never_known(tmp_path: Path) -> None:
    key = made_key()
    hosts = known(tmp_path / "k", key.line, f"@revoked * {key.type} {key.base64}")
    assert hosts.standing(key) is Standing.REVOKED
    assert hostkeys.record(tmp_path / "k", [key]) == [key]


def test_a_certificate_authority_vouches_for_nothing(tmp_path: Path) -> None:
    key = made_key()
    assert known(tmp_path / "k", f"@cert-authority * {key.type} {key.base64}").standing(key) is Standing.UNKNOWN


def test_a_host_is_asked_for_the_type_that_is_known_of_it(tmp_path: Path) -> None:
    # A controller with two keys, of which the less usual is recorded, has not changed its key.
    transport = paramiko.Transport(socket.socketpair()[0])
    hostkeys.prefer(transport, ["ssh-rsa"])
    assert transport.get_security_options().key_types[0].startswith("rsa-sha2-")
    hostkeys.prefer(transport, ["ecdsa-sha2-nistp256"])
    assert transport.get_security_options().key_types[0] == "ecdsa-sha2-nistp256"


def test_the_environment_names_the_file() -> None:
    assert hostkeys.default_path({"READYPAIR_KNOWN_HOSTS": "/x/y"}) == Path("/x/y")
    assert hostkeys.default_path({"READYPAIR_KNOWN_HOSTS": ""}) == Path("~/.ssh/known_hosts").expanduser()
