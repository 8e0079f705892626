"""Give the command thousands of damaged frames, plans and names; each must end well.

    python3 scripts/fuzz.py [--cases 20000] [--seed 1] [--jobs 1]
    python3 scripts/fuzz.py --seed 1 --case 417          one case again, with all that it says

Run it in the project's environment. Every case follows from the seed and its number alone. A case
in a hundred goes through the command as a person starts it ("command"), and so does each that took
its process down: a decoder is native code, and the command must bear its death ("died"). The exit
status is 1 where anything is found.
"""

import argparse
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import replace
from functools import partial
from pathlib import Path

from fuzzing.cases import KINDS, Maker
from fuzzing.inputs import real_inputs, simulated_inputs, test_image_inputs
from fuzzing.oracle import Oracle
from fuzzing.runs import Runner, Told, run_as_command, run_here, stack_of

from verify.workers import Limits, Lost, Workers

PATIENCE_S = 60.0  # for a case on a busy machine; of processor time it may take less
LIMIT_BYTES = 600_000_000  # that a case may take beside its process; most files are below 100 kB
DIED = "its decoder died"  # begins what workers say of a process that ended by itself
AS_COMMAND = 100  # one case in so many goes through the command itself
SLOW_S = 1.5  # of processor time; not a fault, but told of


def main() -> int:
    """Run the cases that were asked for; the exit status."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--cases", type=int, default=20_000, help="how many")
    parser.add_argument("--first", type=int, default=0, help="number of the first")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--case", type=int, help="run this one alone, and show all of it")
    parser.add_argument("--jobs", type=int, default=1, help="processes at a time")
    parser.add_argument("--keep", type=Path, help="folder for the files of cases with faults")
    wanted = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="fuzz-") as place:
        maker = maker_of(wanted.seed, Path(place) / "inputs")
        if wanted.case is not None:
            return replay(maker, wanted.case, Path(place))
        numbers = range(wanted.first, wanted.first + wanted.cases)
        told = run_all(maker, numbers, wanted.jobs, Path(place), wanted.keep)
        return report(told, wanted.seed)


def maker_of(seed: int, folder: Path) -> Maker:
    """The maker of a run's cases; simulated inputs are written to a folder."""
    inputs = [*test_image_inputs(), *simulated_inputs(folder)]
    return Maker(seed, inputs, real_inputs())


def run_all(
    maker: Maker, numbers: Iterable[int], jobs: int, place: Path, keep: Path | None = None
) -> Iterator[Told]:
    """Run cases in watched processes, in order; and some through the command."""
    room = place / "cases"
    room.mkdir(exist_ok=True)
    make = partial(Runner, maker, room, keep)
    with Workers[int, Told](make, jobs, lambda _: Limits(PATIENCE_S, LIMIT_BYTES)) as workers:
        for number, told in zip(numbers, workers.run(numbers, lambda *_: None), strict=True):
            if isinstance(told, Lost):
                yield lost(maker, number, told, stack_of(number, room))
                continue
            yield told
            if number % AS_COMMAND == 0 and told.kind:
                yield as_command(maker, number)


def as_command(maker: Maker, number: int) -> Told:
    """Run a case as a person does."""
    with tempfile.TemporaryDirectory(prefix="fuzz-") as place:
        folder = Path(place) / "case"
        folder.mkdir()
        case = maker.case(number, folder)
        assert case is not None
        try:
            outcome = run_as_command(case, Path(place))
        except subprocess.TimeoutExpired:
            return Told(number, "command", case.what, -1, faults=("the command does not end",))
    return Told(
        number, "command", case.what, outcome.status, faults=tuple(Oracle().faults(case, outcome))
    )


def lost(maker: Maker, number: int, gone: Lost, stack: Path) -> Told:
    """What to say of a case whose process is gone.

    A decoder that dies is no fault where the command bears it. A run that takes too long or too
    much is: the command would stop it, but nothing has to take that long. Where it was is told.
    """
    told = as_command(maker, number)
    if gone.reason.startswith(DIED):
        return replace(told, kind="died")
    where = stack.read_text() if stack.exists() else ""
    calls = [line.strip() for line in where.splitlines() if line.startswith("  File")]
    reason = f"{gone.reason.removeprefix('its decoder ')} {' < '.join(calls[:4])}"
    return replace(told, kind="lost", faults=(f"lost: {reason}", *told.faults))


def replay(maker: Maker, number: int, place: Path) -> int:
    """Run one case in this process and show what it says."""
    folder = place / "case"
    folder.mkdir()
    case = maker.case(number, folder)
    if case is None:
        print(f"case {number}: its input, a file of a real camera, is not here")
        return 0
    print(
        f"case {number}, {case.kind}: {case.what}\ngreyproof {' '.join(map(ascii, case.arguments))}"
    )
    outcome = run_here(case, place)
    print(f"exit status {outcome.status} after {outcome.seconds:.1f} s")
    for data in (outcome.out, outcome.err):
        sys.stdout.write(data.decode("utf-8", "backslashreplace"))
    runner = Runner(maker, place)
    faults = runner(number).faults
    for fault in faults:
        print(f"fault: {fault}")
    return int(bool(faults))


def report(told: Iterable[Told], seed: int) -> int:
    """Print faults as they come, and the figures at the end; the exit status."""
    counts: Counter[str] = Counter()
    statuses: Counter[tuple[str, int]] = Counter()
    faulty = 0
    for one in told:
        kind = one.kind or "input not here"
        counts[kind] += 1
        counts["signal compared"] += one.compared
        statuses[kind, one.status] += 1
        if one.seconds > SLOW_S:
            print(f"slow: case {one.number} took {one.seconds:.1f} s of processor time: {one.what}")
        if one.faults:
            faulty += 1
            print(f"case {one.number}, {kind}: {one.what}")
            print("".join(f"    {fault}\n" for fault in one.faults), end="")
            print(
                f"    again: python3 scripts/fuzz.py --seed {seed} --case {one.number}", flush=True
            )
    for kind in (*KINDS, "command", "died", "lost", "input not here"):
        told_of = ", ".join(
            f"{n} with status {s}" for (k, s), n in sorted(statuses.items()) if k == kind
        )
        print(f"{kind}: {counts[kind]} ({told_of or 'none'})")
    print(f"signal held against that of the undamaged file: {counts['signal compared']}")
    print(f"cases with faults: {faulty}")
    return int(faulty > 0)


if __name__ == "__main__":
    sys.exit(main())
