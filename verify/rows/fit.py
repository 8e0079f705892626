"""Row profiles to curves: an even falloff alone, or with what a shutter takes of the flash.

The falloff of lamp and lens is a quadratic in stops. In the ratio of two frames it cancels, and
what is left of it is held small by what is known beforehand (a Gaussian prior for each of its
three coefficients). Fits are in linear signal, where a row that got no light is a value like any
other. Of several curves the one with the least Bayesian information criterion counts.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from verify.rows.shapes import FLOOR_SHARE, SHAPES, Shape, light, lost

Array = NDArray[np.float64]

INDEPENDENT = 12  # parts of the way, over each of which what is not noise is the same
STRAY = 5e-4  # of the brightest rows: light that a lens scatters into dark ones
ROOM_PRIOR = 0.05  # of the flash: what the room adds, where nothing else tells
FAR_PRIOR = 0.3  # stop: what the rows covered last lose, where nothing else tells
MOST_ROOM = 0.9
POLISHED = 2  # curves of a family that are fitted to the end
U_PLACE = 0.01  # of the way: a curtain runs before the sensor, and its edge is no line on it
NEAR = 0.03  # of the way: rows so near a place tell what it loses
NOISE_OVER = 5.0  # standard uncertainties, that a row must be above black to tell
CONVERGED = 1e-6  # relative change of the sum of squares
SURER = 10.0  # by the criterion: above 10, very strong (Kass and Raftery 1995, from memory)
AS_LIKELY = 6.0  # by the criterion: curves that close to the best one may be the true one
LEVEL_FREE = 10.0  # stop: the level of one frame is not known beforehand
NO_WORSE = 0.015  # stop: as may curves that leave no more; no pulse is exactly one of them
SHAPED = 3  # parameters that a curve of a cut has and the even falloff has not
LN2 = math.log(2)


@dataclass(frozen=True, slots=True, eq=False)
class Rows:
    """A profile to fit: signal of a frame, or the ratio of two."""

    place: Array  # (bins,) along the way, 0 to 1
    value: Array  # (bins,) signal, or ratio
    u: Array  # (bins,) standard uncertainty of it
    structure_stops: float  # of the light, that is neither noise nor falloff
    priors: tuple[float, float, float]  # deviations of level, tilt and bow [stop]


@dataclass(frozen=True, slots=True, eq=False)
class Fitted:
    """One curve through a profile."""

    shape: Shape | None  # None: the even falloff alone
    at_end: bool  # the edge that loses is that of place 1
    parameters: Array  # level, tilt, bow, and the three of the shape where there is one
    covariance: Array  # of the parameters
    criterion: float  # the less the better
    rest_stops: float  # what of the light it leaves, beside noise: root mean square [stop]

    def losses(self, place: Array, of_flash: bool = False) -> Array:
        """Stops lost in rows at these places; of the flash alone, or with the room's light."""
        if self.shape is None:
            return np.zeros(place.shape)
        return self._lost(place, self.parameters[3:], of_flash)

    def u_losses(self, place: Array, of_flash: bool = False) -> Array:
        """Standard uncertainty of :meth:`losses` [stop]."""
        slopes = []
        for at in range(3, len(self.parameters)):
            step = max(1e-4, 0.05 * math.sqrt(self.covariance[at, at]))
            low, high = self.parameters[3:].copy(), self.parameters[3:].copy()
            low[at - 3] -= step
            high[at - 3] += step
            change = self._lost(place, high, of_flash) - self._lost(place, low, of_flash)
            slopes.append(change / (2 * step))
        slope, own = np.array(slopes), self.covariance[3:, 3:]
        return np.asarray(np.sqrt(np.maximum(np.einsum("ib,ij,jb->b", slope, own, slope), 0)))

    def missed(self, rows: Rows, place: Array) -> Array:
        """Stops that rows near these places lose beside the curve, which no pulse has exactly."""
        near = np.abs(rows.place[None] - place[:, None])
        near = near <= np.maximum(NEAR, near.min(axis=1, keepdims=True) + NEAR / 2)
        x = 1 - rows.place if self.at_end else rows.place
        curve = np.exp2(falloff_basis(rows.place) @ self.parameters[:3])
        if self.shape is not None:
            curve = curve * light(self.shape, x, self.parameters[3:])
        floor = FLOOR_SHARE * float(np.quantile(rows.value, 0.9))
        told = rows.value > np.maximum(NOISE_OVER * rows.u, floor)
        stops = np.log2(curve / np.maximum(rows.value, floor))
        count = (near & told).sum(axis=1)
        return np.asarray((near & told) @ stops / np.maximum(count, 1) * (2 * count > near.sum(1)))

    def _lost(self, place: Array, parameters: Array, of_flash: bool) -> Array:
        assert self.shape is not None  # the even falloff has no parameters from the third on
        room = 0.0 if of_flash else parameters[2]
        x = 1 - place if self.at_end else place
        return lost(self.shape, x, np.array([*parameters[:2], room]))


