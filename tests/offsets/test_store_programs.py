"""Programs that write to one store at once, and programs that are killed while they write."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from saved_offsets import STUDIO, studio
from saving_program import PERMIT_BYTES

from verify.offsets.store import OffsetStore

PROGRAM = Path(__file__).with_name("saving_program.py")
# Changes pages until they no longer fit in the cache and go to the file before the end of the
# transaction, then waits to be killed.
HALF_WRITTEN = """\
import sqlite3, sys
store = sqlite3.connect(sys.argv[1], isolation_level=None)
store.execute("PRAGMA cache_size = 1")
store.execute("PRAGMA cache_spill = 1")
store.execute("BEGIN IMMEDIATE")
store.execute("UPDATE offset SET record = 'half', sha256 = name")
for number in range(300):
    store.execute("INSERT INTO offset VALUES (?, 'half', '')", (f"half {number}" * 30,))
print("half", flush=True)
sys.stdin.readline()
"""


def started(project_root: Path, *args: str) -> "subprocess.Popen[str]":
    """A program of Python that has said it is there."""
    folders = [str(project_root), str(project_root / "tests"), os.environ.get("PYTHONPATH", "")]
    program = subprocess.Popen(
        [sys.executable, *args],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, folders))},
    )
    assert program.stdout is not None
    assert program.stdout.readline().strip() in {"ready", "half"}
    return program


def go(program: "subprocess.Popen[str]") -> None:
    """Let a program that waits for a line go on."""
    assert program.stdin is not None
    program.stdin.write("go\n")
    program.stdin.flush()


def test_two_programs_at_once_lose_nothing_nor_in_making_the_store(
    project_root: Path, tmp_path: Path
) -> None:
    path = tmp_path / "new" / "offsets.sqlite3"
    programs = [started(project_root, str(PROGRAM), str(path), who, "50") for who in "ab"]
    for program in programs:
        go(program)
    said = [program.communicate(timeout=120)[0].splitlines() for program in programs]
    assert said == [[f"{who} {number}" for number in range(50)] for who in "ab"]
    names = {offset.name for offset in OffsetStore(path).all()}
    assert names == {f"{who} {number}" for who in "ab" for number in range(50)}
    assert [file.name for file in path.parent.iterdir()] == ["offsets.sqlite3"]


@pytest.mark.parametrize("after", [0, 1, 7])
def test_a_program_killed_while_it_saves_loses_nothing_that_it_had_saved(
    project_root: Path, tmp_path: Path, after: int
) -> None:
    store = OffsetStore(tmp_path / "offsets.sqlite3")
    store.save(STUDIO)
    program = started(project_root, str(PROGRAM), str(store.path), "mine", "100000")
    go(program)
    assert program.stdout is not None
    said = [program.stdout.readline() for _ in range(after)]
    program.kill()
    said += program.communicate(timeout=120)[0].splitlines(keepends=True)
    told = {line.rstrip("\n") for line in said if line.endswith("\n")}
    assert len(told) >= after
    names = {offset.name for offset in store.all()}
    assert {"studio A"} | told <= names
    assert len(names - told) <= 2  # the studio's, and one that was saved and not yet said
    store.save(studio("studio B"))
    assert store.get("studio B") == studio("studio B")


@pytest.mark.parametrize("first", ["read", "write"])
def test_what_a_killed_program_left_half_written_is_taken_back(
    project_root: Path, tmp_path: Path, first: str
) -> None:
    store = OffsetStore(tmp_path / "offsets.sqlite3")
    kept = tuple(studio(f"studio {number:02}") for number in range(20))
    store.save_all(kept)
    before = store.path.read_bytes()
    program = started(project_root, "-c", HALF_WRITTEN, str(store.path))
    program.kill()
    program.communicate(timeout=120)
    assert store.path.with_name("offsets.sqlite3-journal").stat().st_size > 0
    assert store.path.read_bytes() != before
    if first == "write":
        store.save(studio("studio 99"))
        kept += (studio("studio 99"),)
    assert store.all() == kept
    assert [file.name for file in tmp_path.iterdir()] == ["offsets.sqlite3"]


def test_a_disk_that_takes_no_more_is_told_in_one_line_and_keeps_what_was_saved(
    project_root: Path, tmp_path: Path
) -> None:
    pytest.importorskip("resource", reason="this system cannot be told to limit a file's size")
    path = tmp_path / "offsets.sqlite3"
    program = started(project_root, str(PROGRAM), str(path), "mine", "1000", "limited")
    go(program)
    *names, refusal = program.communicate(timeout=120)[0].splitlines()
    assert names
    assert refusal.startswith(f"refused: {path}: the system cannot read or write the store")
    assert refusal.endswith("what was saved before is kept")
    assert {offset.name for offset in OffsetStore(path).all()} == set(names)
    assert path.stat().st_size <= PERMIT_BYTES
