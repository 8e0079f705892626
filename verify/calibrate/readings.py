"""A readings file, a row for each frame, to a plan whose set-ups name their frames."""

import os
import re
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import groupby
from pathlib import Path
from typing import Any

from verify.calibrate.cells import Row, read_rows, refuse
from verify.errors import PlanError, in_one_line
from verify.notation import PLAIN
from verify.plan.file import set_up_of
from verify.plan.load import load_tables
from verify.plan.records import Plan, Selection, SetUp

# The columns, and the section and key of a plan that each stands for.
FRAME = "frame"
NEEDED = (FRAME, "aperture")
PLACES = {
    **{
        name: ("reading", name)
        for name in (
            "aperture", "iso", "shutter", "light", "method", "receptor", "aimed", "pops",
            "correction", "meter", "step", "constant",
        )
    },
    "over": ("camera", "over"),
    "card": ("card", "name"),
}  # fmt: skip
COLUMNS = (
    FRAME, "aperture", "iso", "shutter", "light", "method", "receptor", "aimed", "pops", "over",
    "correction", "meter", "card", "step", "constant",
)  # fmt: skip
IN_COLUMN = {place: name for name, place in PLACES.items()}
WORDS = ("light", "method", "receptor", "aimed")  # spreadsheets begin them with a capital letter
NUMBERS = ("over", "correction", "constant")

WHOLE = re.compile(r"[0-9]{1,9}")
DECIMAL = re.compile(r"[+-]?\s*(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)")
FRACTION = re.compile(r"([+-]?)\s*(?:([0-9]+)\s+)?([0-9]+)/([1-9][0-9]*)")
AT_KEY = re.compile(r"\[(\w+)\] (\w+): ")  # as a mistake in a plan begins

CALIBRATION = "calibration"  # the framing of all set-ups: one card, shot again and again


@dataclass(frozen=True, slots=True)
class Readings:
    """Frames, and by which reading each was shot."""

    plan: Plan  # set-ups in the order of their first rows, each naming its frames
    files: tuple[Path, ...]  # frames to measure, in the order of the rows, each once
    lines: tuple[int, ...]  # of each: its line in the readings file
    reading_of: tuple[int, ...]  # of each: the number of its reading, from 0 on; see read_readings
    excluded: tuple[tuple[Path, str], ...]  # frames whose rows do not count, and why, in one line


@dataclass(frozen=True, slots=True)
class _Shot:
    """A row without a mistake."""

    line: int  # of the readings file
    file: Path
    setup: SetUp
    reading: int  # number of its reading among all rows


@dataclass(frozen=True, slots=True)
class _Mistake:
    """What is wrong with the values of a row."""

    text: str
    of_row: bool  # else of what all rows share: the plan, or what was typed


def read_readings(
    path: Path, plan_path: Path | None, typed: Mapping[str, Any] | None = None
) -> Readings:
    """Read a readings file.

    A row's cells stand over what the plan says; an empty cell, or no column, leaves the plan's
    value or the default. Rows of the same values share a set-up.

    Frames have the same number in ``reading_of`` when their rows follow one another and hold the
    same reading (all that the meter showed and was set to; ``over`` and ``card`` may differ): they
    are a bracket round that one reading. Blank lines and comments do not part them. The same
    values again, after other ones, are another reading: the meter was read anew.

    Parameters
    ----------
    path : the CSV file; paths of frames are relative to its folder.
    plan_path : a plan without set-ups, for what rows leave open; None: the defaults.
    typed : tables as in a plan that replace what the plan and the rows say.

    Raises
    ------
    PlanError
        One line a mistake: the file, the line, the column, what was found, what is allowed. A frame
        that is not there, or has two rows, is no mistake of the file: it is excluded, unless no
        frame is left.
    """
    where = in_one_line(str(path))
    maker = _maker(plan_path, typed or {})
    shots = _shots(path, where, read_rows(path, COLUMNS, NEEDED), maker)
    kept, excluded = _sorted_out(shots)
    if not kept:
        lines = [f"{in_one_line(str(file))}: {reason}" for _, file, reason in excluded]
        refuse(where, [f"{where}: no row is left that counts:", *lines])
    members: dict[SetUp, list[_Shot]] = defaultdict(list)
    for shot in kept:
        members[shot.setup].append(shot)
    setups = tuple(
        replace(
            setup,
            name=f"line {own[0].line}",
            selection=Selection(files=tuple(shot.file for shot in own)),
            framing=CALIBRATION,
        )
        for setup, own in members.items()
    )
    numbers = {reading: n for n, reading in enumerate(dict.fromkeys(s.reading for s in kept))}
    return Readings(
        plan=Plan(str(path), setups),
        files=tuple(shot.file for shot in kept),
        lines=tuple(shot.line for shot in kept),
        reading_of=tuple(numbers[shot.reading] for shot in kept),
        excluded=tuple((file, reason) for _, file, reason in excluded),
    )


