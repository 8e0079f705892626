"""How many pops each frame holds: the counts that explain all frames best, and how sure each is."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from verify.pops.model import (
    PRIOR_SCATTER,
    Fit,
    Floats,
    Frames,
    Ints,
    Term,
    evidence,
    evidence_of_each,
    fitted,
    told_apart,
)

# How likely a count is before its light is seen: one pop in a hundred fails, where one did another
# may, and hardly one comes by itself (common practice, no source).
MISSED, NEXT_MISSED = math.log(0.01), math.log(0.3)
NONE_FIRED = math.log(0.01)
LEVEL_ODDS = math.log(0.5)  # of a miss against none, at most
EXTRA, NEXT_EXTRA = math.log(0.005), math.log(0.1)
# How likely a way to add up is before any light is seen; each further term costs ln(frames)/2 more
# (Schwarz 1978), and a sag as much as it is beyond what units do that had time to recharge.
MODELS: tuple[tuple[tuple[Term, ...], float], ...] = (
    (("pop", "ambient"), 0.0),
    (("pop", "ambient", "sag"), math.log(0.1)),
    (("pop", "ambient", "first"), math.log(0.05)),
)
USUAL_SAG = 0.01  # of the light of a pop, from one to the next
REACH = 2  # counts looked at on both sides of the planned one, and of the level
MOST_GROUPS = 12  # of one count and open time, that starts are made from
MOST_STARTS = 6  # that are followed up in each model
WORTH_KEEPING = 12.0  # explanations less likely by more than e to this are let go


@dataclass(frozen=True, slots=True, eq=False)
class Explained:
    """One way to explain all frames."""

    counts: Ints  # (frames,) pops in each
    fit: Fit
    merit: float  # logarithm of how likely it is, the counts' own likelihood included


@dataclass(frozen=True, slots=True, eq=False)
class Fired:
    """What the frames hold."""

    best: Explained
    counts: Ints  # (frames,) most probable
    probability: Floats  # (frames,) that it is right


def fired(frames: Frames) -> Fired | None:
    """The pops in each frame; None where light falls as pops are added.

    Its probability is the lower of two: by the level alone, and with pops failing as rarely as
    they do. So a frame is neither called whole because most are, nor short because of a chance.
    """
    kept = _explanations(frames)
    if not kept:
        return None
    best = kept[0]
    candidates = _candidates(frames, best)
    by_level, in_all = (np.zeros(candidates.shape) for _ in range(2))
    for one in kept:
        seen = evidence_of_each(frames, one.counts, candidates, one.fit.terms)
        share = math.exp(one.merit - best.merit)
        by_level += share * _shares(seen, candidates)
        in_all += share * _shares(seen + likelihood(candidates, frames.planned), candidates)
    total = sum(math.exp(one.merit - best.merit) for one in kept)
    at = np.argmax(in_all, axis=1)[:, None]
    chances = [np.take_along_axis(table, at, 1)[:, 0] / total for table in (by_level, in_all)]
    counts = np.take_along_axis(candidates, at, 1)[:, 0]
    return Fired(best, counts, np.minimum(*chances))


def likelihood(counts: Ints, planned: Ints) -> Floats:
    """Logarithm of how likely counts are before their light is seen, against all having fired.

    Parameters
    ----------
    counts : (frames, ...)
    planned : (frames,)
    """
    meant = planned.reshape(-1, *(1,) * (counts.ndim - 1))
    short, over = meant - counts, counts - meant
    missed = MISSED + np.log(np.maximum(meant, 1)) + NEXT_MISSED * (short - 1)
    missed = np.minimum(missed, LEVEL_ODDS)
    missed = np.where(counts == 0, np.maximum(missed, NONE_FIRED), missed)
    extra = EXTRA + NEXT_EXTRA * (over - 1)
    return np.where(short > 0, missed, np.where(over > 0, extra, 0.0))


def _shares(merits: Floats, candidates: Ints) -> Floats:
    """Probabilities of each frame's candidates, one that stands twice counted once."""
    first = np.ones(candidates.shape, bool)
    for at in range(1, candidates.shape[1]):
        first[:, at] = (candidates[:, :at] != candidates[:, at : at + 1]).all(axis=1)
    sizes = np.where(first, np.exp(merits - merits.max(axis=1, keepdims=True)), 0.0)
    return np.asarray(sizes / sizes.sum(axis=1, keepdims=True))


def _candidates(frames: Frames, explained: Explained) -> Ints:
    """(frames, candidates) counts that a frame may hold: as planned, by its level, none."""
    around = np.arange(-REACH, REACH + 1)
    level = nearest_counts(frames, explained.fit)
    found = np.concatenate(
        [
            frames.planned[:, None] + around,
            level[:, None] + around,
            np.zeros((len(level), 1), int),
        ],
        axis=1,
    )
    return np.asarray(np.maximum(found, 0))


def nearest_counts(frames: Frames, fit: Fit) -> Ints:
    """(frames,) whole counts nearest to each frame's light."""
    return np.asarray(np.maximum(np.round(worth(frames, fit)), 0).astype(int))


def worth(frames: Frames, fit: Fit) -> Floats:
    """(frames,) light of each frame that is no ambient, in pops, a sag or a late first allowed for.

    The inverse of the model: p k + first - sag k (k - 1) / 2.
    """
    pop, ambient = fit.of("pop")[0], fit.of("ambient")[0]
    light = frames.signal - ambient * frames.open_s - fit.of("first")[0]
    sag = fit.of("sag")[0]
    if pop <= 0:
        return np.zeros(len(light))
    if sag <= 0:
        return np.asarray(light / pop)
    whole = pop + sag / 2
    return np.asarray((whole - np.sqrt(np.maximum(whole**2 - 2 * sag * light, 0))) / sag)


