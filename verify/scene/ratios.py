"""Two pictures to the change of each tile: a ratio of linear signals, with its uncertainty.

Cells that are clipped in either picture are left out of both.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from verify.frames.colors import main_color
from verify.scene.records import Tiles
from verify.scene.shift import level_of, moved
from verify.scene.tiles import sums

LEFT = 0.5  # of a tile's cells, that must be usable
LEAST_OVER = 5.0  # standard errors over black, that a tile must be in both pictures
TEXTURED = 0.1  # stop; spread of the level in a tile that tells one set from another
ALIKE = 0.7  # correlation of the level in a tile, at which it shows the same
FEWEST = 8  # tiles with texture
Plane = NDArray[np.float64]  # (rows, cols) of tiles


@dataclass(frozen=True, slots=True, eq=False)
class Ratios:
    """Change of each tile from a reference to a frame, (rows, cols); NaN where not usable."""

    stops: Plane  # of the main colour
    u: Plane  # standard uncertainty by how unevenly the tile's cells changed [stop]
    noise: Plane  # standard uncertainty by noise alone [stop]
    black: Plane  # what an error of black by its u would change [stop]
    most: Plane  # where a tile is at black in the frame alone: the most it changed by; else NaN
    least: Plane  # where it is clipped in the frame alone: the least it changed by; else NaN
    colors: dict[str, Plane]  # change of other colours against the main one [stop]
    alike: Plane  # correlation of the level in tiles with enough texture; NaN elsewhere

    @property
    def usable(self) -> NDArray[np.bool_]:
        """Tiles that have a change."""
        return np.isfinite(self.stops)


def share_alike(alike: NDArray[np.float64]) -> float | None:
    """Share of the tiles with texture that show the same; None of too few such tiles.

    Parameters
    ----------
    alike : correlations of tiles, of any shape; NaN where there is no texture.
    """
    told = np.isfinite(alike)
    return float((alike[told] >= ALIKE).mean()) if np.count_nonzero(told) >= FEWEST else None


def ratios_between(reference: Tiles, own: Tiles, shift: tuple[float, float]) -> Ratios:
    """The change of each tile.

    Parameters
    ----------
    reference, own : of the same size and colours.
    shift : columns and rows [cell] by which ``own`` lies beside the reference.
    """
    cells = moved(reference.cells.astype(np.float32), shift).astype(np.float64)
    mine = own.cells.astype(np.float64)
    usable = ~(own.lost | moved_mask(reference.lost, shift))
    main = own.colors.index(main_color(own.colors))
    count = sums(usable.astype(float), own.grid)
    all_cells = sums(np.ones(usable.shape), own.grid)
    whole = count >= np.maximum(LEFT * all_cells, 1)
    part = _parts(cells[..., main], mine[..., main], usable, own.grid)
    per_cell = np.sqrt(np.maximum(count, 1))
    limits = [
        LEAST_OVER * np.hypot(tiles.noise / per_cell, tiles.black_u) for tiles in (reference, own)
    ]
    over_reference = (part.reference > limits[0]) & ~reference.floored
    over = (part.own > limits[1]) & ~own.floored
    told = whole & over & over_reference
    stops, u = _stops(part, told)
    with np.errstate(invalid="ignore", divide="ignore"):
        ratio = np.where(told, part.own / part.reference, np.nan)
        noise = np.hypot(own.noise, ratio * reference.noise) / per_cell / part.own / math.log(2)
        unsure = max(reference.black_u, own.black_u)
        black = unsure * np.abs(1 / part.own - 1 / part.reference) / math.log(2)
        lit = (reference.signal[..., main] > limits[0]) & ~reference.floored
        at_black = (own.signal[..., main] <= limits[1]) | own.floored
        only_dark = (own.lost_share < LEFT) & at_black & lit
        only_lost = (own.lost_share > 1 - LEFT) & (reference.lost_share < LEFT) & lit
        change = np.log2(np.maximum(own.signal, limits[1][..., None]) / reference.signal)[..., main]
    return Ratios(
        stops=stops,
        u=np.maximum(u, noise),
        noise=noise,
        black=black,
        most=np.where(only_dark, change, np.nan),
        least=np.where(only_lost, change, np.nan),
        colors=_colors(cells, mine, usable, (reference, own), stops),
        alike=np.where(
            told, _alike(cells[..., main], mine[..., main], usable, reference, own), np.nan
        ),
    )


def moved_mask(mask: NDArray[np.bool_], shift: tuple[float, float]) -> NDArray[np.bool_]:
    """A mask of cells moved as the cells are; what came in at the sides is in it."""
    if shift == (0.0, 0.0):
        return mask
    part = moved(mask.astype(np.float32), shift) > 0.1
    beside = math.ceil(max(map(abs, shift))) + 1
    part[:beside] = part[-beside:] = part[:, :beside] = part[:, -beside:] = True
    return np.asarray(part)


@dataclass(frozen=True, slots=True, eq=False)
class _Parts:
    """Means over the usable cells of tiles."""

    count: Plane  # usable cells
    reference: Plane
    own: Plane
    off: Plane  # variance of a cell of the frame about the reference's times the ratio


def _parts(
    cells: NDArray[np.float64],
    mine: NDArray[np.float64],
    usable: NDArray[np.bool_],
    grid: tuple[int, int],
) -> _Parts:
    """Means of one colour."""
    mask = usable.astype(float)
    stack = np.stack([mask, cells * mask, mine * mask, cells**2 * mask, cells * mine * mask,
                      mine**2 * mask])  # fmt: skip
    count, sum_r, sum_o, sum_rr, sum_ro, sum_oo = sums(stack, grid)
    with np.errstate(invalid="ignore", divide="ignore"):
        ratio = sum_o / sum_r
        off = (sum_oo - 2 * ratio * sum_ro + ratio**2 * sum_rr) / (count - 1)
        off = np.where(count > 1, np.maximum(off, 0), 0)
        return _Parts(count, sum_r / count, sum_o / count, off)


def _stops(part: _Parts, told: NDArray[np.bool_]) -> tuple[Plane, Plane]:
    """Change of tiles and its uncertainty by the cells in them."""
    with np.errstate(invalid="ignore", divide="ignore"):
        stops = np.where(told, np.log2(part.own / part.reference), np.nan)
        u = np.sqrt(part.off / part.count) / part.own / math.log(2)
    return stops, np.where(told, u, np.nan)


def _colors(
    cells: NDArray[np.float64],
    mine: NDArray[np.float64],
    usable: NDArray[np.bool_],
    pair: tuple[Tiles, Tiles],
    stops: Plane,
) -> dict[str, Plane]:
    """Change of red and blue against the main colour."""
    floor = LEAST_OVER * max(tiles.black_u for tiles in pair)
    found = {}
    for color in {"red", "blue"} & set(pair[1].colors):
        at = pair[1].colors.index(color)
        part = _parts(cells[..., at], mine[..., at], usable, pair[1].grid)
        with np.errstate(invalid="ignore"):
            told = np.isfinite(stops) & (part.own > floor) & (part.reference > floor)
        found[color] = _stops(part, told)[0] - stops
    return found


def _alike(
    cells: NDArray[np.float64],
    mine: NDArray[np.float64],
    usable: NDArray[np.bool_],
    reference: Tiles,
    own: Tiles,
) -> Plane:
    """Correlation of the level of tiles with texture; NaN for others."""
    mask = usable.astype(float)
    a, b = (level_of(c.astype(np.float32)).astype(float) for c in (cells, mine))
    stack = np.stack([mask, a * mask, b * mask, a * a * mask, a * b * mask, b * b * mask])
    n, sum_a, sum_b, aa, ab, bb = sums(stack, own.grid)
    with np.errstate(invalid="ignore", divide="ignore"):
        both = np.sqrt((aa - sum_a**2 / n) * (bb - sum_b**2 / n))
        alike = (ab - sum_a * sum_b / n) / both
        main = own.colors.index(main_color(own.colors))
        grain = own.noise / own.signal[..., main] / math.log(2)
    textured = np.maximum(own.texture, reference.texture) >= np.maximum(TEXTURED, 2 * grain)
    return np.where(textured & (both > 0), alike, np.nan)
