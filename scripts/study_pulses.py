"""How true durations of pulses are, and how honest their uncertainties: recordings of known light.

    python3 scripts/study_pulses.py [--draws N] [--seed N] [--part NAME]

Run it in the project's environment. N recordings of every shape, each at a phase and with noise of
its own; noise and baseline are estimated from what is dark. closed-form: the shapes of check-values
3.2 and 3.3, of which certain figures are wanted. others: shapes that nothing was tuned on.
sampling: coarser and finer recordings, more and less noise, more bits. The exit status is 0 when
all that is wanted is reached.
"""

import argparse
import math
import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from drawn_pulses import LEVELS, OTHERS, PULSES, Closed, Values, recorded

from verify.pulse.durations import durations_of

WANTED = 5  # levels, t.1 to t.5, whose errors are limited
MEDIAN, LARGE = 0.01, 0.025  # of the time: errors at the median, at 95 %; all shapes and levels
OWN_MEDIAN, OWN_LARGE = 0.015, 0.04  # the same, of any one shape and level
HONEST = (0.92, 0.98)  # of the errors within two uncertainties, at every level
OWN_HONEST = 0.85  # the same, of any one shape and level, at least


@dataclass(frozen=True, slots=True)
class Sampling:
    """How a pulse is recorded."""

    samples: tuple[float, float] = (45, 60)  # inside t.5
    noise: float = 0.01  # of the peak
    bits: int = 8


AS_WANTED = Sampling()
SAMPLINGS = (
    AS_WANTED,
    Sampling(samples=(28, 33)),
    Sampling(samples=(110, 130)),
    Sampling(noise=0.003),
    Sampling(noise=0.03),
    Sampling(bits=12),
    Sampling(noise=0.003, bits=12),
)


@dataclass(frozen=True, slots=True, eq=False)
class Tried:
    """Recordings of one shape: (draws, levels) each."""

    error: Values  # of the time; NaN where none was given
    over_u: Values  # errors in their uncertainties

    def sizes(self, share: float) -> Values:
        """Errors at a share of the draws, by level."""
        found: Values = np.quantile(np.abs(self.error), share, axis=0)
        return found

    def within(self, deviations: float) -> Values:
        """Share of the draws within so many uncertainties, by level."""
        found: Values = (np.abs(self.over_u) <= deviations).mean(0)
        return found


def tried(pulse: Closed, sampling: Sampling, draws: int, seed: Sequence[int]) -> Tried:
    """Measure recordings of a pulse; what measures sees samples alone."""
    rng = np.random.default_rng(seed)
    error, over_u = np.full((2, draws, len(LEVELS)), np.nan)
    for draw in range(draws):
        trace = recorded(pulse, rng.uniform(*sampling.samples), rng, sampling.noise, sampling.bits)
        found = durations_of(*trace)
        for at, level in enumerate(LEVELS):
            seconds, u = found.seconds[level], found.u_seconds[level]
            if seconds is not None and u is not None:
                off = seconds - pulse.seconds[level]
                error[draw, at], over_u[draw, at] = off / pulse.seconds[level], off / u
    return Tried(error, over_u)


def all_tried(
    shapes: Mapping[str, Closed], sampling: Sampling, draws: int, seed: int
) -> dict[str, Tried]:
    """Recordings of every shape."""
    return {
        name: tried(pulse, sampling, draws, (seed, number))
        for number, (name, pulse) in enumerate(shapes.items())
    }


def together(shapes: Mapping[str, Tried]) -> Tried:
    """The recordings of all shapes."""
    return Tried(
        np.concatenate([one.error for one in shapes.values()]),
        np.concatenate([one.over_u for one in shapes.values()]),
    )


def print_rows(name: str, one: Tried) -> None:
    """Print the figures of a shape, level by level."""
    rows: tuple[tuple[str, Values, str], ...] = (
        ("median error, %", 100 * one.sizes(0.5), "7.2f"),
        ("error at 95 %, %", 100 * one.sizes(0.95), "7.2f"),
        ("within one u", one.within(1), "7.3f"),
        ("within two u", one.within(2), "7.3f"),
    )
    for said, figures, form in rows:
        print(f"  {name:18} {said:17}" + "".join(f"{figure:{form}}" for figure in figures))
        name = ""


def print_table(shapes: Mapping[str, Tried]) -> None:
    """Print every shape, and all of them together."""
    print(f"  {'':36}" + "".join(f"{f't{level:.1f}'.replace('0.', '.'):>7}" for level in LEVELS))
    for name, one in shapes.items():
        print_rows(name, one)
    print_rows("all shapes", together(shapes))


