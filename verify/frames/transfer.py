"""How the stored values of a TIFF follow the light: encoded values to linear light.

The transfer comes from the ICC profile in the file or from what the user states; it is never
guessed. An ICC profile is evaluated by the colour library, channel by channel, once per profile.

References
----------
ICC.1:2022 (three-component matrix-based and monochrome profiles), IEC 61966-2-1 (sRGB).
"""

import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import imagecodecs
import numpy as np
from numpy.typing import ArrayLike, NDArray

from verify.errors import NotLinear, PlanError, in_one_line

NODES = 65536  # a node for each code of a 16-bit file, and for each of an 8-bit file among them
LOWEST_GAMMA, HIGHEST_GAMMA = 1.0, 4.0  # what encodes pictures lies between 1 and 2.8
LINEAR_WITHIN = 1e-4  # of white: a curve this close to the identity encodes nothing
SUM_WITHIN = 1e-4  # of white: how well Y must be the sum of the channels' parts
FALLS_BY = 1e-6  # of white from code to code: less is single precision
SRGB_LUMINANCE = (0.2126, 0.7152, 0.0722)  # Y of the primaries of ITU-R BT.709, IEC 61966-2-1

_SPACES = {b"GRAY": 1, b"RGB ": 3}  # colour space in the header of a profile: its channels
_SPACE_AT = slice(16, 20)  # where the header has it
_TOP_PART = 1 / 64  # of the range: the piece of a curve below white that says how it goes on
_SMOOTHED = 32  # codes on each side of one; half the way between entries of most tables


@dataclass(frozen=True, slots=True)
class Curve:
    """Linear light of one channel against its encoded value.

    Below 0 the curve is mirrored about its value at 0; above 1 it goes on as a power, at the
    slope that it has at 1. So floating-point values beyond white are kept, not clipped.
    """

    table: NDArray[np.float64]  # linear light at encoded values evenly spaced over 0..1
    exponent: float  # of the power above 1

    def to_linear(self, values: NDArray[np.float64]) -> NDArray[np.float64]:
        """Linear light of encoded values of any shape; NaN stays NaN."""
        size = np.abs(values)
        last = len(self.table) - 1
        at = np.minimum(size, 1.0) * last  # evenly spaced: no search is needed; NaN stays NaN
        node = np.minimum(np.nan_to_num(at), last - 1).astype(np.intp)
        low = self.table[node]
        linear: NDArray[np.float64] = low + (self.table[node + 1] - low) * (at - node)
        if np.any(size > 1):
            above = self.table[-1] * np.maximum(size, 1.0) ** self.exponent
            linear = np.where(size > 1, above, linear)
        return np.where(values < 0, 2 * self.table[0] - linear, linear)


@dataclass(frozen=True, slots=True)
class Transfer:
    """From encoded values to linear light, and from there to luminance Y."""

    name: str  # "icc", "linear", "srgb" or "gamma 2.2"
    curves: tuple[Curve, ...]  # one per channel
    luminance: tuple[float, ...]  # share of Y of each linear channel; they sum to 1
    linear: bool  # every curve is the identity within 1e-4 of white: nothing was encoded

    def to_linear(self, values: ArrayLike) -> NDArray[np.float64]:
        """Linear light per channel, 0 at black and 1 at white.

        Parameters
        ----------
        values : (..., channels) encoded, 0 to 1; floating-point values may lie beyond.
        """
        encoded = np.asarray(values, np.float64)
        channels = [curve.to_linear(encoded[..., n]) for n, curve in enumerate(self.curves)]
        return np.stack(channels, axis=-1)


