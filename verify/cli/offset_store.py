"""The store that a command uses, and the offsets in it."""

from pathlib import Path
from typing import Annotated

import typer

from verify.cli.out import Out
from verify.errors import StoreError
from verify.offsets.choose import by_name
from verify.offsets.records import SavedOffset
from verify.offsets.store import OffsetStore, default_store
from verify.report.characters import plain_text

StoreOption = Annotated[
    Path | None,
    typer.Option(
        metavar="FILE",
        readable=False,
        help="The file that offsets are kept in, if not the one under your user data.",
    ),
]


def store_at(path: Path | None) -> OffsetStore:
    """The store that was named, or the user's own."""
    return OffsetStore(default_store() if path is None else path)


def offsets_for_check(path: Path | None, name: str | None, out: Out) -> tuple[SavedOffset, ...]:
    """The saved offsets. Where none was asked for, a store that cannot be used stops no check.

    Raises
    ------
    StoreError, PlanError
        If an offset or a store was named and cannot be had.
    """
    try:
        saved = store_at(path).all()
    except StoreError as error:
        if path is not None or name is not None:
            raise
        out.problems.print(plain_text(f"greyproof: {error}"))
        return ()
    if name is not None:
        by_name(saved, name)
    return saved
