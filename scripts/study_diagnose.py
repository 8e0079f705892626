"""Whether causes are told: simulated shoots with a known cause of what moves their light.

    python3 scripts/study_diagnose.py [--shoots N] [--seed N] [--part NAME] [--frames N]

Run it in the project's environment. Of the N shoots two fifths have one cause, two fifths two, and
one fifth none. causes: the main cause first, both of two among the first three, steady called
steady; frames that lost a lamp or a pop; the place of a step; the shortest gap. time: a series of
many frames. The exit status is 0 when all that is wanted is reached.
"""

import argparse
import sys
import time
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from simulated_shoots import PAIRS, SINGLES, TOLERANCE, Truth, drawn, long_shoot

from verify.diagnose.diagnosis import diagnose
from verify.diagnose.records import Diagnosis, Seen

MAIN, BOTH, STEADY = 0.95, 0.85, 0.95  # of the shoots
FOUND, RIGHT = 0.95, 0.95  # recall and precision of lost frames
PLACED, GAP_RIGHT, GAP_HELD = 0.95, 0.95, 0.95
GAP_OFF = 0.2  # of the shortest gap
MORE_RECHARGING = 4  # one more for so many shoots, for the shortest gap alone
LARGE_LOSS = 10.0  # times the scatter
MANY, LONGEST_S = 10_000, 10.0
GROWTH = 1.6  # of the time for twice the frames, over what n log n asks


@dataclass(frozen=True, slots=True, eq=False)
class Tried:
    """A shoot that was judged."""

    number: int
    frames: list[Seen]
    truth: Truth
    said: Diagnosis

    @property
    def causes(self) -> list[str]:
        """The causes that were named, in their order."""
        return [finding.cause for finding in self.said.findings]


def shoots(count: int) -> Iterator[tuple[int, tuple[str, ...]]]:
    """Number of each shoot, and its causes."""
    for number in range(count):
        turn, at = number % 5, number // 5
        if turn == 4:
            yield number, ()
        elif turn < 2:
            yield number, (SINGLES[(2 * at + turn) % len(SINGLES)],)
        else:
            yield number, PAIRS[(2 * at + turn - 2) % len(PAIRS)]


def tried(count: int, seed: int) -> list[Tried]:
    """Every shoot judged: the judge gets the frames, and nothing of the truth."""
    out = []
    for number, causes in shoots(count):
        frames, truth = drawn(np.random.default_rng([seed, number]), causes)
        out.append(Tried(number, frames, truth, diagnose(frames, TOLERANCE)))
    return out


