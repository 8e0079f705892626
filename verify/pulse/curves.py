"""Curves that a stretch of light may follow, each as likely as the values make it.

Polynomials; two lines or parabolas that meet in a kink; and a line or parabola that light nears as
a charge does through a resistance. No one of them is chosen: what they tell is averaged, and how
far they disagree is a part of what is not known.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

POWERS = 6  # of the polynomials: up to the fifth degree
KINK_SIDES = (1, 2)  # degrees of what meets in a kink
KINKS = 40  # places where it may be, at most
KINK_EDGE = 2.5  # samples from the ends of the stretch, where none is
NEARS = (0.1, 0.2, 0.4, 0.8)  # half lengths of the stretch in which light nears its course
NEARED = (0, 1, 2)  # degrees of that course
SPARE = 1  # values more than a curve has coefficients

Values = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Family:
    """Curves for stretches of a number of samples, the places of which run from -1 to 1."""

    kink: Values  # (curves,) where it is
    near: Values  # (curves,) half lengths in which it nears its course; < 0 backwards; 0 not at all
    uses: NDArray[np.bool_]  # (curves, terms) that a curve has
    prior: Values  # (curves,) cost of its choice among its kind
    terms: Values  # (curves, samples, terms)
    inverse: Values  # (curves, terms, terms): covariances, in variances of the noise


@dataclass(frozen=True, slots=True, eq=False)
class Curves:
    """Curves through one stretch."""

    family: Family
    coefficients: Values  # (curves, terms)
    cost: Values  # (curves,) misfit and price: the lower, the likelier
    misfit: float  # of the best one, in deviations of what noise makes

    @property
    def weights(self) -> Values:
        """How likely each curve is."""
        weights = np.exp((self.cost.min() - self.cost) / 2)
        likely: Values = weights / weights.sum()
        return likely

    def at(self, places: Values) -> tuple[Values, Values]:
        """Light there by each curve, and the terms that make it: (curves, places[, terms])."""
        terms = _terms(self.family.kink, self.family.near, self.family.uses, places)
        return np.einsum("cpt,ct->cp", terms, self.coefficients), terms

    def variances(self, terms: Values) -> Values:
        """Of light made of such terms, (curves, terms), in variances of the noise."""
        found: Values = np.einsum("ct,ctu,cu->c", terms, self.family.inverse, terms)
        return found


def curves_through(values: Values, noise: float, price: float) -> Curves | None:
    """All curves through the values; None where there are too few.

    Parameters
    ----------
    values : (samples,) evenly spaced.
    noise : standard deviation of a value.
    price : of a coefficient, in variances of the noise that it must take from the misfit.

    References
    ----------
    Burnham, K. P. and Anderson, D. R. (2004), Multimodel inference: understanding AIC and BIC in
    model selection, Sociological Methods and Research 33: 261-304, for weights and variances.
    """
    family = _family(values.size)
    if family is None:
        return None
    size = family.uses.sum(1)
    coefficients = np.einsum("ctu,cu->ct", family.inverse, values @ family.terms)
    left = values - np.einsum("cpt,ct->cp", family.terms, coefficients)
    squares = (left**2).sum(1) / noise**2
    spare = values.size - size
    return Curves(
        family,
        coefficients,
        squares + price * size + family.prior,
        float(((squares - spare) / np.sqrt(2 * spare)).min()),
    )


@lru_cache(maxsize=64)  # they are the same for every stretch of so many samples
def _family(count: int) -> Family | None:
    """The curves for so many values."""
    kink, near, uses, prior = _choice(count)
    enough = uses.sum(1) + SPARE <= count
    if not enough.any():
        return None
    kink, near, uses, prior = (each[enough] for each in (kink, near, uses, prior))
    terms = _terms(kink, near, uses, np.linspace(-1, 1, count))
    normal = np.swapaxes(terms, 1, 2) @ terms
    every = range(uses.shape[1])
    normal[:, every, every] += np.where(uses, 1e-9, 1.0)
    inverse = np.asarray(np.linalg.inv(normal), np.float64)
    return Family(kink, near, uses, prior, terms, inverse)


def _choice(count: int) -> tuple[Values, Values, NDArray[np.bool_], Values]:
    """Kinks, nearings, terms and prior cost of the curves for so many values."""
    degree = np.arange(POWERS)
    none = np.zeros(2, bool)
    rows: list[tuple[float, float, NDArray[np.bool_], float]] = [
        (0.0, 0.0, np.concatenate([degree <= most, none]), 2 * np.log(POWERS))
        for most in range(POWERS)
    ]
    half = (count - 1) / 2
    if half > KINK_EDGE:
        number = min(KINKS, int(4 * (half - KINK_EDGE)) + 1)
        places = np.linspace(KINK_EDGE / half - 1, 1 - KINK_EDGE / half, number)
        rows += [
            (float(place), 0.0, np.concatenate([degree <= side, [True, side > 1]]),
             2 * np.log(number * len(KINK_SIDES)))
            for place in places for side in KINK_SIDES
        ]  # fmt: skip
    rows += [
        (0.0, way * near, np.concatenate([degree <= most, [True, False]]),
         2 * np.log(2 * len(NEARS) * len(NEARED)))
        for near in NEARS for way in (1, -1) for most in NEARED
    ]  # fmt: skip
    kink, near, uses, prior = (np.array(each) for each in zip(*rows, strict=True))
    return kink, near, uses, prior


def _terms(kink: Values, near: Values, uses: NDArray[np.bool_], places: Values) -> Values:
    """What each curve is a sum of, (curves, places, terms)."""
    powers = np.broadcast_to(places[:, None] ** np.arange(POWERS), (kink.size, places.size, POWERS))
    past = np.maximum(places[None] - kink[:, None], 0)
    way = np.where(near == 0, 1.0, near)[:, None]
    nears = np.exp(-np.clip((places * np.sign(way) + 1) / np.abs(way), -0.5, 50))
    first = np.where(near[:, None] == 0, past, nears)
    return np.concatenate([powers, first[..., None], past[..., None] ** 2], axis=2) * uses[:, None]
