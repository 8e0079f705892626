"""The SQLite file that offsets are kept in: looked at before anything may write to it.

A file that is refused is left as it is, byte for byte, and nothing is left beside it: its header
is read as plain bytes, then SQLite opens it for reading only, and for writing when all is well.
"""

import os
import sqlite3
import stat
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from threading import RLock
from urllib.parse import quote

from verify.errors import StoreError, in_one_line

APPLICATION_ID = 0x67707266  # "gprf", in SQLite's header: whose file it is
VERSION = 1  # SQLite's user_version: rises when an older greyproof could not use the file
SCHEMA = (
    "CREATE TABLE offset (name TEXT NOT NULL PRIMARY KEY, record TEXT NOT NULL, "
    "sha256 TEXT NOT NULL) WITHOUT ROWID"
)
BUSY_S = 20.0  # how long to wait for another program that writes
MAGIC = b"SQLite format 3\0"
HEADER = 100  # bytes of SQLite's header
JOURNALED = b"\1\1"  # its write and read version where a rollback journal is used, as here

# One thread at a time: closing any descriptor of a file ends all POSIX locks that the process has
# on it, SQLite's own too.
_GATE = RLock()


@contextmanager
def reading(path: Path) -> Iterator[sqlite3.Connection | None]:
    """A store to read from; None where there is none yet, and then none is made.

    Raises
    ------
    StoreError
        If what is there cannot be used.
    """
    with _GATE, _told(path):
        if not _stands(path):
            yield None
            return
        with closing(_opened(path)) as connection:
            yield connection if _is_store(connection, path) else None


@contextmanager
def writing(path: Path) -> Iterator[sqlite3.Connection]:
    """A store to write to, made if it is not there; all or nothing of what is written counts.

    Raises
    ------
    StoreError
        If what is there cannot be used, or cannot be written.
    """
    with _GATE:
        with reading(path):
            pass
        with _told(path):
            path.parent.mkdir(parents=True, exist_ok=True)
            with closing(_connected(path, "rwc")) as connection:
                connection.execute("BEGIN IMMEDIATE")
                if not _is_store(connection, path):
                    _make(connection)
                yield connection
                connection.execute("COMMIT")  # closing takes back what does not come this far


def damaged(path: Path, detail: str) -> StoreError:
    """The error for a store that says something wrong."""
    return _refused(
        path,
        f"this store of offsets is damaged ({in_one_line(detail, 120)}) and was left as it is: put "
        "a copy of it in its place, or move it away and import the offsets again",
    )


def _refused(path: Path, why: str) -> StoreError:
    """The error for a file; ``why`` says what was found and what to do."""
    return StoreError(f"{in_one_line(str(path))}: {why}")


def _stands(path: Path) -> bool:
    """Whether a file of ours with something in it is there, by its bytes alone."""
    try:
        kind = path.stat().st_mode
    except FileNotFoundError:
        return False
    except ValueError as error:  # a NUL in the path
        raise _refused(path, "this cannot be the name of a file: give another") from error
    if stat.S_ISDIR(kind):
        raise _refused(path, "this is a folder: name a file in it, such as offsets.sqlite3")
    if not stat.S_ISREG(kind):
        raise _refused(path, "this is no regular file: name another for the offsets")
    with path.open("rb") as file:
        header = file.read(HEADER)
    if not header:  # as SQLite begins a file: nothing was saved yet
        return False
    if len(header) < HEADER or not header.startswith(MAGIC):
        raise _refused(
            path,
            "this is no store of offsets, for it does not begin as a file of SQLite does; it was "
            "left as it is: name another file",
        )
    if int.from_bytes(header[68:72], "big") != APPLICATION_ID:
        raise _refused(
            path,
            "this database belongs to another program and was left as it is: name another file for "
            "the offsets",
        )
    _check_version(path, int.from_bytes(header[60:64], "big"))
    if header[18:20] != JOURNALED:
        raise _refused(
            path,
            "this store of offsets was set to another way of writing (a write-ahead log) and was "
            "left as it is: set it back with PRAGMA journal_mode = DELETE, or use a copy of it",
        )
    return True