def wanted(said: str, value: float, low: float, high: float) -> bool:
    """Print a figure beside what is wanted; return whether it is reached."""
    reached = low <= value <= high
    span = f"{low:.1%} to {high:.1%}"
    if low == -math.inf:
        span = f"at most {high:.1%}"
    elif high == math.inf:
        span = f"at least {low:.1%}"
    print(f"  {said}: {value:.2%}, wanted {span}: {'' if reached else 'NOT '}reached")
    return reached


def worst(
    said: str, figures: Mapping[str, Values], low: float, high: float, pick: Callable[[Values], int]
) -> bool:
    """Print the worst shape and level; return whether it is as wanted."""
    names = list(figures)
    table = np.array([figures[name] for name in names])
    row, column = divmod(pick(table), table.shape[1])
    where = f"t.{column + 1} of {names[row]}"
    return wanted(f"{said}, {where}", float(table[row, column]), low, high)


def judged(shapes: Mapping[str, Tried]) -> bool:
    """Print what is wanted of the closed-form shapes; return whether all of it is reached."""
    every = together(shapes)
    pooled = np.abs(every.error[:, :WANTED])
    within = {"all shapes": every.within(2)}
    medians = {name: one.sizes(0.5)[:WANTED] for name, one in shapes.items()}
    large = {name: one.sizes(0.95)[:WANTED] for name, one in shapes.items()}
    own = {name: one.within(2) for name, one in shapes.items()}
    reached = [
        wanted("median error, t.1 to t.5", float(np.median(pooled)), -math.inf, MEDIAN),
        wanted("error at 95 %", float(np.quantile(pooled, 0.95)), -math.inf, LARGE),
        worst("largest median", medians, -math.inf, OWN_MEDIAN, _highest),
        worst("largest error at 95 %", large, -math.inf, OWN_LARGE, _highest),
        worst("fewest within two u", within, *HONEST, _lowest),
        worst("most within two u", within, *HONEST, _highest),
        worst("fewest within two u", own, OWN_HONEST, math.inf, _lowest),
    ]
    return all(reached)


def _highest(table: Values) -> int:
    return int(np.argmax(table))


def _lowest(table: Values) -> int:
    return int(np.argmin(table))


def closed_form(given: argparse.Namespace) -> bool:
    """The shapes of check-values 3.2 and 3.3."""
    print("\nclosed-form pulses, 45 to 60 samples inside t.5, noise 1 %, 8 bits")
    shapes = all_tried(PULSES, AS_WANTED, given.draws, given.seed)
    print_table(shapes)
    return judged(shapes)


def others(given: argparse.Namespace) -> bool:
    """Shapes that nothing was tuned on; nothing is wanted of these figures."""
    print("\nother shapes, recorded alike; nothing was tuned on them")
    print_table(all_tried(OTHERS, AS_WANTED, given.draws, given.seed + 1))
    return True


def sampling(given: argparse.Namespace) -> bool:
    """Other recordings of the closed-form shapes; nothing is wanted of these figures."""
    print("\nthe closed-form pulses recorded otherwise, a quarter as many each")
    heads = f"{'samples':>10} {'noise':>7} {'bits':>5} {'median':>8} {'at 95 %':>8} {'none':>6}"
    print(f"  {heads}   within two u, t.1 to t.9")
    for number, one in enumerate(SAMPLINGS):
        draws = max(given.draws // 4, 1)
        every = together(all_tried(PULSES, one, draws, given.seed + 2 + number))
        size = np.abs(every.error[:, :WANTED])
        low, high = one.samples
        print(
            f"  {f'{low:g}-{high:g}':>10} {one.noise:7.1%} {one.bits:5} {np.nanmedian(size):8.2%} "
            f"{np.nanquantile(size, 0.95):8.2%} {np.isnan(every.error).mean():6.1%}  "
            + "".join(f"{share:6.3f}" for share in every.within(2))
        )
    return True


PARTS: dict[str, Callable[[argparse.Namespace], bool]] = {
    "closed-form": closed_form,
    "others": others,
    "sampling": sampling,
}


def main(arguments: Sequence[str] | None = None) -> int:
    """Print the table of every part, or of one."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--draws", type=int, default=200, help="recordings of each shape")
    parser.add_argument("--seed", type=int, default=1, help="another seed draws others")
    parser.add_argument("--part", choices=PARTS, help="this part alone")
    given = parser.parse_args(arguments)
    print(f"{given.draws} recordings of each shape, seed {given.seed}")
    chosen = [given.part] if given.part else list(PARTS)
    reached = [PARTS[part](given) for part in chosen]
    print(f"\n{'all' if all(reached) else 'not all'} that is wanted is reached")
    return 0 if all(reached) else 1


if __name__ == "__main__":
    sys.exit(main())
