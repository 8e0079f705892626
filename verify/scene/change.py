"""The change of light between two frames of one set, without a card.

Each tile is divided by the same tile of the reference in linear signal. The change of light is what
most of the picture shares: things that were moved, replaced or turned change some tiles only.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from verify.frames.colors import main_color
from verify.scene.field import alike_beside, follows, smooth_field, span_of
from verify.scene.mode import FIRST_SPREAD, LEAST_U, MOST_OFF, Mode, mode_of
from verify.scene.ratios import Ratios, ratios_between, share_alike
from verify.scene.records import Bound, Change, Tiles, Why
from verify.scene.shift import level_of, shift_between

MAJORITY = 0.5  # of the usable picture
LEAST_USABLE = 0.08  # of the picture; of less nothing is told
LITTLE_USABLE = 0.25  # of the picture; less is doubtful
PLURALITY, TIGHT = 0.3, 0.02  # of the usable picture; stop: so many that agree so closely are no
# chance between pictures of two sets
FEWEST = 6  # tiles
BETTER = 0.95  # of the tiles' scatter: what a shift must bring it down to
RIVALS = 0.75  # of the tiles that agree: as many that agree on another change are a rival
BEST_CHANGED = 0.4  # of the picture that may have changed for other reasons
ELSEWHERE = 0.3  # of agreeing tiles with outlines: if fewer show the same, the camera has moved,
STILL = 0.01  # stop; unless tiles agree as closely as only those of the same place do
SMOOTH = 0.5  # correlation of neighbouring tiles
U_ELSEWHERE = 0.05  # stop; what a plain backdrop seen from elsewhere may show
UNEVEN = 0.2  # stop; a span of the change over the picture that one figure hides
MORE = 0.05  # of the picture: by so much more must follow a smooth change than one change


def change_between(reference: Tiles, own: Tiles, settings_stops: float = 0.0) -> Change:
    """The change of light from a reference to a frame.

    Parameters
    ----------
    reference, own : two frames' pictures.
    settings_stops : what camera settings let the frame have more than the reference [stop].
    """
    same = (own.size, own.colors, own.cells.shape) == (
        reference.size, reference.colors, reference.cells.shape,
    )  # fmt: skip
    if not same:
        return _nothing("other-size", np.full(own.grid, np.nan), 0.0, False)
    ratios, shift = _aligned(reference, own)
    usable = ratios.usable
    if np.count_nonzero(usable) >= max(FEWEST, LEAST_USABLE * usable.size):
        return _shared(ratios, shift, settings_stops)
    bound = _bounded(ratios, shift, settings_stops)
    if bound is not None:
        return bound
    return _nothing(_lack(reference, own), ratios.stops, float(usable.mean()), None)


def _aligned(reference: Tiles, own: Tiles) -> tuple[Ratios, tuple[float, float]]:
    """Ratios of tiles, the picture moved back where that makes them more even."""
    still = ratios_between(reference, own, (0.0, 0.0))
    main = own.colors.index(main_color(own.colors))
    levels = [level_of(t.cells[..., main].astype(np.float32)) for t in (reference, own)]
    shift = shift_between(levels[0], levels[1])
    if shift == (0.0, 0.0):
        return still, shift
    back = ratios_between(reference, own, shift)
    told = np.isfinite(still.alike) & np.isfinite(back.alike) & (still.u > 0) & (back.u > 0)
    if np.count_nonzero(told) < FEWEST:
        return still, (0.0, 0.0)
    gain = float(np.median(back.u[told] / still.u[told]))
    return (back, shift) if gain <= BETTER else (still, (0.0, 0.0))


@dataclass(frozen=True, slots=True, eq=False)
class _Agreement:
    """How much of a picture agrees on what."""

    mode: Mode  # of the usable tiles
    share: float  # of the picture that tells, that agrees with it
    field: NDArray[np.float64] | None  # a smooth change that more of it follows
    followed: float  # share of the picture that follows a smooth change
    same: bool  # whether it is the same set
    why: Why


def _shared(ratios: Ratios, shift: tuple[float, float], settings: float) -> Change:
    """The change that most tiles share."""
    usable = ratios.usable
    u = np.hypot(ratios.u, ratios.black)
    mode = mode_of(ratios.stops[usable], u[usable], ratios.noise[usable])
    with np.errstate(invalid="ignore"):
        against = (ratios.most < mode.value - MOST_OFF) | (ratios.least > mode.value + MOST_OFF)
    against &= ~usable
    agreement = _agreement(ratios, u, mode, int(np.count_nonzero(usable | against)))
    if agreement.share < MAJORITY and np.count_nonzero(against) > np.count_nonzero(usable):
        bound = _bounded(ratios, shift, settings)
        if bound is not None:
            return bound
    value, u_value, warnings = _told(ratios, agreement)
    other = agreement.why == "other-picture"
    red, blue, u_color = (None, None, None) if other else _colors(ratios, usable, mode)
    field = agreement.field
    return Change(
        stops=None if other else value - settings,
        u_stops=None if other else u_value,
        majority=agreement.why == "",
        same_set=agreement.same,
        why=agreement.why,
        agreed_share=agreement.share,
        usable_share=float(usable.mean()),
        tiles=ratios.stops - settings,
        red_green_stops=red,
        blue_green_stops=blue,
        u_color_stops=u_color,
        uneven_stops=0.0 if field is None else span_of(field, usable),
        shift=shift,
        warnings=warnings,
    )


def _agreement(ratios: Ratios, u: NDArray[np.float64], mode: Mode, told: int) -> _Agreement:
    """How much of a picture agrees.

    Parameters
    ----------
    u : (rows, cols) standard uncertainty of the change of each tile [stop].
    told : tiles that are usable, or that tell against the mode.
    """
    share = np.count_nonzero(mode.agrees) / told
    field, followed = None, 0.0
    if share + MORE < 1:
        field = smooth_field(ratios.stops)
        if field is not None:
            followed = np.count_nonzero(follows(ratios.stops, field, u, MOST_OFF)) / told
    same, why = _same(ratios, mode, share, followed)
    return _Agreement(mode, share, field if followed > share + MORE else None, followed, same, why)


def _same(ratios: Ratios, mode: Mode, share: float, followed: float) -> tuple[bool, Why]:
    """Whether it is the same set, and why no majority agrees on one change."""
    if share >= MAJORITY:
        return True, ""
    alone = mode.rival_share * RIVALS < mode.share and followed <= share + 2 * MORE
    if share >= PLURALITY and mode.spread <= TIGHT and alone:
        return True, "changed"
    alike = share_alike(ratios.alike)
    if (alike is None and followed >= MAJORITY) or (alike is not None and alike >= MAJORITY):
        return True, "uneven"
    return False, "other-picture"


def _told(ratios: Ratios, agreement: _Agreement) -> tuple[float, float, tuple[str, ...]]:
    """The change of light, its uncertainty [stop], and what is doubtful about them."""
    usable, mode, field = ratios.usable, agreement.mode, agreement.field
    if not agreement.same:
        return math.nan, math.nan, ()
    value, u, warnings = mode.value, math.hypot(mode.u, _by_black(ratios, mode)), []
    if agreement.why == "changed":
        warnings.append("scene-changed")
    if field is not None:
        if agreement.why == "uneven":
            value = float(np.median(field[usable]))
        u = math.hypot(u, float(field[usable].std()))
        if span_of(field, usable) > UNEVEN:
            warnings.append("scene-uneven")
    elif agreement.why == "uneven":
        off = np.abs(ratios.stops[usable] - value)
        u = math.hypot(u, float(np.median(off)))
        warnings.append("scene-uneven")
    elif mode.rival is not None and mode.rival_share >= RIVALS * mode.share:
        part = mode.rival_share / (mode.rival_share + mode.share)
        u = math.hypot(u, math.sqrt(part) * (mode.rival - value))
        warnings.append("scene-split")
    if _elsewhere(ratios, mode):
        u = math.hypot(u, U_ELSEWHERE)
        warnings.append("scene-moved")
    if usable.mean() < LITTLE_USABLE:
        warnings.append("scene-little")
    return value, u, tuple(warnings)


def _elsewhere(ratios: Ratios, mode: Mode) -> bool:
    """Whether a plain backdrop agrees that is seen from elsewhere.

    Then tiles that agree do not show the same; or, where no outlines are in them, those of the rest
    are elsewhere, and the change grows little by little, as a backdrop's gradient does.
    """
    if mode.spread <= STILL:
        return False
    share = share_alike(ratios.alike[ratios.usable][mode.agrees])
    if share is not None:
        return share < ELSEWHERE
    share = share_alike(ratios.alike)
    off = np.full(ratios.stops.shape, np.nan)
    off[ratios.usable] = np.where(mode.agrees, ratios.stops[ratios.usable], np.nan)
    return share is not None and share < ELSEWHERE and alike_beside(off) > SMOOTH


def _by_black(ratios: Ratios, mode: Mode) -> float:
    """What black may be off, in the tiles that agree: it does not average out [stop]."""
    black, u = ratios.black[ratios.usable], ratios.u[ratios.usable]
    if not mode.agrees.any():
        return 0.0
    weight = 1 / np.hypot(u, max(mode.spread, LEAST_U))[mode.agrees] ** 2
    return float(weight @ black[mode.agrees] / weight.sum())


def _colors(
    ratios: Ratios, usable: NDArray[np.bool_], mode: Mode
) -> tuple[float | None, float | None, float | None]:
    """Change of red and of blue against green in the tiles that agree, and its uncertainty."""
    found: dict[str, float] = {}
    u_color = 0.0
    for color, plane in ratios.colors.items():
        values = plane[usable][mode.agrees]
        values = values[np.isfinite(values)]
        if len(values) < FEWEST:
            continue
        found[color] = middle = float(np.median(values))
        scatter = 1.4826 * float(np.median(np.abs(values - middle)))
        u_color = max(u_color, math.hypot(1.25 * scatter / math.sqrt(len(values)), LEAST_U))
    return found.get("red"), found.get("blue"), u_color if found else None


def _bounded(ratios: Ratios, shift: tuple[float, float], settings: float) -> Change | None:
    """A bound, where most of the picture is at black or clipped in the frame alone."""
    bound: Bound
    why: Why
    for limit, bound, why, at in (
        (ratios.most, "at-most", "dark", BEST_CHANGED),
        (ratios.least, "at-least", "clipped", 1 - BEST_CHANGED),
    ):
        known = np.where(ratios.usable, ratios.stops, limit)
        told = np.isfinite(known)
        if np.count_nonzero(told) < max(FEWEST, LEAST_USABLE * told.size):
            continue
        if np.count_nonzero(np.isfinite(limit)) <= np.count_nonzero(told) / 2:
            continue
        return Change(
            stops=float(np.quantile(known[told], at)) - settings,
            u_stops=FIRST_SPREAD,
            majority=False,
            same_set=None,
            why=why,
            agreed_share=None,
            usable_share=float(ratios.usable.mean()),
            tiles=ratios.stops - settings,
            shift=shift,
            bound=bound,
        )
    return None


def _lack(reference: Tiles, own: Tiles) -> Why:
    """Why too little of the picture is usable."""
    if own.lost_share.size < FEWEST:
        return "too-small"
    lost = np.maximum(reference.lost_share, own.lost_share)
    return "clipped" if lost.mean() > MAJORITY else "dark"


def _nothing(
    why: Why, tiles: NDArray[np.float64], usable_share: float, same: bool | None
) -> Change:
    """A change of which nothing is told."""
    return Change(
        stops=None,
        u_stops=None,
        majority=False,
        same_set=same,
        why=why,
        agreed_share=None,
        usable_share=usable_share,
        tiles=tiles,
    )