@dataclass(frozen=True, slots=True)
class _Maker:
    """Makes set-ups of the cells of rows."""

    written: Mapping[str, Any]  # tables of the plan
    typed: Mapping[str, Any]  # tables that stand over all others
    folder: Path  # of the plan
    where: str  # what a mistake of the plan begins with
    made: dict[tuple[tuple[str, str], ...], SetUp | list[_Mistake]] = field(default_factory=dict)

    def set_up(self, row: Row) -> SetUp | list[_Mistake]:
        """The set-up of a row, or its mistakes; the same cells are read once."""
        cells = tuple((name, cell) for name, cell in row.cells.items() if cell and name != FRAME)
        if cells not in self.made:
            self.made[cells] = self._read(cells)
        return self.made[cells]

    def _read(self, cells: Sequence[tuple[str, str]]) -> SetUp | list[_Mistake]:
        """The set-up of the cells of a row, or its mistakes."""
        own: dict[str, dict[str, object]] = {}
        for name, cell in cells:
            section, key = PLACES[name]
            own.setdefault(section, {})[key] = _value(name, cell)
        layers = (self.written, own, self.typed)
        if not any("aperture" in tables.get("reading", {}) for tables in layers):
            return [_Mistake("aperture: it is needed, and this cell is empty", True)]
        try:
            return set_up_of(layers, self.folder)
        except PlanError as error:
            return [self._mistake(line, own) for line in str(error).splitlines()]

    def _mistake(self, text: str, own: Mapping[str, Mapping[str, object]]) -> _Mistake:
        """A mistake that the tables tell of, under its column where it is one of the row."""
        at = AT_KEY.match(text)
        if at is None:
            return _Mistake(text.removeprefix("[reading]: "), True)
        section, key = at.groups()
        typed = key in self.typed.get(section, {})
        if not typed and key in own.get(section, {}):
            return _Mistake(f"{IN_COLUMN[section, key]}: {text[at.end() :]}", True)
        # Sections other than this one are right by themselves: only the row can make them wrong.
        if section == "reading" and (typed or key in self.written.get(section, {})):
            return _Mistake(self.where + text, False)
        return _Mistake(text, True)


def _maker(plan_path: Path | None, typed: Mapping[str, Any]) -> _Maker:
    """What makes set-ups over a plan; all but its reading is checked here, once."""
    written: dict[str, Any] = {} if plan_path is None else load_tables(plan_path)
    where = "" if plan_path is None else f"{in_one_line(str(plan_path))}: "
    if "setup" in written:
        msg = (
            f"{where}[[setup]]: beside a readings file a plan has no set-ups: a row says what is "
            "different for its frame"
        )
        raise PlanError(msg)
    folder = Path() if plan_path is None else plan_path.parent
    set_up_of([_without_reading(written), _without_reading(typed)], folder, where)
    return _Maker(written, typed, folder, where)


