"""The frames of one series to what moves their light, read top to bottom.

The method. The light of a series is a sum of explanations: steps, one drift, a recharge, first
pops, light of the room and so on, and losses that several frames share. Residuals are the scatter
of the pops, and with a small chance anything. A model costs the negative logarithm of its
likelihood, half the logarithm of the number of frames for each fitted size (BIC), the logarithm of
the number of places for each step, and something for each cause by how seldom it is. The model
that costs least is searched by adding, giving up and exchanging explanations (`search.py`); several
can be in it. An explanation's chance comes from the costs of the models that have a rival in its
place, or nothing. The picture's parts, the card's place and colour then tell causes apart that
light alone cannot: a step from a moved card, a missing lamp from something that stands before it.

What moves the light by less than half of the tolerance is no finding. A scatter is one where its
standard deviation is, beyond chance, above tolerance / 1.96: then more than 1 frame in 20 falls
outside.

References
----------
Schwarz, G. (1978), Estimating the dimension of a model, Annals of Statistics 6: 461-464.
Kass, R. E., Raftery, A. E. (1995), Bayes factors, Journal of the American Statistical Association
90: 773-795: differences of BIC as weights.
"""

from collections.abc import Sequence

import numpy as np

from verify.diagnose.camera import settings_found
from verify.diagnose.chart import chart_of
from verify.diagnose.color import color_move, colors_of
from verify.diagnose.fit import Problem
from verify.diagnose.light import Light, light_found
from verify.diagnose.lost import losses
from verify.diagnose.noise import color_found, spread_found
from verify.diagnose.picture import Picture, look_at
from verify.diagnose.records import ChartLimits, Diagnosis, Finding, Seen
from verify.diagnose.search import MOST_TERMS, explain
from verify.diagnose.series import Bools, Series, series_of
from verify.diagnose.shapes import families, step_cost
from verify.diagnose.single import blocked_found, cut_found, lost_found, unexplained
from verify.diagnose.spread import Groups, groups_of
from verify.diagnose.summary import (
    longest_within,
    off_reference,
    reach,
    spread,
    stretches,
    within_share,
    worst,
)
from verify.diagnose.weighed import Told, Weighed, ordered

USUAL_SCATTER = 0.03  # stop, of a good flash from pop to pop
FEW = 4  # frames, below which nothing can be told apart
STEADY, FEW_STEADY = 0.95, 0.5  # chance that nothing is wrong where nothing is found


def diagnose(
    frames: Sequence[Seen], tolerance_stops: float, reference_stops: float | None = None
) -> Diagnosis:
    """Say why the light of a series moves.

    Parameters
    ----------
    frames : of one set-up and body, in the order of time; any number.
    tolerance_stops : that a frame may be off and still be good, above 0 [stop].
    reference_stops : exposure, settings included, that frames are held against for the share within
        tolerance; None: the middle of the series.
    """
    series = series_of(frames, tolerance_stops)
    picture = look_at(series)
    groups = groups_of(series)
    blocked = picture.blocked.frames if picture.blocked else np.zeros(len(frames), bool)
    problem = _problem(series, groups, blocked)
    weighed, notes = _weighed(series, problem, picture, groups, blocked)
    off = off_reference(series, reference_stops)
    return Diagnosis(
        frames=series.frames,
        findings=ordered(weighed) or _steady(series),
        limits=_limits(series),
        stretches=stretches(series),
        spread_stops=spread(series.light),
        range_stops=reach(series.light),
        within_share=within_share(off, tolerance_stops),
        longest_within=longest_within(series.frames, off, tolerance_stops),
        worst=worst(series.frames, off, tolerance_stops),
        color_spread_stops=_color_spread(series),
        notes=notes,
    )


def _problem(series: Series, groups: Groups | None, blocked: Bools) -> Problem:
    """The light to be explained: known, and with nothing before a part of the picture."""
    known = series.known & ~blocked if 2 * blocked.sum() < len(blocked) else series.known
    scale = np.ones(len(series.frames))
    if groups is not None:
        scale[groups.much] = groups.ratio
    prior = float(np.hypot(series.u_stops, USUAL_SCATTER))
    return Problem(
        np.where(known, np.nan_to_num(series.light), 0.0), known.astype(float), series.zeros, scale,
        prior,
    )  # fmt: skip


