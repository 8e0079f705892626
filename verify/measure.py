"""The card in a frame to a number: mean linear signal, its uncertainty, and what is doubtful.

The mean is taken in linear signal over every photosite of the main colour (green of a mosaic, Y
of an RGB picture); stops come later.
"""

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from verify.errors import FrameError, NotAFrame
from verify.evenness import Blocks, blocks_of, evenness
from verify.frames.colors import main_color
from verify.frames.frame import Doubt, Frame, Region
from verify.frames.geometry import Box
from verify.target.records import Target

WARN_SHARE = 1e-3  # of photosites clipped: the mean may lie
BOUND_SHARE = 1e-2  # more than this: it is a bound, not a value
LEAST_SIGNAL = 1e-6  # 20 stops below white; floats may state less, and no camera measures it
FLOOR_SHARE = 0.03  # of the mean that the floor may have lifted it: then it is a bound
NEAR_CLIPPING = 0.9  # of clipping
UNEVEN_STOPS = 0.15  # gradient across the box
BESIDE_STOPS = 0.05  # unevenness beside a gradient: an edge, a shadow, texture
SMALL_COUNT = 100  # photosites of the main colour
DARK_SIGMAS = 5.0  # a mean closer to 0 than this many standard errors is black
OFF_CENTRE = 0.3  # of the half diagonal
GLARE_SHARE = 0.01  # of the mean scene that reaches the card's image through the lens
GLARE_STOPS = 0.05  # what is warned of
NORMAL_TANGENT = 0.5  # half diagonal over focal length of a normal lens, where it is unknown
FLAT_MIDDLE = 0.05  # side of the box in the middle of a flat frame, as a share of its sides

Bound = Literal["at-least", "at-most"]


@dataclass(frozen=True, slots=True)
class PatchReading:
    """Linear signal of one uniform area. Colours that the sensor has not are None."""

    target: Target
    signal: float  # mean of the main colour, 1 at the stated white
    noise: float  # standard error of ``signal`` from noise
    red: float | None  # mean linear signal of the red photosites or plane
    green: float | None
    blue: float | None
    clipped: dict[str, float]  # share of photosites at clipping, by colour (0 to 1)
    floored: float  # share of the main colour at the lowest code (0 to 1)
    black: float  # stated black of the main colour [DN]
    white: float  # stated white of the main colour [DN]
    clips_at: float  # signal at which the main colour clips
    gradient_stops: float  # end to end across the box
    bound: Bound | None  # ``signal`` is a bound, not a value
    u_terms: dict[str, float]  # standard uncertainty of each cause within the frame [stop]
    doubts: tuple[Doubt, ...]
    steps: tuple[str, ...]  # applied to the stored values, in order
    black_shift: float = 0.0  # signal that an unsure black may be worth


def measure(frame: Frame, target: Target, flat: Frame | None = None) -> PatchReading:
    """Measure a card or a patch.

    Parameters
    ----------
    frame : an open frame.
    target : where the card is.
    flat : an open frame of an even surface, same lens, aperture and focus; corrects falloff.

    Raises
    ------
    FrameError
        If the pixels cannot be decoded, or none of them is a number.
    """
    box = target.box
    region = frame.signal(box)
    main = region.colors.index(main_color(region.colors))
    blocks, odd = _gathered(region, box)
    even = None if flat is None else _even_light(blocks, flat, frame, box)
    shown, brighter = (blocks, 1.0) if even is None else (even.blocks, even.brighter)
    gradient, beside = evenness(shown)
    terms = _u_terms(frame, box, region, blocks, even) | {"evenness": gradient / math.sqrt(12)}
    clipped = _clipped_shares(region)
    bound = _bound(region, blocks, clipped.get("luminance", clipped[region.colors[main]]))
    of_clipping = blocks.mean / region.clips_at[main]
    found = _ends_of_scale(
        bound, max(clipped.values()), of_clipping, blocks.mean > frame.linear_limit
    )
    others = {
        "flat-not-used": flat is not None and even is None,
        "off-centre": "falloff" in terms,
        "glare": terms.get("glare", 0) > GLARE_STOPS,
        "rendered": not frame.scene_referred,
        "uneven": gradient > UNEVEN_STOPS or beside > BESIDE_STOPS,
        "too-small": shown.counts.sum() < SMALL_COUNT,
    }
    found += [Doubt(name) for name, doubtful in others.items() if doubtful]
    return PatchReading(
        target=target,
        signal=shown.mean,
        noise=blocks.noise * brighter,
        red=_mean(region, "red"),
        green=_mean(region, "green"),
        blue=_mean(region, "blue"),
        clipped=clipped,
        floored=_share(region, region.colors[main], "floored"),
        black=region.black[main],
        white=region.white[main],
        clips_at=region.clips_at[main] * brighter,
        gradient_stops=gradient,
        bound=bound,
        u_terms=terms,
        doubts=(*region.doubts, *odd, *found),
        steps=region.steps if even is None else (*region.steps, "flat frame"),
        black_shift=_black_shift(region) * brighter,
    )


