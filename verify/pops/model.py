"""The light of several pops as a linear model: what they give, and how well counts explain it.

Light adds: signal = ambient x open time + pops x light per pop. Later pops may be weaker than the
first (sag), or the first may lag behind the others. Everything is held relative to a frame's
own signal, for what varies from frame to frame is a share of the light.
"""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int_]
Term = Literal["pop", "ambient", "sag", "first"]

# What frames scatter by before any is measured, and how many frames that is worth: studio flash
# repeats within 0.05 to 0.1 stop at most (common practice, no source).
PRIOR_SCATTER = 0.02 * math.log(2)
PRIOR_FRAMES = 1.0
SMALLEST = 1e-4  # of the largest signal: a frame at black is not held closer than that
APART = 1e-3  # terms that a set of frames cannot tell apart are closer than this


@dataclass(frozen=True, slots=True, eq=False)
class Frames:
    """Measured frames as arrays (frames,)."""

    planned: Ints
    signal: Floats
    scale: Floats  # what departures are held relative to
    open_s: Floats  # 1 where open times are not known: the ambient light is then one of each frame

    def rows(self, counts: Ints, terms: tuple[Term, ...], at: Ints | None = None) -> Floats:
        """Relative rows of the model.

        Parameters
        ----------
        counts : (frames,), or (frames, candidates): pops in each frame.
        terms : of the model.
        at : frames that the counts are of; None: all.

        Returns
        -------
        (frames, [candidates,] terms)
        """
        pick = slice(None) if at is None else at
        shape = (-1, *(1,) * (counts.ndim - 1))
        ambient = np.broadcast_to(self.open_s[pick].reshape(shape), counts.shape)
        columns = {
            "pop": counts,
            "ambient": ambient,
            "sag": -counts * (counts - 1) / 2,
            "first": np.where(counts > 0, 1.0, 0.0),
        }
        stacked = np.stack([np.asarray(columns[term], float) for term in terms], axis=-1)
        return np.asarray(stacked / self.scale[pick].reshape(shape)[..., None])

    @property
    def values(self) -> Floats:
        """(frames,) relative signals."""
        return np.asarray(self.signal / self.scale)


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """Light that frames with certain counts show."""

    terms: tuple[Term, ...]
    found: Floats  # of each term [signal; ambient per second]
    covariance: Floats  # for a scatter of 1
    squares: float  # sum of squared relative departures
    frames: int

    @property
    def scatter(self) -> float:
        """Relative standard deviation of a frame, what was known before included."""
        free = max(self.frames - len(self.terms), 0)
        return math.sqrt((self.squares + PRIOR_FRAMES * PRIOR_SCATTER**2) / (free + PRIOR_FRAMES))

    def of(self, term: Term) -> tuple[float, float]:
        """A term and its standard uncertainty; 0 for one that is not in the model."""
        if term not in self.terms:
            return 0.0, 0.0
        at = self.terms.index(term)
        return float(self.found[at]), self.scatter * math.sqrt(float(self.covariance[at, at]))

    def level(self, frames: Frames, counts: Ints) -> Floats:
        """(frames,) signal that the model has for frames of these counts."""
        return np.asarray(frames.rows(counts, self.terms) @ self.found * frames.scale)


def frames_of(planned: Ints, signal: Floats, noise: Floats, open_s: Floats | None) -> Frames:
    """Measured frames, each with what its departures are held relative to."""
    least = np.hypot(noise / PRIOR_SCATTER, SMALLEST * float(signal.max(initial=1e-9)))
    scale = np.hypot(np.maximum(signal, 0.0), least)
    return Frames(planned, signal, scale, np.ones(len(signal)) if open_s is None else open_s)


def told_apart(frames: Frames, counts: Ints, terms: tuple[Term, ...]) -> bool:
    """Whether these frames can tell the terms of a model from each other."""
    if len(counts) < len(terms):
        return False
    rows = frames.rows(counts, terms)
    norms = np.linalg.norm(rows, axis=0)
    if not norms.all():
        return False
    return bool(np.linalg.svd(rows / norms, compute_uv=False)[-1] > APART)


def fitted(frames: Frames, counts: Ints, terms: tuple[Term, ...]) -> Fit:
    """Least squares; an ambient light below 0 is none, and its term drops out.

    Parameters
    ----------
    counts : (frames,) pops in each frame.
    terms : that the frames can tell apart.
    """
    rows, values = frames.rows(counts, terms), frames.values
    found = np.linalg.lstsq(rows, values)[0]
    if "ambient" in terms and len(terms) > 1 and found[terms.index("ambient")] < 0:
        return fitted(frames, counts, tuple(term for term in terms if term != "ambient"))
    squares = float(np.square(values - rows @ found).sum())
    return Fit(
        terms,
        np.asarray(found),
        np.asarray(np.linalg.pinv(rows.T @ rows), float),
        squares,
        len(values),
    )


def evidence(squares: Floats | float, frames: int, terms: int) -> Floats:
    """Logarithm of how well departures speak for the counts that they come from.

    The scatter is not known: it is taken out with what was known of it before, which leaves
    Student's distribution (Gelman and others, Bayesian Data Analysis, 14.2).

    Parameters
    ----------
    squares : sums of squared relative departures.
    frames, terms : how many there are.
    """
    free = max(frames - terms, 0) + PRIOR_FRAMES
    return np.asarray(-free / 2 * np.log1p(squares / (PRIOR_FRAMES * PRIOR_SCATTER**2)))


def evidence_of_each(
    frames: Frames, counts: Ints, candidates: Ints, terms: tuple[Term, ...]
) -> Floats:
    """Evidence with one frame's count changed, the model fitted anew each time.

    Parameters
    ----------
    counts : (frames,) pops in each.
    candidates : (frames, candidates) what each could hold instead, all others as they are.
    terms : of the model.

    Returns
    -------
    (frames, candidates)
    """
    rows, values = frames.rows(counts, terms), frames.values
    others = rows.T @ rows - rows[:, :, None] * rows[:, None, :]  # without the frame itself
    pulls = rows.T @ values - rows * values[:, None]
    own = frames.rows(candidates, terms)
    products = others[:, None] + own[..., :, None] * own[..., None, :]
    right = pulls[:, None] + own * values[:, None, None]
    size = float(np.square(values).sum())
    kept = [at for at, term in enumerate(terms) if term != "ambient"]
    squares, found = _squares(products, right, size)
    if len(kept) < len(terms) and kept:
        alone, _ = _squares(products[..., kept, :][..., kept], right[..., kept], size)
        squares = np.where(found[..., terms.index("ambient")] < 0, alone, squares)
    return evidence(squares, len(values), len(terms))


def _squares(products: Floats, right: Floats, size: float) -> tuple[Floats, Floats]:
    """Sums of squared departures, and the terms, of many small normal equations."""
    norms = np.sqrt(np.einsum("...ii->...i", products))
    norms = np.where(norms > 0, norms, 1.0)
    even = products / (norms[..., :, None] * norms[..., None, :])
    steady = even + 1e-12 * np.eye(even.shape[-1])  # where terms cannot be told apart
    found = np.linalg.solve(steady, (right / norms)[..., None])[..., 0] / norms
    explained = np.einsum("...i,...i->...", found, right)
    return np.maximum(size - explained, 0.0), np.asarray(found)
