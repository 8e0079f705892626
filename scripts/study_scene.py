"""How true the change of light by scene is: simulated sets without a card, with a known truth.

    python3 scripts/study_scene.py [--sets N] [--seed N] [--part NAME]

Run it in the project's environment. tiles: tiles drawn one by one, 40 % of them off to one side,
to both, or by a little; 10 N times for each row of figures. rendered: N painted sets with products
that are moved, replaced or turned, three frames each against the first. nudged: the same, from a
camera that moves by a few pixels. one-sided: N sets of which one side changes by a little.
stretches: N/4 shoots in which the set changes, is put back, and the camera moves. The exit status
is 0 when all that is wanted is reached.

What judges sees files and tiles; the truth stays here.
"""

import argparse
import sys
import tempfile
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from simulated_scenes import (
    SIZES,
    any_product,
    any_set,
    any_setting,
    dimmed_part,
    nudged,
    series,
    sloped,
    take,
    with_products,
)

from verify.frames.open import open_frame
from verify.scene.change import change_between
from verify.scene.mode import mode_of
from verify.scene.records import Change, Tiles
from verify.scene.stretches import Shown, stretches_of
from verify.scene.tiles import tiles_of

WITHIN, WANTED = 0.02, 0.95  # stop; share of the frames
WANTED_STRETCHES = 0.9  # share of the shoots that are told apart without a fault
COUNT, CHANGED = 384, 0.4  # tiles; of them
SCATTERS = ((0.02, 0.003), (0.02, 0.02), (0.005, 0.003))  # of unchanged tiles; their u [stop]
LARGE = (0.15, 0.3, 1.0)  # stop
SMALL = (0.01, 0.02, 0.03, 0.05, 0.07, 0.09, 0.12)  # stop
LARGE_KINDS = ("one side", "one side, spread", "both sides")
NUDGE_PX = 2.5
FRAMES = 4  # of a set
SHARES, STOPS = (0.15, 0.42), (0.02, 0.14)  # of a side that changes a little

Values = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Tried:
    """A change that was found, and the true one."""

    name: str
    stops: float  # true
    change: Change

    @property
    def error(self) -> float:
        """What was found less what is true; infinite where nothing was."""
        return np.inf if self.change.stops is None else self.change.stops - self.stops

    @property
    def right(self) -> bool:
        """Whether it is true within what is wanted."""
        return abs(self.error) <= WITHIN

    @property
    def covered(self) -> bool:
        """Whether its uncertainty holds the truth, or a warning stands by it."""
        return bool(self.change.warnings) or abs(self.error) <= (self.change.u_stops or 0.0)


def tiles_at(path: Path) -> Tiles:
    """The tiles of a file."""
    with open_frame(path) as frame:
        return tiles_of(frame)


def drawn(kind: str, size: float, scatter: float, u: float, rng: np.random.Generator) -> Values:
    """Changes of tiles, the true one 0, and their u: (2, tiles)."""
    own = u * np.exp(rng.normal(0, 0.4, COUNT))
    values = rng.normal(0, scatter, COUNT) + rng.normal(0, 1, COUNT) * own
    off = np.arange(COUNT) < CHANGED * COUNT
    side = rng.choice([-1, 1], COUNT) if kind == "both sides" else rng.choice([-1, 1])
    by = size if kind == "one side" else rng.uniform(size, size + 1.2, COUNT)
    return np.stack([values + off * side * by, own])


def tiles(given: argparse.Namespace, _: Path) -> bool:
    """Print how true the mode of drawn tiles is."""
    rng = np.random.default_rng([given.seed, 1])
    reached = []
    rows = [(kind, size) for kind in LARGE_KINDS for size in LARGE]
    rows += [("one side", size) for size in SMALL]
    for scatter, u in SCATTERS:
        print(f"  scatter {scatter}, u {u} stop")
        for kind, size in rows:
            modes = [mode_of(*drawn(kind, size, scatter, u, rng)) for _ in range(10 * given.sets)]
            errors = np.abs([mode.value for mode in modes])
            inside = errors <= [mode.u for mode in modes]
            large = size >= LARGE[0]
            share = float((errors <= WITHIN if large else inside).mean())
            said = f"within {WITHIN}" if large else "inside u"
            u_stops = np.median([mode.u for mode in modes])
            print(
                f"    {kind}, {size:g}: {said} {share:.1%}, 95 % within "
                f"{np.quantile(errors, 0.95):.4f}, u {u_stops:.4f}"
            )
            reached.append(share >= WANTED)
    return all(reached)


def judged(frames: Sequence[Tried], what: str, good: Callable[[Tried], bool]) -> bool:
    """Print how many frames are good, and name the others; return whether they are enough."""
    bad = [frame for frame in frames if not good(frame)]
    share = 1 - len(bad) / len(frames)
    errors = np.abs([frame.error for frame in frames])
    u = np.median([frame.change.u_stops or np.nan for frame in frames])
    middle, high = np.quantile(errors, (0.5, 0.95))
    print(
        f"  {what}: {share:.1%} of {len(frames)}, wanted {WANTED:.0%}; half within {middle:.4f} "
        f"stop, 95 % within {high:.4f}, u {u:.4f}"
    )
    said = Counter(name for frame in frames for name in frame.change.warnings)
    print(f"    a majority in {sum(frame.change.majority for frame in frames)}; {dict(said)}")
    for frame in bad:
        print(f"    {frame.name}: {frame.error:+.3f}, u {frame.change.u_stops}, "
              f"agreed {frame.change.agreed_share}, {frame.change.why}")  # fmt: skip
    return share >= WANTED