def _u_terms(
    frame: Frame, box: Box, region: Region, blocks: Blocks, even: "_Even | None"
) -> dict[str, float]:
    """Standard uncertainty of each cause within the frame but for evenness [stop].

    Held against the sensor's own signal: a flat frame moves the card and what is unsure alike.
    """
    level = max(blocks.mean, blocks.noise, 1e-12)
    terms = {"noise": _as_stops(blocks.noise, level)}
    shift = _black_shift(region)
    if shift:
        terms["black"] = _as_stops(shift, level)
    lift = _floor_lift(region, main_color(region.colors))
    if lift:
        terms["floor"] = _as_stops(lift, level)
    falloff = _falloff_stops(frame, box)
    if even is not None:
        terms["flat"] = even.noise_stops
    elif falloff is not None:
        terms["falloff"] = falloff
    scene = frame.scene_mean()
    if scene is not None and scene > 0:
        terms["glare"] = math.log2(1 + GLARE_SHARE * scene / level)
    return terms


def _black_shift(region: Region) -> float:
    """Signal that the doubts about a region's black may be worth."""
    return max((doubt.signal for doubt in region.doubts), default=0.0)


def _clipped_shares(region: Region) -> dict[str, float]:
    """Share of photosites at clipping, by colour; of luminance where it is a mix of colours."""
    there = [c for c in dict.fromkeys(region.colors) if region.values(c, "clipped").size]
    shares = {c: _share(region, c, "clipped") for c in there}
    if region.luminance is not None:
        shares["luminance"] = float(region.clipped.any(axis=-1).mean())
    return shares


def code_step(black: float, white: float) -> float:
    """Signal of one stored code; 0 where white is 1, in floating-point files."""
    return 1 / (white - black) if white - black > 1 else 0.0


def _gathered(region: Region, box: Box) -> tuple[Blocks, list[Doubt]]:
    """Blocks of the main colour; values that are no numbers are left out and told of."""
    values, rows, cols = _main_photosites(region)
    finite = np.isfinite(values)
    doubts = []
    if not finite.all():
        share = 1 - float(finite.mean())
        if share > BOUND_SHARE:
            msg = f"{share:.0%} of the box is not a number (NaN or infinity): nothing to measure"
            raise NotAFrame(msg)
        values, rows, cols = values[finite], rows[finite], cols[finite]
        doubts.append(Doubt("not-finite", f"{share:.2%} of the box is not a number"))
    if values.size == 0:
        msg = "the box holds no photosite of the main colour: make it larger"
        raise FrameError(msg)
    return blocks_of(values, rows, cols, (box.height, box.width)), doubts


def _main_photosites(
    region: Region,
) -> tuple[NDArray[np.float64], NDArray[np.intp], NDArray[np.intp]]:
    """Signal of the main colour, flat, with the row and the column of each value."""
    main = region.colors.index(main_color(region.colors))
    if region.classes is not None:
        chosen = region.classes == main
        rows, cols = np.nonzero(chosen)
        return region.signal[chosen], rows, cols
    if region.luminance is not None:
        array = region.signal @ np.asarray(region.luminance)
    else:
        array = region.signal if region.signal.ndim == 2 else region.signal[..., main]
    rows, cols = np.indices(array.shape)
    return array.ravel(), rows.ravel(), cols.ravel()


@dataclass(frozen=True, slots=True)
class _Even:
    """A patch as if every place got as much light as the middle of the picture."""

    blocks: Blocks
    brighter: float  # signal of the middle against the patch's place
    noise_stops: float  # standard uncertainty from the flat frame's own noise


