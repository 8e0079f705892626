"""Frames of several pops with a known truth, at the level of signals."""

from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np

from verify.pops.records import PopFrame

POP = 0.01  # signal of one pop
OPEN_S = 10.0


def popped(
    planned: Sequence[int],
    fired: Mapping[int, int] | None = None,
    scatter: float = 0.0,
    ambient: float = 0.0,
    sag: float = 0.0,
    first_stops: float = 0.0,
    open_s: Sequence[float | None] | None = None,
    seed: int = 0,
) -> list[PopFrame]:
    """Frames by signal.

    ``fired`` has the frames, by their place, that hold other than planned; ``scatter`` [stop];
    ``ambient`` signal a second; ``sag`` share that each pop gives less; ``first_stops`` of the
    first pop against the others.
    """
    rng = np.random.default_rng(seed)
    frames = []
    for at, count in enumerate(planned):
        there = (fired or {}).get(at, count)
        time = OPEN_S if open_s is None else open_s[at]
        pops = sum((1 - sag * j) * (2.0**first_stops if j == 0 else 1) for j in range(there))
        signal = POP * pops + ambient * (time or OPEN_S)
        signal *= 2 ** rng.normal(0, scatter) if scatter else 1
        frames.append(PopFrame(Path(f"{at:03d}.dng"), count, signal, 1e-4 * signal, time))
    return frames