def _explanations(frames: Frames) -> list[Explained]:
    """Ways to explain all frames, the likeliest first."""
    found: dict[tuple[tuple[Term, ...], bytes], Explained] = {}
    starts = _starts(frames)
    for wanted, likely in MODELS:
        terms = _terms(frames, wanted)
        if terms is None:
            continue
        prior = likely - math.log(len(frames.planned)) / 2 * (len(wanted) > 2)
        first = [_explained(frames, counts, terms, prior) for counts in starts]
        first.sort(key=lambda one: -one.merit)
        for one in first[:MOST_STARTS]:
            better = _climbed(frames, one, terms, prior)
            if _sound(better.fit):
                found.setdefault((better.fit.terms, better.counts.tobytes()), better)
    ranked = sorted(found.values(), key=lambda one: -one.merit)
    return [one for one in ranked if ranked[0].merit - one.merit < WORTH_KEEPING]


def _terms(frames: Frames, wanted: tuple[Term, ...]) -> tuple[Term, ...] | None:
    """The terms of a model that these frames can tell apart; None where it says nothing new.

    Where ambient light cannot be told from the pops there is none. A first pop that lags looks like
    ambient light below 0, where all frames are open for one time.
    """
    special = len(wanted) > 2
    if special and (len(np.unique(frames.planned)) < 3 or len(frames.planned) < 4):
        return None
    without = tuple(term for term in wanted if term != "ambient")
    for terms in (wanted, without):
        if told_apart(frames, frames.planned, terms):
            return terms
    return None if special else ("pop",)


def _sound(fit: Fit) -> bool:
    """Whether a fit is of light: pops give some, and later or first ones not more than others."""
    pop, sag, first = (fit.of(term)[0] for term in ("pop", "sag", "first"))
    late = "first" not in fit.terms or -pop < first < 0
    return pop > 0 and (fit.terms[:1] == ("pop",)) and ("sag" not in fit.terms or sag > 0) and late


def _starts(frames: Frames) -> list[Ints]:
    """Counts to begin from: as planned, and those by every two groups of frames taken as whole."""
    groups: dict[tuple[int, float], list[int]] = {}
    for at, key in enumerate(zip(frames.planned.tolist(), frames.open_s.tolist(), strict=True)):
        groups.setdefault(key, []).append(at)
    largest = sorted(groups.items(), key=lambda item: -len(item[1]))[:MOST_GROUPS]
    middle = [(key, float(np.median(frames.signal[own]))) for key, own in largest]
    found = [frames.planned]
    found += [_counts_by(frames, pop, ambient) for pop, ambient in _lights(middle)]
    return list({counts.tobytes(): counts for counts in found}.values())


def _lights(
    middle: list[tuple[tuple[int, float], float]],
) -> Iterator[tuple[float, float]]:
    """Light per pop and ambient light per second, by groups that hold what was planned."""
    for (count, _), signal in middle:
        if count and signal > 0:
            yield signal / count, 0.0
    for ((one, open_one), signal), ((two, open_two), other) in combinations(middle, 2):
        across = one * open_two - two * open_one
        if across:
            pop = (signal * open_two - other * open_one) / across
            ambient = (one * other - two * signal) / across
            if pop > 0 and ambient >= 0:
                yield pop, ambient


def _counts_by(frames: Frames, pop: float, ambient: float) -> Ints:
    """Counts that a light makes most likely, the usual scatter assumed."""
    level = np.round((frames.signal - ambient * frames.open_s) / pop).astype(int)
    around = np.arange(-REACH, REACH + 1)
    options = np.maximum(
        np.concatenate([frames.planned[:, None] + around, level[:, None]], axis=1), 0
    )
    there = ambient * frames.open_s[:, None] + pop * options
    off = (frames.signal[:, None] - there) / frames.scale[:, None] / PRIOR_SCATTER
    merits = likelihood(options, frames.planned) - off**2 / 2
    return np.take_along_axis(options, np.argmax(merits, axis=1)[:, None], 1)[:, 0]


def _explained(frames: Frames, counts: Ints, terms: tuple[Term, ...], prior: float) -> Explained:
    """How likely a set of counts is under a model."""
    fit = fitted(frames, counts, terms)
    merit = prior + float(evidence(fit.squares, fit.frames, len(terms)))
    if "sag" in terms:
        merit -= max(fit.of("sag")[0] / max(fit.of("pop")[0], 1e-12), 0.0) / USUAL_SAG
    return Explained(counts, fit, merit + float(likelihood(counts, frames.planned).sum()))


def _climbed(frames: Frames, one: Explained, terms: tuple[Term, ...], prior: float) -> Explained:
    """Counts changed for as long as that makes them likelier.

    All frames that gain are changed at once; where they do not gain together, the one that gains
    most.
    """
    for _ in range(len(frames.planned)):
        candidates = _candidates(frames, one)
        now = evidence(one.fit.squares, one.fit.frames, len(terms))
        gain = evidence_of_each(frames, one.counts, candidates, terms) - now
        gain += likelihood(candidates, frames.planned)
        gain -= likelihood(one.counts, frames.planned)[:, None]
        every = np.arange(len(gain))
        at = np.argmax(gain, axis=1)
        best, options = gain[every, at], candidates[every, at]
        single = every == int(np.argmax(best))
        tried = [
            _explained(frames, np.where(changed, options, one.counts), terms, prior)
            for changed in (best > 0, single)
        ]
        better = max(tried, key=lambda explained: explained.merit)
        if better.merit <= one.merit + 1e-9:
            break
        one = better
    return one
