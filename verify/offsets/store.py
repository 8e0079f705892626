"""Saved offsets on disk: one SQLite file, an offset under each name."""

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

from platformdirs import user_data_path
from pydantic import TypeAdapter, ValidationError

from verify.errors import PlanError
from verify.offsets.choose import by_name
from verify.offsets.database import damaged, reading, writing
from verify.offsets.records import SavedOffset
from verify.offsets.tables import checked, values_of
from verify.plan.load import quoted
from verify.plan.tables import Name


def default_store() -> Path:
    """The store under the user's data folder; it need not be there yet."""
    return user_data_path("greyproof", appauthor=False) / "offsets.sqlite3"


@dataclass(frozen=True, slots=True)
class OffsetStore:
    """The offsets in one file. Several programs may use it at once.

    Every method raises StoreError where the file is no store, is damaged or of a newer greyproof,
    or cannot be read or written. What is refused is left as it is.
    """

    path: Path = field(default_factory=default_store)

    def all(self) -> tuple[SavedOffset, ...]:
        """Every offset, by name; none where there is no store, and none is made."""
        with reading(self.path) as connection:
            if connection is None:
                return ()
            select = "SELECT name, record, sha256 FROM offset ORDER BY name"
            rows = connection.execute(select).fetchall()
        return tuple(_read(self.path, *row) for row in rows)

    def get(self, name: str) -> SavedOffset:
        """The offset of that very name. Raises PlanError, with near names, where there is none."""
        return by_name(self.all(), name)

    def check_name(self, name: str, replace: bool) -> None:
        """Refuse a name before there is an offset for it.

        Raises
        ------
        PlanError
            If it cannot be kept, or is taken and not to be replaced.
        """
        try:
            TypeAdapter(Name).validate_python(name, strict=True)
        except ValidationError as error:
            msg = f"{quoted(name)} is no name for an offset: give one of 1 to 200 characters"
            raise PlanError(msg) from error
        if any(offset.name == name for offset in self.all()) and not replace:
            raise _taken(name)

    def save(self, offset: SavedOffset, replace: bool = True) -> None:
        """Keep an offset under its name.

        Raises
        ------
        PlanError
            If its name or a figure of it cannot be kept, or is taken and not to be replaced.
        """
        self.save_all((offset,), replace)

    def save_all(self, offsets: Sequence[SavedOffset], replace: bool = True) -> None:
        """Keep several offsets, or none of them where one cannot be kept; raises as `save`."""
        rows = [_row(offset) for offset in offsets]
        twice = {offset.name for offset in offsets}
        if len(twice) < len(rows):
            msg = "two offsets to be saved have the same name: give each its own"
            raise PlanError(msg)
        if not rows:
            return
        self.all()  # a store with a damaged offset is left as it is
        with writing(self.path) as connection:
            for row in rows:
                there = connection.execute("SELECT 1 FROM offset WHERE name = ?", row[:1])
                if not replace and there.fetchone():
                    raise _taken(row[0])
                connection.execute("INSERT OR REPLACE INTO offset VALUES (?, ?, ?)", row)

    def remove(self, name: str) -> None:
        """Forget an offset. Raises PlanError, with near names, where there is none."""
        self.get(name)
        with writing(self.path) as connection:
            connection.execute("DELETE FROM offset WHERE name = ?", (name,))


def _taken(name: str) -> PlanError:
    """The error for a name that is not to be replaced."""
    return PlanError(
        f"an offset {quoted(name)} is saved already: take another name, or say --replace"
    )


def _row(offset: SavedOffset) -> tuple[str, str, str]:
    """An offset as it is written: its name, its record and what the two add up to."""
    values = values_of(offset)
    checked(values, f"offset {quoted(offset.name)}")
    values["saved"] = offset.saved.isoformat()
    name = values.pop("name")
    # JSON writes the shortest text that reads back as the same number; a REAL column of SQLite
    # does not keep the sign of 0.
    record = json.dumps(values, allow_nan=False)
    return name, record, _digest(name, record)


def _read(path: Path, name: str, record: str, digest: str) -> SavedOffset:
    """The offset of a row. Raises StoreError where it is not as it was written."""
    if not isinstance(name, str) or not isinstance(record, str):
        raise damaged(path, "what should be text in it is none")
    if digest != _digest(name, record):
        raise damaged(path, f"offset {quoted(name)} is not as it was written")
    try:
        values: dict[str, Any] = dict(json.loads(record))
        values["saved"] = datetime.fromisoformat(values["saved"])
        return checked({"name": name, **values}, f"offset {quoted(name)}")
    except (ValueError, TypeError, KeyError, RecursionError) as error:
        raise damaged(path, (str(error).splitlines() or [""])[0]) from error


def _digest(name: str, record: str) -> str:
    """What changes when a bit of an offset does: SQLite itself does not check what it holds."""
    return hashlib.sha256(f"{name}\n{record}".encode()).hexdigest()