def _weighed(
    series: Series, problem: Problem, picture: Picture, groups: Groups | None, blocked: Bools
) -> tuple[list[Weighed], tuple[str, ...]]:
    """Every finding with its weight; notes on what is not found out."""
    told = Told(series, _light_sure(series, picture))
    notes = _notes(series)
    if not series.known.any():
        return list(settings_found(series, told, USUAL_SCATTER, False)), notes
    seen = picture.cut is not None if picture.has_tiles else None
    choices = families(series, seen) if len(series.frames) >= FEW else []
    explained = explain(problem, choices, step_cost(series))
    model = explained.model
    light = Light(series, problem, explained, picture, told)
    if len(model.terms) >= MOST_TERMS:
        notes += (
            f"The light changes more often than {MOST_TERMS} explanations tell: part the series.",
        )
    in_vain = any(term.cause == "iso-not-in-signal" for term in model.terms)
    weighed = list(settings_found(series, told, model.sigma, in_vain))
    off = np.zeros(len(series.frames), bool)
    if len(series.frames) >= FEW:
        lost, runs = losses(series, model, problem.scale)
        for loss in lost:
            off |= loss.frames
        weighed += light_found(light, runs)
        weighed += lost_found(light, lost, blocked)
        weighed += spread_found(series, told, model, groups, picture.bands_stops)
        notes += unexplained(light, off | blocked)
    weighed += blocked_found(light)
    if not any(one.finding.cause == "shutter-cut" for one in weighed):
        weighed += cut_found(light)
    usual = (model.usual > 0.5) & ~off & ~blocked
    weighed += color_found(series, told, color_move(series, usual))
    return weighed, notes


def _light_sure(series: Series, picture: Picture) -> bool:
    """Whether a moved card and a blocked light would have been seen."""
    cards = [f for f in series.frames if f.by == "card"]
    return picture.has_tiles and all(f.place is not None for f in cards)


def _notes(series: Series) -> tuple[str, ...]:
    """What stands in the way of a surer answer."""
    count = len(series.frames)
    notes = []
    unknown = int((~series.known).sum())
    if count < FEW:
        notes.append(f"{count} of the {FEW} frames that a cause can be told from.")
    if unknown:
        notes.append(f"The light of {unknown} of {count} frames is not known as a value.")
    gaps = int(np.isnan(series.gap_s).sum())
    if count >= FEW and 2 * gaps > count:
        notes.append(
            f"The gap to the frame before is not known in {gaps} of {count} frames: whether the "
            "flash had recharged cannot be told."
        )
    return tuple(notes)


def _limits(series: Series) -> ChartLimits | None:
    """The chart of the frames whose light is known."""
    files = [f.file for f, known in zip(series.frames, series.known, strict=True) if known]
    return chart_of(series.light[series.known], files)


def _color_spread(series: Series) -> float | None:
    """Scatter of red and blue against green, the larger [stop]; None where not known."""
    found = [s for s in map(spread, colors_of(series)) if s is not None]
    return max(found, default=None)


def _steady(series: Series) -> tuple[Finding, ...]:
    """The finding that nothing is wrong, as far as can be told."""
    few = int(series.known.sum()) < FEW
    sd, count = spread(series.light), int(series.known.sum())
    scatter = "" if sd is None else f", with a scatter of {sd:.2f} stop"
    number = "1 frame" if count == 1 else f"{count} frames"
    sentence = f"Nothing moves the light of {number} beyond the tolerance{scatter}."
    if few:
        sentence = f"{number} {'is' if count == 1 else 'are'} too few to tell a cause."
    told = Told(series, True)
    every = np.ones(len(series.frames), bool)
    action = "Shoot more frames." if few else None
    chance = FEW_STEADY if few else STEADY
    return (told.of("steady", every, 0.0, chance, 0.0, sentence, None, action).finding,)