def _without_reading(tables: Mapping[str, Any]) -> dict[str, Any]:
    """Tables but for [reading], which may lack what rows give; kept if it is no table at all."""
    return {
        name: table
        for name, table in tables.items()
        if name != "reading" or not isinstance(table, Mapping)
    }


def _value(column: str, cell: str) -> object:
    """A cell as a plan would hold it. What is no number stays text, and is refused as such."""
    if column in WORDS:
        return cell.lower()
    typed = cell.translate(PLAIN).strip()
    if column == "pops" and WHOLE.fullmatch(typed):
        return int(typed)
    if column in NUMBERS and DECIMAL.fullmatch(typed):
        return float(re.sub(r"\s", "", typed).replace(",", "."))
    if column in NUMBERS and (found := FRACTION.fullmatch(typed)):
        sign, whole, over, under = found.groups()
        stops = float(whole or 0) + float(over) / float(under)
        return -stops if sign == "-" else stops
    return cell


def _shots(path: Path, where: str, rows: Sequence[Row], maker: _Maker) -> list[_Shot]:
    """The rows with their set-ups. Raises PlanError with all mistakes that are in them."""
    mistakes: list[str] = []
    made: list[tuple[Row, SetUp]] = []
    for row in rows:
        here = f"{where} line {row.line}: "
        if row.problem is not None:
            mistakes.append(here + row.problem)
            continue
        if not row.cells[FRAME]:
            mistakes.append(f"{here}{FRAME}: it is needed, and this cell is empty")
        setup = maker.set_up(row)
        if isinstance(setup, SetUp):
            made.append((row, setup))
        else:
            mistakes += [here * mistake.of_row + mistake.text for mistake in setup]
    if mistakes:
        refuse(where, mistakes)
    runs = groupby(made, key=lambda row_made: row_made[1].reading)
    return [
        _Shot(row.line, path.parent / row.cells[FRAME], setup, number)
        for number, (_, run) in enumerate(runs)
        for row, setup in run
    ]


def _sorted_out(shots: Sequence[_Shot]) -> tuple[list[_Shot], list[tuple[int, Path, str]]]:
    """Rows that count, each frame once; and frames that do not: first line, path, reason."""
    kept, excluded = [], []
    for same in _by_frame(shots):
        first = same[0]
        reason = _missing(first.file)
        if reason is None and any(shot.setup != first.setup for shot in same):
            differ = any(shot.setup.reading != first.setup.reading for shot in same)
            what = "readings" if differ else "values of over or card"
            reason = f"it is listed {_times(same)}, with different {what}"
        elif reason is None:
            kept.append(first)
            if len(same) == 1:
                continue
            reason = f"it is listed {_times(same)} with the same values, and counted once"
        excluded.append((first.line, first.file, f"{reason} ({_lines(same)})"))
    return kept, excluded


def _by_frame(shots: Sequence[_Shot]) -> Iterator[list[_Shot]]:
    """The rows of each frame, however its path is written, in the order of its first one."""
    frames: dict[str, list[_Shot]] = defaultdict(list)
    for shot in shots:
        there = os.path.exists(shot.file)  # False for a name that no system takes
        frames[os.path.realpath(shot.file) if there else str(shot.file)].append(shot)
    yield from frames.values()


def _missing(file: Path) -> str | None:
    """Why there is no frame at a path; None: something is there."""
    if os.path.isdir(file):
        return "it is a folder, not a frame"
    return None if os.path.exists(file) else "there is no such file"


def _times(same: Sequence[_Shot]) -> str:
    """How often a frame is listed."""
    return "twice" if len(same) == 2 else f"{len(same)} times"


def _lines(same: Sequence[_Shot]) -> str:
    """The lines of rows, in words."""
    *others, last = (str(shot.line) for shot in same)
    return f"lines {', '.join(others)} and {last}" if others else f"line {last}"
