"""What the tiles of the picture say: parts that lose light, an edge that a curtain cuts, bands.

Each tile is held against the light of its frame and against what it usually is, so what is left is
the change of the pattern of light.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from verify.diagnose.series import Series

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Side = Literal["top", "bottom", "left", "right"]

FEWEST = 4  # frames with tiles
LEAST_LOSS = 0.12  # stop, of a tile that loses light
LEAST_CUT = 0.07  # stop, at the edge of the picture
CLEAR = 4.0  # standard deviations
LEAST_NOISE = 0.01  # stop, of a tile
LEAST_TILES, LEAST_PART = 3, 0.04  # of a blocked part
BOTH_WAYS = 0.34  # tiles that gain for each that loses: then something in the picture changed
UNEVEN = 0.6  # spread of the loss in a part, of the loss
SHORTER = 0.7  # of the longest shutter time: a frame that a curtain may cut
STEADY_LIGHT = 0.1  # stop, by which the rest of the picture may move where a part is blocked
ALONG = 0.85  # of the side that a curtain cuts, that loses light
BAND_RATIO, LEAST_BAND = 1.8, 0.012  # along against across the rows; stop
NEAR = 4  # frames on each side that the light of a picture is held against


@dataclass(frozen=True, slots=True, eq=False)
class Blocked:
    """Frames in which a part of the picture loses light and the rest does not."""

    frames: Bools
    loss_stops: float
    share: float  # of the picture


@dataclass(frozen=True, slots=True, eq=False)
class Cut:
    """Frames that lose light towards one side of the picture."""

    frames: Bools
    loss_stops: float  # at that side
    side: Side
    longest_s: float  # shutter time of those frames


@dataclass(frozen=True, slots=True, eq=False)
class Picture:
    """What the tiles of a series say; NaN or None where there are none."""

    scene: Floats  # (frames,) light that most of the picture shows [stop]
    pattern: Floats  # (frames,) typical change of the pattern, against its noise
    blocked: Blocked | None = None
    cut: Cut | None = None
    bands_stops: float = 0.0  # size of bands along one way of the picture, of one frame
    has_tiles: bool = False


def look_at(series: Series) -> Picture:
    """What the tiles of the frames show; nothing where too few frames have the same ones."""
    count = len(series.frames)
    none = np.full(count, np.nan)
    stack = _stacked(series)
    if stack is None:
        return Picture(none, none)
    with np.errstate(all="ignore"):
        flat = stack.reshape(count, -1)
        scene = _median(flat, 1)
        by_scene = np.array([f.by == "scene" and not f.bound for f in series.frames])
        scene = np.where(by_scene & np.isfinite(series.light), series.light, scene)
        pattern = stack - scene[:, None, None]
        usual = _usual(series, pattern)
        off = pattern - usual
        noise = np.maximum(1.4826 * _median(np.abs(off), 0), LEAST_NOISE)
        changed = _median((np.abs(off) / noise).reshape(count, -1), 1)
    cut = _cut(series, off)
    free = np.ones(count, bool) if cut is None else ~cut.frames
    return Picture(
        scene=scene,
        pattern=changed,
        blocked=_blocked(off, noise, scene, free),
        cut=cut,
        bands_stops=_bands(off[series.timed]),
        has_tiles=True,
    )


def _median(values: Floats, axis: int) -> Floats:
    """Median of what is known; NaN where nothing is."""
    known = np.isfinite(values).any(axis)
    filled = np.where(np.expand_dims(known, axis), values, 0.0)
    return np.where(known, np.nanmedian(filled, axis=axis), np.nan)


def _stacked(series: Series) -> Floats | None:
    """(frames, rows, cols) tiles, NaN where a frame has none or others."""
    shapes = [f.tiles.shape for f in series.frames if f.tiles is not None and f.tiles.ndim == 2]
    if len(shapes) < FEWEST:
        return None
    usual = max(set(shapes), key=shapes.count)
    stack = np.full((len(series.frames), *usual), np.nan)
    for at, frame in enumerate(series.frames):
        if frame.tiles is not None and frame.tiles.shape == usual:
            stack[at] = np.where(np.isfinite(frame.tiles), frame.tiles, np.nan)
    return stack if np.isfinite(stack).any() else None


def _usual(series: Series, pattern: Floats) -> Floats:
    """(rows, cols) pattern of the frames that no curtain can have cut; else of all."""
    open_s = series.shutter_s
    if np.isfinite(open_s).any():
        slow = open_s > SHORTER * np.nanmax(open_s)
        if FEWEST <= slow.sum() < len(open_s):
            return _median(pattern[slow], 0)
    return _median(pattern, 0)


def _blocked(off: Floats, noise: Floats, scene: Floats, free: Bools) -> Blocked | None:
    least = np.maximum(LEAST_LOSS, CLEAR * noise)
    low, high = off < -least, off > least
    frames = np.zeros(len(off), bool)
    losses, shares = [], []
    for at in np.flatnonzero(free & (low.sum((1, 2)) >= LEAST_TILES)):
        parts, number = ndimage.label(low[at])
        sizes = ndimage.sum_labels(low[at], parts, np.arange(1, number + 1))
        part = parts == 1 + int(np.argmax(sizes))
        seen = int(np.isfinite(off[at]).sum())
        loss = off[at][part]
        if part.sum() < max(LEAST_TILES, LEAST_PART * seen):
            continue
        if high[at].sum() > BOTH_WAYS * part.sum() or np.std(loss) > UNEVEN * -np.mean(loss):
            continue
        beside = np.r_[scene[max(at - NEAR, 0) : at], scene[at + 1 : at + 1 + NEAR]]
        beside = beside[np.isfinite(beside)]
        if beside.size and abs(scene[at] - np.median(beside)) > STEADY_LIGHT:
            continue
        frames[at] = True
        losses.append(float(np.median(loss)))
        shares.append(float(part.sum() / seen))
    if not frames.any():
        return None
    return Blocked(frames, float(np.median(losses)), float(np.median(shares)))


def _cut(series: Series, off: Floats) -> Cut | None:
    """A loss towards one side in frames of shorter shutter times."""
    open_s = np.where(series.timed, np.nan, series.shutter_s)
    if not np.isfinite(open_s).any():
        return None
    short = open_s <= SHORTER * np.nanmax(open_s)
    seen = np.isfinite(off).any((1, 2))
    short &= seen
    if not short.any() or short.sum() == seen.sum():
        return None
    sides: dict[Side, Floats] = {
        "top": _edge_loss(off),
        "bottom": _edge_loss(off[:, ::-1]),
        "left": _edge_loss(off.transpose(0, 2, 1)),
        "right": _edge_loss(off.transpose(0, 2, 1)[:, ::-1]),
    }
    long = seen & ~short & np.isfinite(open_s)
    found: Cut | None = None
    for side, loss in sides.items():
        usual = float(np.nanstd(loss[long])) if long.sum() > 2 else LEAST_NOISE
        cut = short & (loss < -max(LEAST_CUT, CLEAR * max(usual, LEAST_NOISE)))
        if not cut.any():
            continue
        longest = float(open_s[cut].max())
        share = float(cut.sum() / (short & (open_s <= longest)).sum())
        size = float(np.median(loss[cut]))
        better = found is None or size * cut.sum() < found.loss_stops * found.frames.sum()
        if share >= 0.5 and better:
            found = Cut(cut, size, side, longest)
    return found


def _edge_loss(off: Floats) -> Floats:
    """(frames,) light of the first rows against the other half; 0 where that does not fall off."""
    rows = _median(off, 2)
    depth = rows.shape[1]
    first = _median(rows[:, : max(1, depth // 8)], 1)
    next_ = _median(rows[:, max(1, depth // 8) : max(2, depth // 3)], 1)
    far = _median(rows[:, depth // 2 :], 1)
    # All along the edge: else something stands before a part of it.
    along = _median(off[:, : max(1, depth // 8)], 1) - far[:, None]
    known = np.isfinite(along)
    lost = (along < (first - far)[:, None] / 3) & known
    whole = lost.sum(1) > ALONG * np.maximum(known.sum(1), 1)
    falls = whole & (first <= next_ + LEAST_NOISE) & (next_ <= far + 2 * LEAST_NOISE)
    return np.where(falls, first - far, 0.0)


def _bands(off: Floats) -> float:
    """Size of what changes along one way of the picture and not across it, 0 for none [stop]."""
    if len(off) < FEWEST or min(off.shape[1:]) < 4:
        return 0.0
    spreads = []
    for profile in (_median(off, 2), _median(off, 1)):
        along = np.linspace(-1, 1, profile.shape[1])
        centred = profile - np.nanmean(profile, axis=1, keepdims=True)
        slope = np.nansum(centred * along, axis=1, keepdims=True) / (along**2).sum()
        spreads.append(float(np.nanmedian(np.nanstd(centred - slope * along, axis=1))))
    high, low = max(spreads), min(spreads)
    return high if high > LEAST_BAND and high > BAND_RATIO * low else 0.0