def _even_light(blocks: Blocks, flat: Frame, frame: Frame, box: Box) -> _Even | None:
    """Blocks corrected by a flat frame; None where it is of another size, too dark or clipped.

    The flat may have been shot with the camera turned: it is read as if it were turned like the
    frame, for both lie on the same photosites.
    """
    turned = replace(flat.settings, orientation=frame.settings.orientation)
    alike = replace(flat, settings=turned)
    if alike.size != frame.size:
        return None
    size = alike.size
    width, height = (max(16, int(side * FLAT_MIDDLE)) for side in (size.width, size.height))
    middle = Box((size.width - width) // 2, (size.height - height) // 2, width, height)
    if not middle.inside(size):
        return None
    try:
        regions = alike.signal(middle), alike.signal(box)
        centre, there = (_gathered(r, b)[0] for r, b in zip(regions, (middle, box), strict=True))
    except FrameError:  # the flat cannot be decoded there: the frame itself is none the worse
        return None
    lit = there.means[there.counts > 0]
    too_dark = centre.mean <= DARK_SIGMAS * centre.noise or (lit <= 0).any()
    if too_dark or any(_share(r, main_color(r.colors), "clipped") > WARN_SHARE for r in regions):
        return None
    noise = math.hypot(centre.noise / centre.mean, there.noise / there.mean)
    even = blocks.over(there, centre.mean)
    return _Even(even, centre.mean / there.mean, _as_stops(noise, 1))


def _falloff_stops(frame: Frame, box: Box) -> float | None:
    """cos^4 of the field angle at the box [stop], None near enough to the axis."""
    size = frame.size
    x = box.col + box.width / 2 - size.width / 2
    y = box.row + box.height / 2 - size.height / 2
    half = math.hypot(size.width, size.height) / 2
    place = math.hypot(x, y)
    if place <= OFF_CENTRE * half:
        return None
    pitch, focal = frame.settings.pixel_pitch_um, frame.settings.focal_mm
    tangent = place / half * NORMAL_TANGENT
    if pitch is not None and focal is not None:
        tangent = place * pitch / 1000 / focal
    return -4 * math.log2(math.cos(math.atan(tangent)))


def _bound(region: Region, blocks: Blocks, clipped: float) -> Bound | None:
    """Whether the mean is only a bound on the card's signal."""
    if clipped > BOUND_SHARE and blocks.mean <= 0:
        msg = "its card is clipped and below black at once: these are no values of a picture"
        raise NotAFrame(msg)
    if clipped > BOUND_SHARE:
        return "at-least"
    signal, lift = blocks.mean, _floor_lift(region, main_color(region.colors))
    least = max(DARK_SIGMAS * blocks.noise, 2 * _black_shift(region), LEAST_SIGNAL)
    if signal <= least or lift > FLOOR_SHARE * signal:
        return "at-most"
    return None


def _floor_lift(region: Region, color: str) -> float:
    """How much the floor may have lifted the mean, in signal: what lies below it is stored as it.

    Each phase of a 2 x 2 repeat by itself: the share of its photosites at the floor times their
    noise, or one code where that is more.
    """
    if not region.floored.any():
        return 0.0
    main = region.colors.index(color)
    code = code_step(region.black[main], region.white[main])
    array = region.signal if region.signal.ndim == 2 else region.signal[..., main]
    at_floor = region.floored if region.floored.ndim == 2 else region.floored[..., main]
    lifts = []
    for row, col in ((0, 0), (0, 1), (1, 0), (1, 1)):
        own = slice(row, None, 2), slice(col, None, 2)
        chosen = np.isfinite(array[own])
        if region.classes is not None:
            chosen &= region.classes[own] == main
        if chosen.any():
            noise = max(float(array[own][chosen].std()), code)
            lifts += [(float(at_floor[own][chosen].mean()) * noise, int(chosen.sum()))]
    return sum(lift * n for lift, n in lifts) / sum(n for _, n in lifts)


def _ends_of_scale(
    bound: Bound | None, clipped: float, of_clipping: float, beyond_limit: bool
) -> list[Doubt]:
    """Warnings of a card near or beyond the ends of the scale."""
    if bound == "at-most":
        return [Doubt("at-black")]
    if bound == "at-least":
        return [Doubt("clipped")]
    found = []
    if clipped > WARN_SHARE:
        found.append(Doubt("part-clipped", f"{clipped:.1%} of one colour is clipped"))
    if of_clipping > NEAR_CLIPPING or beyond_limit:
        found.append(Doubt("near-clipping"))
    return found


def _share(region: Region, color: str, of: Literal["clipped", "floored"]) -> float:
    """Share of the photosites of a colour that are clipped or at the floor."""
    return float(region.values(color, of).mean())


def _mean(region: Region, color: str) -> float | None:
    """Mean linear signal of a colour; None where the sensor has it not."""
    if color not in region.colors:
        return None
    values = region.values(color, "signal")
    finite = values[np.isfinite(values)]
    return float(finite.mean()) if finite.size else None


def _as_stops(part: float, level: float) -> float:
    """A small part of a signal as stops: the slope of log2."""
    return part / level / math.log(2)
