"""The project's own virtual environment: made once, and again when what it depends on changed.

Run by itself it makes the environment and names its Python; `dev` adds what the tests need:

    python3 scripts/environment.py [dev]

`GREYPROOF_VENV` puts the environment elsewhere than `.venv`. Standard library only, and no syntax
that would keep an old Python from getting as far as being told that it is too old.
"""

import hashlib
import importlib.util
import os
import platform
import re
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
OLDEST = (3, 11)
STAMP = "greyproof-stamp.txt"  # in the environment: what was installed; empty until that is done
LAST_LINES = 20  # shown of pip's output when it fails: its cause stands above pip's closing notes


def ensure(extras: str = "") -> Path:
    """Return the environment's Python, once the project and ``extras`` ("" or "dev") are in it."""
    check_python()
    folder = home()
    if not is_current(folder, extras):
        try:
            create(folder)
            install(folder, extras)
        except OSError as problem:
            raise SystemExit(
                f"{folder}: no environment could be made there: {problem}. "
                "GREYPROOF_VENV can name another folder."
            ) from problem
    return program(folder, "python")


def home() -> Path:
    """Return the environment's folder."""
    elsewhere = os.environ.get("GREYPROOF_VENV")
    return Path(elsewhere).expanduser().absolute() if elsewhere else ROOT / ".venv"


def program(folder: Path, name: str) -> Path:
    """Return the path of a program of the environment in ``folder``."""
    return folder / "Scripts" / f"{name}.exe" if os.name == "nt" else folder / "bin" / name


def check_python() -> None:
    """Stop, saying why, where this Python cannot make the environment."""
    this = f"this is {platform.python_version()} ({sys.executable})"
    if sys.version_info[:2] < OLDEST:
        needed = ".".join(map(str, OLDEST))
        raise SystemExit(f"greyproof needs Python {needed} or newer; {this}.")
    missing = [name for name in ("venv", "ensurepip") if importlib.util.find_spec(name) is None]
    if missing:
        raise SystemExit(
            f"Python lacks its module {' and '.join(missing)}; {this}. On Debian and Ubuntu: "
            "apt-get install python3-venv. Elsewhere Python brings it: install Python again."
        )


def fingerprint() -> str:
    """Return a hash of all that an installation depends on: a change of any of it asks for another.

    The folder of the project is part of it, since the installation points there.
    """
    parts = [(ROOT / "pyproject.toml").read_bytes(), platform.python_version(), ROOT]
    return hashlib.sha256(repr(parts).encode()).hexdigest()


def is_current(folder: Path, extras: str) -> bool:
    """Whether a complete installation stands in ``folder``; one with extras serves without too."""
    stamp = folder / STAMP
    if not (stamp.is_file() and program(folder, "python").exists()):
        return False
    installed = stamp.read_text(encoding="utf-8")
    return installed.startswith(f"{fingerprint()} ") and installed.endswith(extras)


def create(folder: Path) -> None:
    """Make an empty environment, or keep one of this Python; clear only what was made here."""
    stamp = folder / STAMP
    usable = is_of_this_python(folder)
    occupied = folder.exists() and not (folder.is_dir() and next(folder.iterdir(), None) is None)
    if occupied and not usable and not stamp.exists():
        raise SystemExit(
            f"{folder} is in the way: it is no environment of Python {platform.python_version()}, "
            "and not made by this script. Move it away, or name another folder in GREYPROOF_VENV."
        )
    # The empty stamp says whose folder this is before there is anything to clear.
    folder.mkdir(parents=True, exist_ok=True)
    stamp.write_text("", encoding="utf-8")
    clear = ["--clear"] if occupied and not usable else []
    run_quietly([sys.executable, "-m", "venv", *clear, str(folder)], "making the environment")


def is_of_this_python(folder: Path) -> bool:
    """Whether ``folder`` holds an environment of this minor release with its Python in place."""
    settings = folder / "pyvenv.cfg"
    if not (settings.is_file() and program(folder, "python").exists()):
        return False
    made_with = re.search(
        r"^version(?:_info)? = (\d+)\.(\d+)", settings.read_text(encoding="utf-8"), re.MULTILINE
    )
    return made_with is not None and tuple(map(int, made_with.groups())) == sys.version_info[:2]


def install(folder: Path, extras: str) -> None:
    """Install the project, editable, with its dependencies; stamp the environment when done."""
    print(f"Installing into {folder} (needed once; takes a minute or two) ...", flush=True)
    options = ["--quiet", "--no-input", "--disable-pip-version-check", "--editable"]
    what = f".[{extras}]" if extras else "."
    python = str(program(folder, "python"))
    run_quietly([python, "-m", "pip", "install", *options, what], "installing the dependencies")
    (folder / STAMP).write_text(f"{fingerprint()} {extras}", encoding="utf-8")


def run_quietly(command: "list[str]", doing: str) -> None:
    """Run ``command`` in the project's folder; stop with its last lines when it fails."""
    done = subprocess.run(
        command,
        cwd=ROOT,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        encoding="utf-8",
        errors="replace",
        check=False,
    )
    if done.returncode:
        tail = "\n".join(done.stdout.rstrip().splitlines()[-LAST_LINES:])
        raise SystemExit(
            f"{tail}\n\nStopped while {doing}; the last lines of the output are above. "
            "The first run needs the network. Run this again when that is mended."
        )


if __name__ == "__main__":
    if sys.argv[1:] not in ([], ["dev"]):
        raise SystemExit("usage: python3 scripts/environment.py [dev]")
    print(ensure(*sys.argv[1:]))
