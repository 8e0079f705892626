"""Whether signal follows reflectance: the neutral patches of a chart or the steps of a wedge.

A linear file under even light gives signals in proportion to the reflectances: a line of slope 1
in stops. Stray light lifts the dark patches alone, a gamma changes the slope everywhere, a tone
curve does neither evenly. Each is fitted with the uncertainties of patches and reflectances, and
the simplest that explains the signals names what is wrong.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtri

# Published luminous reflectances of the neutral patches of the 24-patch chart: the set of 1976,
# illuminant C (check-values 5; the same digits in colour-science 0.4.7). Later sets and batches
# differ by up to 0.05 stop on the white patch and 0.11 on the black one.
REFLECTANCES: dict[str, float] = {
    "white 9.5": 0.9001,
    "neutral 8": 0.5910,
    "neutral 6.5": 0.3620,
    "neutral 5": 0.1977,
    "neutral 3.5": 0.0900,
    "black 2": 0.0313,
}
COMMON_STEPS = (0.05, 0.10, 0.15, 0.20, 0.30)  # density, of step wedges; common practice, no source
GREY = 0.18
TOLERANCE = 0.015  # relative standard uncertainty of a reflectance; common practice, no source
LEAST_TOLERANCE = 0.0005  # of reflectance: the published sets differ by so much on black
FEWEST = 4  # patches
SURE = 0.99  # chance with which a linear file is called linear

Cause = Literal["none", "flare", "black", "slope", "curve"]


@dataclass(frozen=True, slots=True)
class Linearity:
    """How the signals of patches follow their reflectances."""

    slope: float  # of log2(signal) against log2(reflectance); 1 for a linear file
    u_slope: float  # standard uncertainty
    offset_stops: float  # log2 of the signal that the line gives for a reflectance of 1
    residual_stops: tuple[float | None, ...]  # of each patch from the line; None: not used
    departure_stops: tuple[float | None, ...]  # of each from slope 1 through all; None: not used
    flare_share: float  # light that every patch has too much, by the lightest's reflectance
    u_flare_share: float  # standard uncertainty
    bent: bool  # not linear, or there is flare, beyond what the uncertainties explain
    cause: Cause  # flare: stray light; black: dark patches too dark; slope: a gamma or a mild tone
    # curve; curve: none of these
    steps_known: bool  # False: the slope says nothing, for the reflectances are a guess


def linearity(
    reflectances: ArrayLike,
    signals: ArrayLike,
    u_stops: ArrayLike,
    *,
    steps_known: bool = True,
) -> Linearity | None:
    """Hold signals against reflectances; None where fewer than four patches can be used.

    Parameters
    ----------
    reflectances : (n,) 0 to 1; up to a common factor is enough.
    signals : (n,) linear signal of each patch; one that is clipped or at black is to be given as
        NaN, and is left out, as is one of 0 or below.
    u_stops : (n,) standard uncertainty of each signal [stop], that of the reflectance apart.
    steps_known : False for a wedge whose densities are guessed by :func:`equal_steps`; then any
        slope will do.
    """
    rho, signal, u = (np.asarray(v, float) for v in (reflectances, signals, u_stops))
    used = np.isfinite(signal) & np.isfinite(u) & (np.nan_to_num(signal) > 0) & (rho > 0)
    if used.sum() < FEWEST:
        return None
    patches = _Patches(np.log2(rho[used]), np.log2(signal[used]), _u(rho[used], u[used]))
    line, stray = patches.line(), patches.stray(free_slope=not steps_known)
    proportional = patches.proportional()
    plain = proportional if steps_known else line
    cause: Cause = "none"
    if not plain.good:
        cause = _cause(line, stray, steps_known)
    white = float(rho[used].max())
    return Linearity(
        slope=line.slope,
        u_slope=line.u_slope,
        offset_stops=line.offset,
        residual_stops=_back(line.residuals, used),
        departure_stops=_back(proportional.residuals, used),
        flare_share=stray.flare / white,
        u_flare_share=stray.u_flare / white,
        bent=cause != "none",
        cause=cause,
        steps_known=steps_known,
    )


def equal_steps(signals: ArrayLike) -> tuple[float, ...]:
    """Relative reflectances of a wedge with equal steps of unknown size, the lightest first.

    The step is the common one nearest to that of the signals, so the slope is a guess; whether
    the signals follow any line is not.

    Parameters
    ----------
    signals : (n,) linear signals in order; one that is not known is NaN, or 0 or below.
    """
    signal = np.asarray(signals, float)
    steps = -np.diff(np.log10(np.where(np.nan_to_num(signal) > 0, signal, np.nan)))
    known = steps[np.isfinite(steps)]
    step = float(np.median(known)) if known.size else 0.0
    nearest = min(COMMON_STEPS, key=lambda d: abs(math.log(max(step, 1e-3) / d)))
    return tuple((10.0 ** (-nearest * np.arange(len(signal)))).tolist())


def reflectances_of(densities: ArrayLike) -> tuple[float, ...]:
    """Reflectances of patches whose densities (n,) are known."""
    return tuple((10.0 ** -np.asarray(densities, float)).tolist())


def nearest_grey(reflectances: Sequence[float]) -> int:
    """Index of the patch whose reflectance is, in stops, nearest to 18 %."""
    return min(range(len(reflectances)), key=lambda n: abs(math.log(reflectances[n] / GREY)))


def in_words(found: Linearity) -> str:
    """One sentence on a chain's linearity; uncertainties are two standard ones."""
    slope = f"slope {found.slope:.3f} ± {2 * found.u_slope:.3f}"
    if not found.steps_known:
        slope = "steps of unknown size"
    worst = max(abs(r) for r in found.residual_stops if r is not None)
    flare, u = 100 * abs(found.flare_share), 200 * found.u_flare_share
    share = f"{flare:.2f} % ± {u:.2f} % of the lightest patch"
    if found.cause == "none":
        return f"The signal follows the reflectances ({slope}, residuals up to {worst:.3f} stop)."
    why = {
        "flare": f"stray light of {share} on every patch explains it",
        "black": f"black is set too high by {share}",
        "slope": f"a gamma or a tone curve explains it ({slope})",
        "curve": f"a bent response ({slope}, residuals up to {worst:.3f} stop)",
    }[found.cause]
    return f"This file is not linear, or there is flare: {why}."


