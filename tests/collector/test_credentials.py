"""Where user names and secrets come from, and in which order."""

from __future__ import annotations

import getpass
import io
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from collector import credentials
from collector.credentials import Credentials, CredentialsError, Known, resolve

ALL = {"READYPAIR_USERNAME": "env-user", "READYPAIR_PASSWORD": "env-password", "READYPAIR_SECRET": "env-secret"}


class Source:
    """A keyring or a prompt that notes whom it was asked for."""

    def __init__(self, passwords: dict[str, str] | None = None) -> None:
        self.passwords = passwords or {}
        self.asked: list[str] = []

    def keyring(self, username: str) -> str | None:
        self.asked.append(username)
        return self.passwords.get(username)

    def prompt(self, username: str) -> str:
        self.asked.append(username)
        return f"typed for {username}"


def one(
    environment: dict[str, str],
    known: Known | None = None,
    *,
    has_keys: bool = False,
    keyring: Callable[[str], str | None] = lambda username: None,
    prompt: Callable[[str], str] | None = None,
) -> Credentials:
    return resolve(
        {"m": known or Known()},
        environment=environment,
        has_keys=lambda: has_keys,
        keyring=keyring,
        prompt=prompt or Source().prompt,
    )["m"]


def test_the_environment_comes_first() -> None:
    keyring, prompt = Source({"env-user": "stored"}), Source()
    given = Known("inventory", "inventory-password", (Path("key"),))
    found = one(ALL, given, has_keys=True, keyring=keyring.keyring, prompt=prompt.prompt)
    assert found == Credentials("env-user", "env-password", "env-secret")
    assert keyring.asked == prompt.asked == []


def test_a_password_of_the_inventory_comes_next() -> None:
    assert one({}, Known("duty", "own")) == Credentials("duty", "own")


def test_where_there_are_keys_nobody_is_asked() -> None:
    prompt = Source()
    assert one({}, Known("duty"), has_keys=True, prompt=prompt.prompt) == Credentials("duty", keys=True)
    files = (Path("key"),)
    assert one({}, Known("duty", None, files), prompt=prompt.prompt) == Credentials("duty", keys=True, key_files=files)
    assert prompt.asked == []


def test_behind_keys_stands_the_keyring() -> None:
    found = one({}, Known("duty"), has_keys=True, keyring=Source({"duty": "stored"}).keyring)
    assert found == Credentials("duty", "stored", keys=True)


def test_without_keys_the_keyring_then_the_prompt() -> None:
    prompt = Source()
    keyring = Source({"duty": "stored"}).keyring
    assert one({}, Known("duty"), keyring=keyring, prompt=prompt.prompt).password == "stored"
    assert prompt.asked == []
    assert one({}, Known("other"), keyring=keyring, prompt=prompt.prompt).password == "typed for other"


def test_each_user_is_looked_up_and_asked_for_once() -> None:
    keyring, prompt = Source(), Source()
    members = {"a": Known("duty"), "b": Known("duty"), "c": Known("night")}
    found = resolve(members, environment={}, has_keys=lambda: False, keyring=keyring.keyring, prompt=prompt.prompt)
    assert keyring.asked == prompt.asked == ["duty", "night"]
    assert found["b"].password == "typed for duty"


def test_an_empty_variable_counts_as_unset() -> None:
    empty = dict.fromkeys(ALL, "")
    assert one(empty, Known("duty"), prompt=Source().prompt) == Credentials("duty", "typed for duty")


def test_the_user_name_falls_back_to_the_login_name() -> None:
    assert one({"READYPAIR_PASSWORD": "x"}).username == getpass.getuser()


def test_no_secret_shows_in_a_repr() -> None:
    shown = repr((one(ALL), Known("duty", "inventory-password")))
    assert "env-user" in shown
    assert "password" not in shown.replace("password=", "")
    assert "secret" not in shown.replace("secret=", "")


@pytest.mark.parametrize("secret", ["two\nlines", "bell\x07", "return\r"])
def test_a_secret_of_several_lines_is_refused(secret: str) -> None:
    with pytest.raises(CredentialsError, match="READYPAIR_SECRET holds a line break") as caught:
        one({**ALL, "READYPAIR_SECRET": secret})
    assert secret not in str(caught.value)


def test_without_a_terminal_the_error_says_what_to_set(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdin", io.StringIO("not a terminal"))
    with pytest.raises(CredentialsError, match=r"no password for 'duty' .* set READYPAIR_PASSWORD"):
        resolve({"m": Known("duty")}, environment={}, has_keys=lambda: False, keyring=lambda username: None)


def test_a_broken_keyring_is_no_keyring(monkeypatch: pytest.MonkeyPatch) -> None:
    import keyring

    def locked(*_: str) -> str:
        raise RuntimeError("locked")

    monkeypatch.setattr(keyring, "get_password", locked)
    assert one({}, Known("duty"), keyring=credentials._from_keyring).password == "typed for duty"


def test_the_keyring_is_asked_for_our_service(monkeypatch: pytest.MonkeyPatch) -> None:
    import keyring

    monkeypatch.setattr(keyring, "get_password", lambda service, username: f"{service} of {username}")
    assert one({}, Known("duty"), keyring=credentials._from_keyring).password == "readypair of duty"


def test_an_agent_that_is_gone_has_no_keys(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv("SSH_AUTH_SOCK", str(tmp_path / "gone"))
    assert not credentials._has_keys()
    (tmp_path / ".ssh").mkdir()
    (tmp_path / ".ssh" / "id_ed25519").write_text("a key")
    assert credentials._has_keys()


def test_what_cannot_be_taken_out_is_said_once_without_its_name() -> None:
    found = credentials.not_maskable(
        [Credentials("duty", "Duplex", "ab1"), Credentials("duty", "Duplex"), Credentials("duty", "Duplex-2026")]
    )
    assert found == [
        "the enable secret has fewer than 4 characters, so it can't be taken out of what they say; "
        "give readypair's account another one",
        "the password is a word that controllers print, so it can't be taken out of what they say; "
        "give readypair's account another one",
    ]
