"""A first look: writes a small shoot of RAW frames with a known truth, and checks it.

    python3 scripts/demo.py

The frames go to `demo-shoot`, anew on every run, unless something is in it that the demo did not
write.
"""

import hashlib
import json
import shutil
import subprocess
from pathlib import Path

import environment

FOLDER = environment.ROOT / "demo-shoot"
LIST = ".written-by-the-demo.json"  # in the folder: its files and their hashes
NOT_LISTED = {LIST, ".DS_Store", "Thumbs.db"}  # looking into the folder leaves the last two
SOME_UNMEASURED = 3  # exit status of a check in which a frame could not be measured


def main() -> int:
    """Write the demo shoot, check it, say what to make of it; return the exit status."""
    python = environment.ensure()
    greyproof = str(environment.program(python.parent.parent, "greyproof"))
    remove_own(FOLDER)
    try:
        subprocess.run([greyproof, "demo", str(FOLDER)], check=True)
    except subprocess.CalledProcessError as stopped:
        return stopped.returncode
    finally:
        list_own(FOLDER)
    check = [greyproof, "check", str(FOLDER / "plan.toml"), str(FOLDER)]
    status = subprocess.run(check, check=False).returncode
    if status != SOME_UNMEASURED:
        print(f"The check ended with status {status}; on the demo shoot it should be 3.")
        return status or 1
    next_try = [*check, "--reading", "f/16"]
    print(
        f"\nThe frames are in {FOLDER}. Some are bad on purpose; one cannot be measured at all: "
        "for that one, `greyproof check` by itself ends with status 3.\n"
        "To see what the same frames say when the meter had shown f/16:\n  "
        + " ".join(f'"{word}"' if " " in word else word for word in next_try)
    )
    return 0


def hashes(folder: Path) -> "dict[str, str]":
    """Return the files in ``folder`` with their hashes; a link has none, as the demo makes none."""
    found = {}
    for path in sorted(folder.rglob("*")):
        name = path.relative_to(folder).as_posix()
        if path.is_symlink():
            found[name] = ""
        elif path.is_file() and path.name not in NOT_LISTED:
            found[name] = hashlib.sha256(path.read_bytes()).hexdigest()
    return found


def list_own(folder: Path) -> None:
    """Note what the demo wrote, so that the next run knows its own files."""
    if folder.is_dir():
        (folder / LIST).write_text(json.dumps(hashes(folder), indent=1), encoding="utf-8")


def remove_own(folder: Path) -> None:
    """Delete the shoot of an earlier run; stop where ``folder`` holds anything else."""
    if not folder.exists() and not folder.is_symlink():
        return
    other = [str(folder)] if folder.is_symlink() or not folder.is_dir() else not_own(folder)
    if other:
        raise SystemExit(
            f"{folder} holds what the demo did not write ({other[0]}); nothing was deleted. "
            "Move it away and run this again."
        )
    shutil.rmtree(folder)


def not_own(folder: Path) -> "list[str]":
    """Return the files in ``folder`` that are not as the demo wrote them."""
    listed = folder / LIST
    own = json.loads(listed.read_text(encoding="utf-8")) if listed.is_file() else {}
    return [name for name, digest in hashes(folder).items() if own.get(name) != digest]


if __name__ == "__main__":
    raise SystemExit(main())