def stated_transfer(text: str, channels: int) -> Transfer:
    """Transfer that the user states: "linear", "srgb" or a gamma from 1 to 4 such as "2.2".

    A gamma is the exponent that undoes the encoding: linear = encoded ** gamma. RGB channels are
    taken to have the primaries of sRGB.

    Raises
    ------
    PlanError : the text is none of these; a gamma below 1 is how the picture was encoded.
    NotLinear : the picture has neither one nor three channels.
    """
    word = text.strip().lower()
    if word == "srgb":
        return _stated("srgb", _srgb_to_linear, channels)
    gamma = 1.0 if word == "linear" else _stated_gamma(word)
    name = "linear" if gamma == 1 else f"gamma {gamma:g}"
    return _stated(name, lambda encoded: encoded**gamma, channels)


@lru_cache(maxsize=8)
def icc_transfer(profile: bytes, channels: int) -> Transfer:
    """Transfer that an embedded ICC profile states; media-relative, Y of white is 1.

    Parameters
    ----------
    profile : the profile as embedded, tag 34675.
    channels : number of channels of the picture without alpha.

    Raises
    ------
    NotLinear : the profile is broken, is for other channels, or gives no Y that is a sum of one
        rising curve for each channel.
    """
    _check_space(profile, channels)
    levels = np.linspace(0.0, 1.0, NODES)
    black = _xyz(profile, np.zeros((1, channels)))[0]
    white = _xyz(profile, np.ones((1, channels)))[0, 1]
    if not white > black[1]:
        raise _no_sum("a white without light")
    curves, shares = [], []
    for channel in range(channels):
        encoded = np.zeros((NODES, channels))
        encoded[:, channel] = levels
        part = _xyz(profile, encoded) - black
        strongest = int(np.argmax(part[-1]))  # Y of a blue channel can be next to nothing
        if not part[-1, strongest] > 0:
            raise _no_sum("a channel that gives no light")
        rise = _unrounded(part[:, strongest] / part[-1, strongest])
        shares.append(float(part[-1, 1] / (white - black[1])))
        curves.append(_curve((black[1] + (white - black[1]) * rise) / white))
    if any(np.any(np.diff(curve.table) < -FALLS_BY) for curve in curves):
        raise _no_sum("a curve that falls")
    transfer = Transfer("icc", tuple(curves), tuple(shares), _is_linear(curves))
    _check_sum(profile, transfer, white)
    return transfer


def _stated(
    name: str, decode: Callable[[NDArray[np.float64]], NDArray[np.float64]], channels: int
) -> Transfer:
    """Transfer with one decoding function for every channel."""
    if channels not in (1, 3):
        msg = f"the picture has {channels} channels: save it as grey or RGB without alpha"
        raise NotLinear(msg)
    curve = _curve(decode(np.linspace(0.0, 1.0, NODES)))
    luminance = (1.0,) if channels == 1 else SRGB_LUMINANCE
    return Transfer(name, (curve,) * channels, luminance, _is_linear([curve]))


def _stated_gamma(word: str) -> float:
    """Gamma that was typed, with or without the word itself."""
    found = re.fullmatch(r"(?:gamma\s*)?(\d+(?:\.\d*)?|\.\d+)", word)
    allowed = f"a gamma from {LOWEST_GAMMA:g} to {HIGHEST_GAMMA:g} such as 2.2"
    if not found:
        msg = (
            f'transfer "{in_one_line(word, 40)}" is not known: write icc, linear, srgb or {allowed}'
        )
        raise PlanError(msg)
    gamma = float(found[1])
    if LOWEST_GAMMA <= gamma <= HIGHEST_GAMMA:
        return gamma
    hint = ""
    if 1 / HIGHEST_GAMMA <= gamma < LOWEST_GAMMA:
        hint = f"; {gamma:g} is how a picture is encoded, write {1 / gamma:.3g} to undo that"
    msg = f"transfer {gamma:g}: needed is {allowed}{hint}"
    raise PlanError(msg)


def _srgb_to_linear(encoded: NDArray[np.float64]) -> NDArray[np.float64]:
    """IEC 61966-2-1, from 0..1."""
    return np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)