def _check_version(path: Path, version: int) -> None:
    """Refuse a store whose version is not the one known here."""
    if version > VERSION:
        raise _refused(
            path,
            f"this store of offsets is of a newer greyproof (version {version} of the store, this "
            f"one knows {VERSION}) and was left as it is: update greyproof, or name another file",
        )
    if version < VERSION:
        raise damaged(path, f"version {version} of the store, which never was")


def _connected(path: Path, mode: str) -> sqlite3.Connection:
    """SQLite on a file, in mode "ro", "rw" or "rwc"; transactions begin where the code says so."""
    posix = path.absolute().as_posix()
    uri = "file://" + ("" if posix.startswith("/") else "/") + quote(os.fsencode(posix))
    return sqlite3.connect(f"{uri}?mode={mode}", uri=True, timeout=BUSY_S, isolation_level=None)


def _opened(path: Path) -> sqlite3.Connection:
    """A store for reading only; one whose writer was killed is first put right by SQLite."""
    connection = _connected(path, "ro")
    try:
        connection.execute("PRAGMA schema_version").fetchone()
    except sqlite3.Error as error:
        connection.close()
        if getattr(error, "sqlite_errorname", "") != "SQLITE_READONLY_ROLLBACK":
            raise
        connection = _connected(path, "rw")
    return connection


def _is_store(connection: sqlite3.Connection, path: Path) -> bool:
    """Whether a database holds our table, whole; False for an empty one."""
    tables = connection.execute("SELECT sql FROM sqlite_master").fetchall()
    owner, version = (
        connection.execute(f"PRAGMA {name}").fetchone()[0]
        for name in ("application_id", "user_version")
    )
    if not tables and not owner and not version:
        return False
    if owner != APPLICATION_ID:
        raise _refused(path, "this database belongs to another program and was left as it is")
    _check_version(path, version)
    found = connection.execute("PRAGMA quick_check(1)").fetchone()[0]
    if found != "ok":
        raise damaged(path, str(found))
    if tables != [(SCHEMA,)]:
        raise damaged(path, "its tables are not those of a store")
    return True


def _make(connection: sqlite3.Connection) -> None:
    """The table and the marks of a new store."""
    connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    connection.execute(f"PRAGMA user_version = {VERSION}")
    connection.execute(SCHEMA)


@contextmanager
def _told(path: Path) -> Iterator[None]:
    """What SQLite and the system object to becomes a line of ours."""
    try:
        yield
    except StoreError:
        raise
    except sqlite3.Error as error:
        raise _objection(path, error) from error
    except OSError as error:
        why = f"the store of offsets cannot be used ({error.strerror or error}): check the path"
        raise _refused(path, why) from error


def _objection(path: Path, error: sqlite3.Error) -> StoreError:
    """What SQLite objects to, and what to do about it."""
    code = getattr(error, "sqlite_errorname", "")  # absent where Python objects
    kind = "_".join(code.split("_")[:2])
    detail = in_one_line(str(error), 120)
    if kind in {"SQLITE_BUSY", "SQLITE_LOCKED"}:
        why = "another program is writing to the store of offsets all the time: try again"
    elif kind in {"SQLITE_READONLY", "SQLITE_CANTOPEN", "SQLITE_PERM"}:
        why = (
            f"the store of offsets may not be opened or written here ({detail}): check the "
            "permissions of the file and its folder, or name another file"
        )
    elif kind in {"SQLITE_FULL", "SQLITE_IOERR", "SQLITE_NOMEM"}:
        why = (
            f"the system cannot read or write the store of offsets ({detail}): see that the disk "
            "has room and is sound, and try again; what was saved before is kept"
        )
    else:
        return damaged(path, str(error))
    return _refused(path, why)