def recharging(given: argparse.Namespace) -> list[Tried]:
    """More shoots with a recharge alone, for a share of those with small losses to mean much."""
    out = []
    for number in range(given.shoots // MORE_RECHARGING):
        frames, truth = drawn(np.random.default_rng([given.seed, 1, number]), ("recycle",))
        out.append(Tried(number, frames, truth, diagnose(frames, TOLERANCE)))
    return out


def wanted(said: str, hits: int, of: int, least: float) -> bool:
    """Print a share beside what is wanted; return whether it is reached."""
    share = hits / of if of else 1.0
    reached = share >= least
    print(f"  {said}: {100 * share:.1f}% ({hits} of {of}), at least {100 * least:.0f}% wanted: "
          f"{'reached' if reached else 'NOT reached'}")  # fmt: skip
    return reached


def causes_part(given: argparse.Namespace) -> bool:
    """All of what is told of a shoot."""
    all_ = tried(given.shoots, given.seed)
    singles = [t for t in all_ if len(t.truth.causes) == 1]
    pairs = [t for t in all_ if len(t.truth.causes) == 2]
    steady = [t for t in all_ if not t.truth.causes]
    reached = [_singles(singles, given.verbose), _pairs(pairs, given.verbose)]
    called = [t for t in steady if t.causes == ["steady"]]
    reached.append(wanted("steady called steady", len(called), len(steady), STEADY))
    if given.verbose:
        for one in steady:
            if one not in called:
                print(f"    {one.number}: {one.causes} {one.said.findings[0].evidence}")
    return all([*reached, _lost(all_), _steps(all_), _gaps([*all_, *recharging(given)])])


def _singles(singles: Sequence[Tried], verbose: bool) -> bool:
    by_cause: dict[str, list[bool]] = defaultdict(list)
    for one in singles:
        right = one.causes[0] == one.truth.causes[0]
        by_cause[one.truth.causes[0]].append(right)
        if not right and verbose:
            print(f"    {one.number}: {one.truth.causes} told as {one.causes}, "
                  f"{len(one.frames)} frames, scatter {one.truth.scatter:.3f}")  # fmt: skip
    for cause, rights in by_cause.items():
        print(f"    {cause}: {sum(rights)} of {len(rights)}")
    every = [right for rights in by_cause.values() for right in rights]
    return wanted("main cause first", sum(every), len(every), MAIN)


def _pairs(pairs: Sequence[Tried], verbose: bool) -> bool:
    right = [set(one.truth.causes) <= set(one.causes[:3]) for one in pairs]
    if verbose:
        for one, good in zip(pairs, right, strict=True):
            if not good:
                print(f"    {one.number}: {one.truth.causes} told as {one.causes}, "
                      f"{len(one.frames)} frames, scatter {one.truth.scatter:.3f}")  # fmt: skip
    return wanted("both causes among the first three", sum(right), len(right), BOTH)


def _lost(all_: Sequence[Tried]) -> bool:
    hits = said_count = true_count = 0
    for one in all_:
        if not one.truth.lost:
            continue
        names = {frame.file: at for at, frame in enumerate(one.frames)}
        said = {
            names[file]
            for finding in one.said.findings
            if finding.cause in ("lamp-missing", "pop-missing")
            for file in finding.frames
        }
        hits += len(said & one.truth.lost)
        said_count += len(said)
        true_count += len(one.truth.lost)
    recall = wanted("lost frames that are found", hits, true_count, FOUND)
    return wanted("frames found that are lost ones", hits, said_count, RIGHT) and recall


def _steps(all_: Sequence[Tried]) -> bool:
    placed = [
        any(
            f.cause == "step" and abs(_place(one, f.detail["begins"]) - one.truth.step_at) <= 1
            for f in one.said.findings
        )
        for one in all_
        if one.truth.step_at is not None
    ]
    return wanted("step placed within one frame", sum(placed), len(placed), PLACED)


def _place(one: Tried, name: str) -> int:
    return next(at for at, frame in enumerate(one.frames) if str(frame.file) == name)


def _gaps(all_: Sequence[Tried]) -> bool:
    right, held = [], []
    for one in all_:
        true = one.truth.shortest_gap_s
        if true is None:
            continue
        found = next((f for f in one.said.findings if f.cause == "recycle"), None)
        if one.truth.largest_loss >= LARGE_LOSS * one.truth.scatter:
            gap = found.detail["shortest_gap_s"] if found else 0.0
            right.append(abs(gap / true - 1) <= GAP_OFF)
        elif found:
            low, high = found.detail["shortest_gap_interval_s"]
            held.append(low <= true and (high is None or true <= high))
    large = wanted("shortest gap within 20%, large losses", sum(right), len(right), GAP_RIGHT)
    return wanted("interval holds it, small losses", sum(held), len(held), GAP_HELD) and large


def time_part(given: argparse.Namespace) -> bool:
    """Seconds for many frames, and how they grow."""
    spent = []
    for count in (given.frames // 2, given.frames):
        frames = long_shoot(np.random.default_rng([given.seed, count]), count)
        began = time.perf_counter()
        said = diagnose(frames, TOLERANCE)
        spent.append(time.perf_counter() - began)
        named = ", ".join(finding.cause for finding in said.findings)
        print(f"  {count} frames: {spent[-1]:.1f} s ({named})")
    fast = spent[1] < LONGEST_S * given.frames / MANY
    print(f"  under {LONGEST_S:.0f} s for {MANY} frames: {'reached' if fast else 'NOT reached'}")
    slow = spent[1] / spent[0] / (2 * np.log(given.frames) / np.log(given.frames / 2))
    grows = slow < GROWTH
    print(f"  growth over n log n: {slow:.2f}, at most {GROWTH}: "
          f"{'reached' if grows else 'NOT reached'}")  # fmt: skip
    return fast and bool(grows)


PARTS = {"causes": causes_part, "time": time_part}


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the parts and say whether all that is wanted is reached."""
    assert __doc__ is not None
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--shoots", type=int, default=400)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--frames", type=int, default=MANY)
    parser.add_argument("--part", choices=PARTS, help="this part alone")
    parser.add_argument("--verbose", action="store_true", help="name the shoots that went wrong")
    given = parser.parse_args(arguments)
    print(f"{given.shoots} shoots, seed {given.seed}")
    chosen = [given.part] if given.part else list(PARTS)
    reached = [PARTS[part](given) for part in chosen]
    print(f"\n{'all' if all(reached) else 'not all'} that is wanted is reached")
    return 0 if all(reached) else 1


if __name__ == "__main__":
    sys.exit(main())