def _curve(table: NDArray[np.float64]) -> Curve:
    """Curve of a table, with the power that continues its last piece."""
    table = np.ascontiguousarray(table, np.float64)
    table.setflags(write=False)
    at = round((len(table) - 1) * (1 - _TOP_PART))
    piece = max(table[at], np.finfo(float).tiny) / table[-1]
    return Curve(table, math.log(piece) / math.log(at / (len(table) - 1)))


def _is_linear(curves: list[Curve]) -> bool:
    levels = np.linspace(0.0, 1.0, NODES)
    return all(bool(np.all(np.abs(c.table - levels) <= LINEAR_WITHIN)) for c in curves)


def _unrounded(rise: NDArray[np.float64]) -> NDArray[np.float64]:
    """Curve without the steps of 1/65535 that the library leaves where the profile has a table.

    They are up to 0.0008 of a signal of 1 %. The mean over a few codes takes most of them out, and
    bends a gamma by less than 0.00002 there. Curves without such steps stay as they are.
    """
    steps = rise * (NODES - 1)
    if np.any(np.abs(steps - np.round(steps)) > 0.01):  # single precision leaves 0.004
        return rise
    at = np.arange(NODES)
    beside = np.minimum(_SMOOTHED, np.minimum(at, NODES - 1 - at))
    total = np.concatenate([[0.0], np.cumsum(rise)])
    return np.asarray((total[at + beside + 1] - total[at - beside]) / (2 * beside + 1))


def _check_space(profile: bytes, channels: int) -> None:
    """Raise unless the profile is whole and for that many channels."""
    try:
        imagecodecs.cms_profile_validate(profile)
    except (imagecodecs.CmsError, ValueError, TypeError) as error:
        raise _broken() from error
    space = profile[_SPACE_AT]
    if _SPACES.get(space) != channels:
        kind = {1: "grey", 3: "RGB"}.get(channels, f"{channels}-channel")
        stated = in_one_line(space.decode("latin-1").strip())
        msg = (
            f"the ICC profile in it is for {stated}, the picture is {kind}: save it again with a"
            " matching profile, or state its transfer"
        )
        raise NotLinear(msg)


def _check_sum(profile: bytes, transfer: Transfer, white: float) -> None:
    """Raise unless Y of mixed colours is the sum of what the channels give alone."""
    channels = len(transfer.curves)
    levels = np.linspace(0.0, 1.0, 5)
    mixed = np.stack(np.meshgrid(*(levels,) * channels, indexing="ij"), -1).reshape(-1, channels)
    by_profile = _xyz(profile, mixed)[:, 1] / white
    by_sum = transfer.to_linear(mixed) @ np.array(transfer.luminance)
    if np.abs(by_profile - by_sum).max() > SUM_WITHIN:
        raise _no_sum("colour tables that mix the channels")


def _xyz(profile: bytes, encoded: NDArray[np.float64]) -> NDArray[np.float64]:
    """XYZ, media-relative, of encoded colours (n, channels): (n, 3)."""
    grey = encoded.shape[1] == 1
    try:
        xyz = imagecodecs.cms_transform(
            encoded[np.newaxis, :, 0] if grey else encoded[np.newaxis],
            profile,
            imagecodecs.cms_profile("xyz"),
            colorspace="gray" if grey else "rgb",
            outcolorspace="xyz",
            outdtype=np.float64,
            intent=imagecodecs.CMS.INTENT.RELATIVE_COLORIMETRIC,
        )
    except (imagecodecs.CmsError, ValueError) as error:
        raise _broken() from error
    if not np.all(np.isfinite(xyz)):
        raise _broken()
    return np.asarray(xyz[0], np.float64)


def _broken() -> NotLinear:
    return NotLinear(
        "the ICC profile in it is damaged or of a kind that gives no curves: save it again with a"
        " standard profile, or state its transfer"
    )


def _no_sum(found: str) -> NotLinear:
    return NotLinear(
        f"the ICC profile in it has {found}, so its values cannot be made linear: save it again"
        " with a standard working-space profile, or state its transfer"
    )
