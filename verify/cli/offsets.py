"""The commands that look after kept offsets."""

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

import typer

from verify.cli.app import app
from verify.cli.offset_store import StoreOption, store_at
from verify.cli.out import console_of, write
from verify.errors import PlanError, in_one_line
from verify.offsets.as_toml import read_toml, to_toml
from verify.offsets.store import OffsetStore
from verify.report.characters import plain_text
from verify.report.offset_list import offset_details, offset_table
from verify.report.to_file import STANDARD

NameArgument = Annotated[str, typer.Argument(metavar="NAME", hidden=True)]
NamesArgument = Annotated[list[str], typer.Argument(metavar="NAME", hidden=True)]
SomeNamesArgument = Annotated[list[str] | None, typer.Argument(metavar="NAME", hidden=True)]

offsets_app = typer.Typer(no_args_is_help=False, rich_markup_mode=None)
app.add_typer(offsets_app, name="offsets", short_help="List and look after kept offsets.")


@offsets_app.callback(invoke_without_command=True)
def offsets(context: typer.Context, store: StoreOption = None) -> None:
    """Kept offsets between meters and cameras: all of them, or what a command below does.

    An offset is measured minus promised; the correction to set on a meter has the opposite sign.
    """
    context.obj = store
    if context.invoked_subcommand is None:
        kept = store_at(store)
        console_of(stderr=False).print(offset_table(kept.all(), kept.path))


@offsets_app.command()
def show(context: typer.Context, name: NameArgument, store: StoreOption = None) -> None:
    """Show one offset with all that it belongs to."""
    console_of(stderr=False).print(offset_details(_store(context, store).get(name)))


@offsets_app.command()
def export(
    context: typer.Context,
    file: Annotated[str, typer.Argument(metavar="FILE", hidden=True)],
    names: SomeNamesArgument = None,
    store: StoreOption = None,
    replace: Annotated[bool, typer.Option("--replace", help="Write over a file that is there.")] = (
        False
    ),
) -> None:
    """Write offsets to a TOML file.

    FILE is - for standard output. All offsets are written, or those named.
    """
    kept = _store(context, store)
    chosen = kept.all() if not names else tuple(map(kept.get, dict.fromkeys(names)))
    if not chosen:
        msg = f"{kept.path}: there is no offset to export"
        raise PlanError(in_one_line(msg))
    if file != STANDARD and Path(file).suffix.lower() != ".toml":
        msg = f"{file}: name a file that ends in .toml"
        raise PlanError(in_one_line(msg))
    if file != STANDARD and Path(file).exists() and not replace:  # it may be a plan
        msg = f"{file}: there is such a file: name another, or say --replace"
        raise PlanError(in_one_line(msg))
    write(file, to_toml(chosen))
    if file != STANDARD:
        _say(f"{_count(chosen)} written to {file}.")


@offsets_app.command("import")
def import_(
    context: typer.Context,
    file: Annotated[Path, typer.Argument(metavar="FILE", hidden=True, readable=False)],
    store: StoreOption = None,
    replace: Annotated[
        bool, typer.Option("--replace", help="Replace offsets of the same names.")
    ] = False,
) -> None:
    """Read offsets from a TOML file.

    FILE is one that export wrote. All that is in it is kept, or nothing of it.
    """
    found = read_toml(file)
    if not found:
        msg = f"{file}: there is no offset in it"
        raise PlanError(in_one_line(msg))
    _store(context, store).save_all(found, replace)
    _say(f"{_count(found)} kept: {', '.join(one.name for one in found)}.")


@offsets_app.command()
def remove(context: typer.Context, names: NamesArgument, store: StoreOption = None) -> None:
    """Forget offsets."""
    kept = _store(context, store)
    for name in dict.fromkeys(names):  # a name that is not there must cost none of the others
        kept.get(name)
    for name in dict.fromkeys(names):
        kept.remove(name)
        _say(f'"{name}" is removed.')


def _store(context: typer.Context, named: Path | None) -> OffsetStore:
    """The store that was named after the command or before it, or the user's own."""
    before: Path | None = context.obj
    return store_at(before if named is None else named)


def _say(line: str) -> None:
    console_of(stderr=False).print(plain_text(line))


def _count(offsets_: Sequence[object]) -> str:
    return "1 offset" if len(offsets_) == 1 else f"{len(offsets_)} offsets"