def photographed(given: argparse.Namespace, folder: Path, nudge_px: float) -> list[Tried]:
    """Every frame but the first of each set, against that."""
    found = []
    for number in range(given.sets):
        taken = series(folder, given.seed, number, FRAMES, nudge_px)
        shown = [tiles_at(frame.path) for frame in taken]
        for at in range(1, FRAMES):
            change = change_between(shown[0], shown[at])
            found.append(Tried(f"{number}.{at}", taken[at].stops, change))
        for frame in taken:
            frame.path.unlink()
    return found


def rendered(given: argparse.Namespace, folder: Path) -> bool:
    """Print how true changes are where products were moved, replaced or turned."""
    frames = photographed(given, folder, 0.0)
    covered = judged(frames, "inside u or warned", lambda f: f.covered)
    return judged(frames, f"within {WITHIN}", lambda f: f.right) and covered


def from_nudged(given: argparse.Namespace, folder: Path) -> bool:
    """Print the same, of a camera that moves a little."""
    frames = photographed(given, folder, NUDGE_PX)
    return judged(frames, f"within {WITHIN}", lambda f: f.right)


def one_sided(given: argparse.Namespace, folder: Path) -> bool:
    """Print whether small changes of one side lie inside u, or a warning is given."""
    frames = []
    for number in range(given.sets):
        rng = np.random.default_rng([given.seed, number, 12])
        light = any_set(given.seed, number, SIZES[int(rng.integers(len(SIZES)))])
        setting, base = any_setting(rng), float(rng.uniform(-1.2, 0.0))
        stops = float(rng.uniform(-1, 0.5))
        by = float(rng.uniform(*STOPS) * rng.choice([-1, 1]))
        own = dimmed_part(light, by, float(rng.uniform(*SHARES)), rng)
        first = tiles_at(take(folder / "a.dng", light, setting, base, rng))
        second = tiles_at(take(folder / "b.dng", own, setting, base + stops, rng))
        frames.append(Tried(f"{number}, by {by:+.3f}", stops, change_between(first, second)))
    return judged(frames, "inside u or warned", lambda f: f.covered)


def stretches(given: argparse.Namespace, folder: Path) -> bool:
    """Print whether sets are told apart, and a light that is missing is no other set."""
    wanted = [0, 0, 0, 0, 1, 1, 0, 2]
    whole = 0
    count = max(1, given.sets // 4)
    for number in range(count):
        rng = np.random.default_rng([given.seed, number, 13])
        size = SIZES[int(rng.integers(len(SIZES)))]
        one, other = (
            with_products(any_set(given.seed, 2 * number + n, size), [any_product(rng)])
            for n in range(2)
        )
        missing = sloped(one, float(rng.uniform(0.5, 1.5)), float(rng.uniform(0, 6.3)))
        far = nudged(one, 0.13 * size[0], 0.08 * size[1])
        dark = one * np.float32(1e-5)
        setting = any_setting(rng)
        lights = (one, one, missing, dark, other, other, one, far)
        shown = [
            Shown(tiles_at(take(folder / "s.dng", light, setting, -0.5 + 0.1 * n, rng)))
            for n, light in enumerate(lights)
        ]
        told = stretches_of(shown)
        found = [frame.stretch for frame in told]
        last = told[-1].change
        if last is not None and "scene-moved" in last.warnings:
            found[-1] = wanted[-1]  # seen before a plain backdrop: a doubt will do
        whole += found == wanted
        if found != wanted:
            print(f"    {number}: {found}")
    print(f"  stretches right: {whole} of {count}, wanted {WANTED_STRETCHES:.0%}")
    return bool(whole >= WANTED_STRETCHES * count)


Part = Callable[[argparse.Namespace, Path], bool]
PARTS: dict[str, Part] = {
    "tiles": tiles,
    "rendered": rendered,
    "nudged": from_nudged,
    "one-sided": one_sided,
    "stretches": stretches,
}


def main(arguments: Sequence[str] | None = None) -> int:
    """Print the figures of each part."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--sets", type=int, default=40, help="painted sets of each part")
    parser.add_argument("--seed", type=int, default=1, help="another seed draws other sets")
    parser.add_argument("--part", choices=PARTS, help="this part alone")
    given = parser.parse_args(arguments)
    reached = []
    with tempfile.TemporaryDirectory() as folder:
        for name, part in PARTS.items():
            if given.part in (None, name):
                print(f"\n{name}")
                reached.append(part(given, Path(folder)))
    print(f"\n{'' if all(reached) else 'not '}all that is wanted is reached")
    return 0 if all(reached) else 1


if __name__ == "__main__":
    sys.exit(main())
