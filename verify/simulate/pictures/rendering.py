"""A mosaic as a screen shows it, and the pictures that cameras embed in their files."""

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from verify.simulate.camera import CameraModel, to_sensor

Rendered = NDArray[np.uint8]  # (rows, columns, 3): red, green, blue with the curve of a screen


def rendered(mosaic: NDArray[np.uint16], camera: CameraModel, stops: float = 0.0) -> Rendered:
    """Render the active area of a mosaic, not upright, ``stops`` lighter; IEC 61966-2-1."""
    left, top, right, bottom = camera.masked
    rows, columns = mosaic.shape
    active = mosaic[top : rows - bottom, left : columns - right].astype(np.float32)
    black = camera.mean_black()
    light = _demosaiced((active - black) / (camera.white - black), camera)
    light = np.clip(light * 2.0**stops, 0, 1)
    coded = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    codes: Rendered = np.rint(255 * coded).astype(np.uint8)
    return codes


def _demosaiced(signal: NDArray[np.float32], camera: CameraModel) -> NDArray[np.float32]:
    """Means of the photosites of each colour round about, neutral light (1, 1, 1)."""
    if camera.pattern is None:
        raise ValueError("only a mosaic has colours to bring together")
    letters = np.array([list(row) for row in camera.pattern])
    high, wide = letters.shape
    cells = np.tile(letters, (-(-signal.shape[0] // high), -(-signal.shape[1] // wide)))
    cells = cells[: signal.shape[0], : signal.shape[1]]
    window = (3, 3) if high == 2 else (5, 5)  # the least that always holds every colour
    planes = []
    for colour in "RGB":
        own = (cells == colour).astype(np.float32)
        total = cv2.boxFilter(signal * own, -1, window, normalize=False)
        planes.append(total / cv2.boxFilter(own, -1, window, normalize=False) / camera.gain(colour))
    return np.stack(planes, axis=2).astype(np.float32)


def to_upright(stored: NDArray[Any], orientation: int) -> NDArray[Any]:
    """Turn what a sensor saw into the upright picture."""
    back = {6: 8, 8: 6}.get(orientation, orientation)
    return np.ascontiguousarray(to_sensor(stored, back))


def any_preview(
    rng: np.random.Generator, mosaic: NDArray[np.uint16], camera: CameraModel
) -> tuple[dict[str, Any], str]:
    """Draw how a camera embeds a picture: fields of DngLayout, and what it is in words.

    Cameras render with a curve and more contrast; some cut the picture to another format, pad it
    with black, or keep a small one only; some were set to render black and white.
    """
    drawn = rng.uniform()
    if drawn < 0.4:
        return {}, "no preview"
    whole = rendered(mosaic, camera, float(rng.uniform(-0.2, 0.5)))
    whole = _contrast(whole, float(rng.uniform(0, 0.6)))
    name = "preview"
    if drawn > 0.96:
        name = "black and white preview"
        weights = np.array([0.3, 0.6, 0.1], np.float32)
        whole = np.repeat(np.rint(whole @ weights).astype(np.uint8)[..., None], 3, axis=2)
    elif drawn > 0.90:
        name = "cropped preview"
        whole = _cropped(whole, 16 / 9 if rng.uniform() < 0.6 else 1.0)
    elif drawn > 0.84:
        name = "padded preview"
        whole = _padded(whole, 1.3333)
    long_px = min(max(whole.shape), int(rng.choice([160, 480, 640, 1024])))
    scale = long_px / max(whole.shape)
    size = max(round(whole.shape[1] * scale), 1), max(round(whole.shape[0] * scale), 1)
    small = cv2.resize(whole, size, interpolation=cv2.INTER_AREA).astype(np.uint8)
    kind = "jpeg" if rng.uniform() < 0.8 else "rgb"
    return {"preview": kind, "preview_picture": np.ascontiguousarray(small)}, name


def _contrast(picture: Rendered, strength: float) -> Rendered:
    """A curve that is steeper in the middle tones."""
    tone = np.arange(256) / 255
    steep = tone + strength * (tone * tone * (3 - 2 * tone) - tone)
    return np.rint(255 * steep).astype(np.uint8)[picture]


def _cropped(picture: Rendered, ratio: float) -> Rendered:
    """The middle of a picture, cut to ``ratio`` of its long side to its short one."""
    rows, columns = picture.shape[:2]
    long, short = max(rows, columns), min(rows, columns)
    cut_long, cut_short = min(long, round(short * ratio)), min(short, round(long / ratio))
    high, wide = (cut_short, cut_long) if columns >= rows else (cut_long, cut_short)
    top, left = (rows - high) // 2, (columns - wide) // 2
    return picture[top : top + high, left : left + wide]


def _padded(picture: Rendered, ratio: float) -> Rendered:
    """A picture with black bars that bring it to ``ratio``."""
    rows, columns = picture.shape[:2]
    long, short = max(rows, columns), min(rows, columns)
    more_short = max(round(long / ratio) - short, 0)
    more_long = max(round(short * ratio) - long, 0)
    down, across = (more_short, more_long) if columns >= rows else (more_long, more_short)
    bars = ((down // 2, down - down // 2), (across // 2, across - across // 2), (0, 0))
    return np.pad(picture, bars)
