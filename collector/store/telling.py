"""Says in one sentence what a database didn't do, never with a password."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from urllib.parse import quote, quote_plus

from sqlalchemy.engine import URL
from sqlalchemy.exc import DBAPIError, SQLAlchemyError

from collector.store.store import StoreError

# Seconds that a collector waits for another one's write to end.
PATIENCE = 30

_HELD = f"is locked by another program for more than {PATIENCE} seconds; see what holds it, or wait"
# What PostgreSQL calls a lock that didn't come in time: https://www.postgresql.org/docs/current/errcodes-appendix.html
_NO_LOCK, _DISK_FULL = "55P03", "53100"
_SQLITE = {
    sqlite3.SQLITE_BUSY: _HELD,
    sqlite3.SQLITE_LOCKED: "is locked by another program; see what holds it, or wait",
    sqlite3.SQLITE_FULL: "can't grow: the disk is full; make room there, or shorten --keep-days",
    sqlite3.SQLITE_READONLY: "can't be written to; give this account the right to write the file and its folder",
    sqlite3.SQLITE_PERM: "can't be written to; give this account the right to write the file and its folder",
    sqlite3.SQLITE_CANTOPEN: "can't be opened; give this account the right to read and write the file and its folder",
    sqlite3.SQLITE_NOTADB: "is not a store of readypair's; name another file",
    sqlite3.SQLITE_CORRUPT: "is damaged; put your last back-up in its place, or name another file",
    sqlite3.SQLITE_IOERR: "can't be read or written: the disk reports an error; see whether it is full or failing",
    sqlite3.SQLITE_TOOBIG: "doesn't take a text of this size",
}


class Damaged(Exception):  # noqa: N818 - it says what the text is, as its message does
    """A text isn't the one that was stored; the message is the beginning of its digest."""


def named(url: URL) -> str:
    """The store as messages call it: a file by its path, a server without the password and the options."""
    if url.get_backend_name() == "sqlite":
        return url.database or ""
    return url.set(drivername="postgresql", query={}).render_as_string(hide_password=True)


@contextmanager
def told(url: URL) -> Iterator[None]:
    """Turn what the database and its driver raise into StoreError."""
    try:
        yield
    except DBAPIError as error:
        # Neither the driver's words nor the statement's values may go along in a traceback.
        raise StoreError(f"the store {named(url)} {_reason(url, error.orig)}") from None
    except sqlite3.Error as error:
        raise StoreError(f"the store {named(url)} {_reason(url, error)}") from None
    except Damaged as error:
        raise StoreError(
            f"the store {named(url)} holds a damaged text ({error}); put your last back-up in its place"
        ) from None
    except SQLAlchemyError as error:
        raise StoreError(f"the store {named(url)} can't be used ({type(error).__name__}); see its URL") from None
    except UnicodeError:
        raise StoreError(f"the store {named(url)} can't be used: its URL holds what isn't text; correct it") from None


@contextmanager
def understood(url: URL) -> Iterator[None]:
    """Turn into StoreError what comes of rows that no readypair wrote, such as a verdict that there is none of."""
    try:
        yield
    except (StoreError, UnicodeError):
        raise
    except (ValueError, LookupError, TypeError, AttributeError, ArithmeticError, RecursionError):
        raise StoreError(
            f"the store {named(url)} holds what no readypair wrote; put your last back-up in its place"
        ) from None


def _reason(url: URL, error: BaseException | None) -> str:
    if isinstance(error, sqlite3.Error):
        # The lowest eight bits name the error, those above what kind of it.
        code = getattr(error, "sqlite_errorcode", sqlite3.SQLITE_ERROR) & 0xFF
        return _SQLITE.get(code, f"can't be used: {error}")
    state = getattr(error, "sqlstate", None)
    if state == _NO_LOCK:
        return _HELD
    if state == _DISK_FULL:
        return "can't grow: the server's disk is full; make room there, or shorten --keep-days"
    return f"can't be used: {_words(url, error)}; see that the server runs and that this role may use the database"


def _words(url: URL, error: BaseException | None) -> str:
    """The driver's own first line, or only its name where that could tell a secret."""
    whole = str(error)
    # First of all, as a password may have line breaks; whatever the case, as the digits of a %2F have either.
    if any(secret in whole.lower() for secret in _secrets(url)):
        return type(error).__name__
    lines = whole.strip().splitlines() or [""]
    return lines[0].rstrip(" ;.") or type(error).__name__


def _secrets(url: URL) -> set[str]:
    """The passwords as they are and as they stand in a URL, in lower case."""
    query = {value for key, values in url.normalized_query.items() if "password" in key.lower() for value in values}
    plain = {secret for secret in {str(url.password or ""), *query} if secret}
    return {form.lower() for secret in plain for form in (secret, *_quoted(secret))}


def _quoted(secret: str) -> tuple[str, ...]:
    # What isn't text mustn't fail here: the driver doesn't take it either.
    wholly = {"safe": "", "errors": "replace"}
    return quote(secret, errors="replace"), quote(secret, **wholly), quote_plus(secret, **wholly)
