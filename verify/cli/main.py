"""A run of the program: a command, and an error of ours as one line each."""

import codecs
import io
import logging
import sys
from collections.abc import Sequence
from importlib import import_module

from verify.cli.app import app
from verify.cli.out import WRONG, console_of, let_go
from verify.errors import GreyproofError
from verify.report.characters import in_ascii, plain_text

# In the order of the help. Each is a module beside this one.
COMMANDS = (
    "check",
    "calibrate",
    "demo",
    "diagnose",
    "motion",
    "offsets",
    "pops",
    "pulse",
    "rows",
)


def main(arguments: Sequence[str] | None = None) -> None:
    """Run a command and leave with its exit status; an error of ours is one line each."""
    # What libraries log and warn of is nothing that whoever shoots can act on.
    logging.getLogger().addHandler(logging.NullHandler())
    logging.captureWarnings(True)
    codecs.register_error("greyproof", in_ascii)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="greyproof")
    try:
        _import_command(sys.argv[1:] if arguments is None else arguments)
        app(arguments, prog_name="greyproof")
    except (GreyproofError, OSError) as error:
        if not isinstance(error, GreyproofError):  # such as a full disk under standard output
            let_go(sys.stdout)
        for line in str(error).splitlines():
            console_of(stderr=True).print(plain_text(f"greyproof: {line}"))
        sys.exit(WRONG)


def _import_command(typed: Sequence[str]) -> None:
    """Import the command that is asked for; all of them where none is, as for the help.

    What one command computes with takes a second to import that the others need not wait for.
    """
    asked = next((word for word in typed if not word.startswith("-")), None)
    wanted = (asked,) if asked in COMMANDS else () if "--version" in typed else COMMANDS
    for name in wanted:
        import_module(f"verify.cli.{name}")