@dataclass(frozen=True, slots=True, eq=False)
class Fits:
    """What a profile may be."""

    even: Fitted  # the falloff alone
    cuts: tuple[Fitted, ...]  # likeliest first; none where the falloff explains it all

    @property
    def cut(self) -> Fitted | None:
        """The best curve of a cut, where it is surely better than the falloff alone."""
        better = self.cuts and self.even.criterion - self.cuts[0].criterion > SURER
        return self.cuts[0] if better else None

    @property
    def rest_stops(self) -> float:
        """What of the light no curve explains, root mean square [stop]."""
        return min(fit.rest_stops for fit in (self.even, *self.cuts))

    def losses(self, rows: Rows, place: Array, of_flash: bool) -> tuple[Array, Array]:
        """Stops lost and their standard uncertainty, what other likely curves say among it.

        By the best curve, brought to what the rows there show.
        """
        best = self.cuts[0]
        at_best = best.losses(place, of_flash)
        likely = [
            c
            for c in self.cuts
            if c.criterion < best.criterion + AS_LIKELY or c.rest_stops < NO_WORSE
        ]
        apart = np.max([np.abs(c.losses(place, of_flash) - at_best) for c in likely], axis=0)
        missed = best.missed(rows, place)
        shown = best.losses(place) + missed
        if of_flash:
            room = best.parameters[5]
            flash = (np.exp2(-shown) - room) / (1 - room)
            shown = -np.log2(np.maximum(flash, FLOOR_SHARE))
        # A ratio's level that is off may be a loss that all rows have in common.
        common = abs(float(best.parameters[0])) / 2 if rows.priors[0] < LEVEL_FREE else 0.0
        around = [best.losses(place + by, of_flash) for by in (-U_PLACE, U_PLACE)]
        steepness = np.abs(around[1] - around[0]) / 2
        parts = [best.u_losses(place, of_flash), apart / 2, missed / 2, steepness]
        square = np.sum(np.square(parts), axis=0) + rows.structure_stops**2
        return shown, np.sqrt(square + min(common, rows.priors[0]) ** 2)


def falloff_basis(place: Array) -> Array:
    """Level, tilt from edge to edge and bow, (bins, 3): each changes by one stop, the middle 0."""
    z = 2 * place - 1
    return np.column_stack([np.ones_like(z), z / 2, z * z - 1 / 3])


def fits_of(rows: Rows, room: float | None = None) -> Fits:
    """What a profile may be.

    Parameters
    ----------
    room : share of the room's light where it is known; None: fitted.
    """
    even = _polished(rows, None, False, np.zeros(0), room)
    if even.criterion < SURER + (3 + SHAPED) * math.log(rows.value.size):
        return Fits(even, ())  # no curve could be surely better
    cuts = [
        _polished(rows, shape, at_end, seed, room)
        for shape in SHAPES
        for at_end, seed in _likeliest(rows, shape, room)
    ]
    return Fits(even, tuple(sorted(cuts, key=lambda fit: fit.criterion)))


def hidden_stops(rows: Rows) -> float:
    """The largest difference of loss between the edges that would pass for falloff [stop].

    Every curve of a decaying pulse and of one of even strength is tried: how much of it remains
    when the falloff that fits it best is taken out, against noise and structure.
    """
    basis, sigma = falloff_basis(rows.place), weights(rows)
    weight = (rows.value * LN2 / sigma) ** 2
    normal = np.einsum("b,bi,bj->ij", weight, basis, basis) + np.diag(_precisions(rows))
    most = 0.0
    for shape in SHAPES:
        curves = shape.share(rows.place[None], shape.seeds[:, :, None])
        whole = curves[curves.min(axis=1) > FLOOR_SHARE]
        loss = -np.log2(whole)
        fitted = np.linalg.solve(normal, basis.T @ (weight * loss).T).T
        off = ((loss - fitted @ basis.T) ** 2 @ weight) + fitted**2 @ _precisions(rows)
        passes = off < SURER + SHAPED * math.log(rows.value.size)
        apart = loss.max(axis=1) - loss.min(axis=1)
        most = max(most, float(apart[passes].max(initial=0.0)))
    return most


def weights(rows: Rows) -> Array:
    """Standard uncertainty of each bin in a fit: noise, structure along the way, stray light."""
    structure = rows.structure_stops * LN2 * math.sqrt(max(rows.place.size / INDEPENDENT, 1.0))
    stray = STRAY * float(np.quantile(rows.value, 0.9))
    return np.asarray(np.sqrt(rows.u**2 + (structure * rows.value) ** 2 + stray**2))


