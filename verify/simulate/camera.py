"""The simulated camera and its settings: what the file says and what the light obeys."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from verify import exposure

BAYER_ORDERS = (("RG", "GB"), ("BG", "GR"), ("GR", "BG"), ("GB", "RG"))
SIX_BY_SIX = ("GBGGRG", "RGRBGB", "GBGGRG", "GRGGBG", "BGBRGR", "GRGGBG")
CMYG = ("GM", "CY")

# Orientation tag -> what turns the upright picture into the sensor's array: transposed first, then
# rows reversed, then columns reversed (TIFF 6.0, tag 274).
_TURNS = {
    1: (False, False, False),
    2: (False, False, True),
    3: (False, True, True),
    4: (False, True, False),
    5: (True, False, False),
    6: (True, True, False),
    7: (True, True, True),
    8: (True, False, True),
}

Box = tuple[int, int, int, int]  # column, row, width, height


@dataclass(frozen=True, slots=True)
class CameraModel:
    """A camera body with its lens: its mosaic, its levels and its noise."""

    make: str = "Tarnwick"
    model: str = "TW-14"
    serial: str = "0047"
    lens: str = "Tarnwick 90 mm f/4 Copy"
    pattern: tuple[str, ...] | None = ("RG", "GB")  # rows of colour letters RGBCMY; None: no mosaic
    planes: int = 1  # samples per pixel: 1, or 3 for demosaiced data (pattern None)
    black: tuple[tuple[float, ...], ...] = ((512.0,),)  # tile from active corner, or planes [DN]
    black_columns: tuple[float, ...] = (0.0,)  # added to black along columns, repeated [DN]
    black_rows: tuple[float, ...] = (0.0,)  # added to black along rows, repeated [DN]
    white: int = 16383  # level that the file states as clipping [DN]
    clip: int | None = None  # level where the photosites really clip; None: at white [DN]
    bits: int = 14  # depth of the stored samples
    full_well_e: float = 50_000.0  # electrons at white at ISO 100
    read_noise_e: float = 4.0  # standard deviation of the dark signal [electrons]
    masked: tuple[int, int, int, int] = (0, 0, 0, 0)  # border left, top, right, bottom [photosites]
    masked_black: float | None = None  # level of the masked border; None: black's own [DN]
    pixel_pitch_um: float = 4.0
    red_gain: float = 0.55  # signal of a red photosite against a green one, neutral light
    blue_gain: float = 0.7  # the same of a blue one
    speed_error_stops: float = 0.0  # signal above what ISO 12232 saturation speed gives [stops]

    def weights(self, colour: str) -> tuple[float, float, float]:
        """Signal that red, green and blue of neutral light each give a photosite of ``colour``.

        Against that of a green one; C, M and Y see two of the three.
        """
        seen = {"C": "GB", "M": "RB", "Y": "RG"}.get(colour, colour)
        gains = zip("RGB", (self.red_gain, 1.0, self.blue_gain), strict=True)
        red, green, blue = (gain / len(seen) if p in seen else 0.0 for p, gain in gains)
        return red, green, blue

    def gain(self, colour: str) -> float:
        """Signal of a photosite of ``colour`` against a green one, neutral light."""
        return sum(self.weights(colour))

    def electrons(self, iso: float) -> float:
        """Electrons that make signal 1 at ``iso``."""
        return self.full_well_e * 100 / iso

    def black_at(self, rows: NDArray[np.int_], columns: NDArray[np.int_]) -> NDArray[np.float32]:
        """Black of the photosites at ``rows`` x ``columns``, counted from the active corner [DN].

        Shape (rows, columns), or (rows, columns, 3) for three planes.
        """
        tile = np.array(self.black, np.float32)
        along = np.array(self.black_columns, np.float32)[columns % len(self.black_columns)]
        down = np.array(self.black_rows, np.float32)[rows % len(self.black_rows), None]
        added: NDArray[np.float32] = along + down
        if self.planes > 1:
            added = added[..., None] + np.broadcast_to(tile[0], self.planes)
        else:
            added = added + tile[np.ix_(rows % tile.shape[0], columns % tile.shape[1])]
        return added

    def mean_black(self) -> float:
        """Mean of the black tile [DN]."""
        return float(np.mean(self.black))


@dataclass(frozen=True, slots=True)
class Settings:
    """What the camera was set to. Values are as written in the file; None: not recorded.

    The light obeys ``true_*`` where given, else the exact value the written one stands for: f/11 is
    11.3137, 1/125 is 1/128 s.
    """

    f_number: float | None = 11.0
    shutter_s: float | None = 1 / 125
    iso: float | None = 100.0
    true_f_number: float | None = None
    true_shutter_s: float | None = None
    true_iso: float | None = None  # also for an ISO that is only a note: the gain stays at this one
    t_stop: bool = False  # the aperture that the light obeys is a T-stop
    lost_stops: float = 0.0  # stops lost in bellows and filters on the lens, unknown to the file
    captured: datetime | None = None  # microseconds are kept; an aware one writes its UTC offset
    orientation: int = 1  # TIFF tag 274, 1 to 8
    focal_mm: float | None = 90.0

    def f_number_of_light(self) -> float:
        """f-number that the light obeyed."""
        return _obeyed(self.true_f_number, self.f_number, exposure.exact_f_number, "f-number")

    def shutter_s_of_light(self) -> float:
        """Shutter time that the light obeyed [s]."""
        exact = exposure.exact_shutter_s
        return _obeyed(self.true_shutter_s, self.shutter_s, exact, "shutter time")

    def iso_of_light(self) -> float:
        """ISO speed that the signal follows."""
        return _obeyed(self.true_iso, self.iso, exposure.exact_iso, "ISO speed")


def _obeyed(
    true: float | None, written: float | None, exact: Callable[[float], float], name: str
) -> float:
    value = true if true is not None else None if written is None else exact(written)
    if value is None or not (math.isfinite(value) and value > 0):
        raise ValueError(f"the file records no {name}, so the simulator must be given the true one")
    return value


def to_sensor(upright: NDArray[np.generic], orientation: int) -> NDArray[np.generic]:
    """Turn an upright picture (rows, columns[, planes]) into the sensor's array."""
    transposed, rows_reversed, columns_reversed = _TURNS[orientation]
    turned = np.swapaxes(upright, 0, 1) if transposed else upright
    return turned[:: -1 if rows_reversed else 1, :: -1 if columns_reversed else 1]


def sensor_box(box: Box, size: tuple[int, int], orientation: int) -> Box:
    """Box in the sensor's array of a ``box`` in an upright picture of ``size`` (width, height)."""
    transposed, rows_reversed, columns_reversed = _TURNS[orientation]
    column, row, width, height = box
    across, down = size
    if transposed:
        column, row, width, height, across, down = row, column, height, width, down, across
    column = across - column - width if columns_reversed else column
    row = down - row - height if rows_reversed else row
    return column, row, width, height