@dataclass(frozen=True, slots=True)
class _Fit:
    """One model held against the patches."""

    residuals: NDArray[np.float64]  # (n,) [stop]
    good: bool  # the uncertainties explain them
    excess: float  # sum of squares in standard uncertainties
    offset: float = 0.0  # [stop]
    slope: float = 1.0
    u_slope: float = 0.0
    flare: float = 0.0  # [reflectance]
    u_flare: float = 0.0


@dataclass(frozen=True, slots=True)
class _Patches:
    """The patches that are used."""

    x: NDArray[np.float64]  # log2 of reflectance
    y: NDArray[np.float64]  # log2 of signal
    u: NDArray[np.float64]  # standard uncertainty of y against x [stop]

    def proportional(self) -> _Fit:
        """Signal in proportion to reflectance."""
        offset = float(np.average(self.y - self.x, weights=self.u**-2))
        return self._fit(self.y - self.x - offset, 1, offset=offset)

    def line(self) -> _Fit:
        """A power of reflectance: a line of any slope in stops."""
        design = np.column_stack([np.ones_like(self.x), self.x]) / self.u[:, None]
        offset, slope = np.linalg.lstsq(design, self.y / self.u, rcond=None)[0].tolist()
        residuals = self.y - offset - slope * self.x
        u_slope = self._u_of(1, design, residuals)
        return self._fit(residuals, 2, offset=offset, slope=slope, u_slope=u_slope)

    def stray(self, *, free_slope: bool) -> _Fit:
        """The same light added to every patch: signal = k (reflectance + flare)^slope."""
        # Takes as long to import as all of a check, and few frames have a chart or a wedge.
        from scipy.optimize import least_squares  # noqa: PLC0415

        rho = np.exp2(self.x)
        least = float(rho.min())
        free = 3 if free_slope else 2

        def model(parameters: NDArray[np.float64]) -> NDArray[np.float64]:
            lit = np.log2(np.maximum(rho + least * parameters[1], 1e-9 * least))
            slope = parameters[2] if free_slope else 1.0
            return np.asarray((parameters[0] + slope * lit - self.y) / self.u)

        start = [float(np.mean(self.y - self.x)), 0.0, 1.0]
        low, high = [-np.inf, -0.9, 0.1], [np.inf, 30.0, 5.0]
        found = least_squares(model, start[:free], bounds=(low[:free], high[:free]))
        residuals = -np.asarray(found.fun) * self.u
        u_flare = least * self._u_of(1, np.asarray(found.jac, float), residuals)
        return self._fit(residuals, free, flare=least * float(found.x[1]), u_flare=u_flare)

    def _fit(self, residuals: NDArray[np.float64], free: int, **values: float) -> _Fit:
        excess = float(((residuals / self.u) ** 2).sum())
        good = excess <= float(chdtri(max(len(self.x) - free, 1), 1 - SURE))
        return _Fit(residuals, good, excess, **values)

    def _u_of(
        self, parameter: int, design: NDArray[np.float64], residuals: NDArray[np.float64]
    ) -> float:
        """Standard uncertainty of a fitted parameter, wider where the residuals are too large.

        Parameters
        ----------
        design : (n, free) change of each patch, in its u, with each parameter.
        residuals : (n,) that the fit leaves [stop].
        """
        variance = float(np.linalg.pinv(design.T @ design)[parameter, parameter])
        spread = float(((residuals / self.u) ** 2).sum()) / max(len(self.x) - design.shape[1], 1)
        return math.sqrt(variance * max(1.0, spread))


def _cause(line: _Fit, stray: _Fit, steps_known: bool) -> Cause:
    """What explains patches that are not in proportion to their reflectances."""
    significant = abs(stray.flare) > 2 * stray.u_flare
    if stray.good and significant and (not steps_known or stray.excess <= line.excess):
        return "flare" if stray.flare > 0 else "black"
    if line.good:
        return "slope"
    return "curve"


def _u(rho: NDArray[np.float64], u_stops: NDArray[np.float64]) -> NDArray[np.float64]:
    """Standard uncertainty of each patch, its reflectance included [stop]."""
    tolerance = np.hypot(TOLERANCE, LEAST_TOLERANCE / rho) / math.log(2)
    return np.asarray(np.hypot(u_stops, tolerance))


def _back(values: NDArray[np.float64], used: NDArray[np.bool_]) -> tuple[float | None, ...]:
    """Values of the patches that were used, in the places of all."""
    own = iter(values.tolist())
    return tuple(next(own) if there else None for there in used)