def _likeliest(rows: Rows, shape: Shape, room: float | None) -> list[tuple[bool, Array]]:
    """Edges and seeds of a family from which to fit to the end."""
    known = 0.0 if room is None else room
    seeds, count = shape.seeds, shape.seeds.shape[1]
    both = [shape.share(x[None], seeds[:, :, None]) for x in (rows.place, 1 - rows.place)]
    curves = known + (1 - known) * np.concatenate(both)
    _, off = fit_falloff(rows, np.maximum(curves, FLOOR_SHARE))
    chosen = np.argsort(off)[:POLISHED].tolist()
    return [(at >= count, np.array([*seeds[:, at % count], known])) for at in chosen]


def fit_falloff(rows: Rows, curves: Array) -> tuple[Array, Array]:
    """The falloff that fits each of many curves best, and the sum of squares it leaves.

    Parameters
    ----------
    curves : (curves, bins) share of the light.

    Returns
    -------
    Coefficients (curves, 3) [stop], and the sum of squares (curves,), priors among it.
    """
    sigma = weights(rows)
    basis = falloff_basis(rows.place)
    value = np.maximum(rows.value, FLOOR_SHARE * np.quantile(rows.value, 0.9))
    stops = np.log2(value)[None] - np.log2(curves)
    # A bin weighs by its signal; where the curve is dark the logarithm says little.
    weight = (value * LN2 / sigma)[None] ** 2 * (curves > 0.02)
    normal = np.einsum("cb,bi,bj->cij", weight, basis, basis) + np.diag(_precisions(rows))
    toward = np.einsum("cb,bi,cb->ci", weight, basis, stops)
    coefficients = np.linalg.solve(normal, toward[..., None])[..., 0]
    model = np.exp2(np.clip(coefficients @ basis.T, -60, 60)) * curves
    off = (((rows.value - model) / sigma) ** 2).sum(axis=1)
    return coefficients, off + (coefficients**2 @ _precisions(rows))


def _precisions(rows: Rows) -> Array:
    """Of level, tilt and bow: 1 / variance."""
    return np.asarray(1 / np.square(np.array(rows.priors)))


def _polished(
    rows: Rows, shape: Shape | None, at_end: bool, seed: Array, room: float | None
) -> Fitted:
    """A curve fitted to the end."""
    sigma, basis = weights(rows), falloff_basis(rows.place)
    x = 1 - rows.place if at_end else rows.place
    spread = np.array(rows.priors)
    fitted_room = shape is not None and room is None

    def off(parameters: Array) -> Array:
        level = np.exp2(np.clip(basis @ parameters[:3], -60, 60))
        held: Sequence[float] = parameters[:3] / spread
        if shape is not None:
            level = level * light(shape, x, _with_room(parameters[3:], room))
            far = lost(shape, np.ones(1), _with_room(parameters[3:], room))[0]
            held = [*held, far / FAR_PRIOR]
        if fitted_room:
            held = [*held, parameters[5] / ROOM_PRIOR]
        return np.concatenate([(rows.value - level) / sigma, held])

    curve = np.ones(x.shape) if shape is None else light(shape, x, _with_room(seed, room))
    start, _ = fit_falloff(rows, np.maximum(curve, FLOOR_SHARE)[None])
    low, high = [-60.0] * 3, [60.0] * 3
    if shape is not None:
        low, high = [*low, *shape.lowest], [*high, *shape.highest]
    if fitted_room:
        low, high = [*low, 0.0], [*high, MOST_ROOM]
    first = np.clip([*start[0], *seed[: len(low) - 3]], np.add(low, 1e-6), np.subtract(high, 1e-6))
    found = least_squares(
        off, first, bounds=(low, high), x_scale="jac", ftol=CONVERGED, max_nfev=60
    )
    own = np.asarray(found.fun[: rows.value.size] * sigma)
    return Fitted(
        shape=shape,
        at_end=at_end,
        parameters=np.array([*found.x, room]) if shape and not fitted_room else found.x,
        covariance=_covariance(np.asarray(found.jac), shape is not None and not fitted_room),
        criterion=2 * float(found.cost) + len(found.x) * math.log(rows.value.size),
        rest_stops=_rest(rows, own),
    )


def _with_room(parameters: Array, room: float | None) -> Array:
    """Parameters of a shape, the room's share last."""
    return parameters if room is None else np.array([*parameters[:2], room])


def _covariance(jacobian: Array, room_known: bool) -> Array:
    """Of the parameters; a room's share that is known has none."""
    square = jacobian.T @ jacobian
    covariance = np.linalg.pinv(square, hermitian=True)
    return np.asarray(np.pad(covariance, (0, 1)) if room_known else covariance)


def _rest(rows: Rows, off: Array) -> float:
    """Root mean square of what a fit leaves in the brighter bins, noise taken out [stop]."""
    lit = rows.value > 0.1 * np.quantile(rows.value, 0.9)
    square = (off[lit] ** 2 - rows.u[lit] ** 2) / rows.value[lit] ** 2
    return math.sqrt(max(float(square.mean()), 0.0)) / LN2
