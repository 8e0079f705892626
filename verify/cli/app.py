"""The application that the commands belong to."""

from typing import Annotated

import typer

from verify import __version__
from verify.cli.out import ALL_WITHIN

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)


def _version(wanted: bool) -> None:
    """Print the version and leave."""
    if wanted:
        typer.echo(f"greyproof {__version__}")
        raise typer.Exit(ALL_WITHIN)


@app.callback()
def _top(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    """Did the frames get the light that the meter promised?"""
