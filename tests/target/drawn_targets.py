"""Pictures of charts, wedges and other things, drawn flat and seen by a camera from anywhere.

The colours of the 24-patch chart are OpenCV's own table of them (``getRefColors``: the set of
2005, Lab under D50, rendered to sRGB): another source than the table of the code under test.
"""

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Picture = NDArray[np.float32]  # (rows, cols, 3) linear RGB, 1 is white
Codes = NDArray[np.uint8]  # the same gamma-encoded

GAMMA = 2.2
OVER = 2  # samples of the drawing to a pixel along each side
TILE = 80  # samples of a flat drawing to a pitch

# What a camera's own red, green and blue see of sRGB's: paler, as those of every camera are.
CAMERA = np.array([[0.75, 0.20, 0.05], [0.15, 0.70, 0.15], [0.05, 0.25, 0.70]])


@dataclass(frozen=True, slots=True)
class Pose:
    """How a flat thing stands before the camera."""

    width: float = 0.4  # of the picture's width
    turn_deg: float = 0.0  # clockwise
    tilt_deg: tuple[float, float] = (0.0, 0.0)  # about the horizontal and the vertical
    at: tuple[float, float] = (0.5, 0.5)  # of the picture's sides: where its middle is


def chart_colors() -> Picture:
    """Linear RGB (24, 3) of the patches row by row."""
    detector = cv2.mcc.CCheckerDetector.create()
    detector.setColorChartType(cv2.mcc.MCC24)
    codes = np.asarray(detector.getRefColors(), float)[:, 0, ::-1] / 255
    linear = np.where(codes <= 0.04045, codes / 12.92, ((codes + 0.055) / 1.055) ** 2.4)
    return np.asarray(linear @ CAMERA.T, np.float32)


def flat(
    colors: Picture, columns: int, share: float = 0.87, frame: float = 0.03, height: float = 1.0
) -> tuple[Picture, float]:
    """Patches row by row in a frame, and its width around them in pitches.

    Parameters
    ----------
    colors : (n, 3) of the patches.
    share : of a pitch that a patch takes up; 1: they touch.
    frame : linear level of what is around and between them.
    height : of a row against a column's width.
    """
    margin, rows = 0.3, len(colors) // columns
    high, wide = round((rows * height + 2 * margin) * TILE), round((columns + 2 * margin) * TILE)
    tile = np.full((high, wide, 3), frame, np.float32)
    for n, color in enumerate(colors):
        row, column = divmod(n, columns)
        left = round((margin + column + (1 - share) / 2) * TILE)
        top = round((margin + (row + (1 - share) / 2) * height) * TILE)
        right = round((margin + column + (1 + share) / 2) * TILE)
        bottom = round((margin + (row + (1 + share) / 2) * height) * TILE)
        tile[top:bottom, left:right] = color
    return tile, margin


def chart(colors: Picture | None = None, share: float = 0.87) -> tuple[Picture, float]:
    """A 24-patch chart drawn flat."""
    return flat(chart_colors() if colors is None else colors, 6, share)


def wedge(
    count: int, step: float, first: float = 0.05, frame: float = 0.5
) -> tuple[Picture, float]:
    """A step wedge drawn flat: ``count`` patches that touch, ``step`` apart in density."""
    levels = 10 ** -(first + step * np.arange(count))
    return flat(np.repeat(levels[:, None], 3, 1).astype(np.float32), count, 1.0, frame, 1.5)


def seen(
    tile: tuple[Picture, float], backdrop: Picture, pose: Pose, height: float = 1.0
) -> tuple[Picture, NDArray[np.float64]]:
    """A flat drawing before a backdrop.

    Returns
    -------
    picture : linear.
    truth : (3, 3) from lattice coordinates (pitches, rows of ``height`` of one) to its pixels.
    """
    drawing, margin = tile
    rows, cols = (n * OVER for n in backdrop.shape[:2])
    tall, wide = drawing.shape[:2]
    focal = 1.8 * cols
    turn, over, aside = np.radians([pose.turn_deg, *pose.tilt_deg])
    about = cv2.Rodrigues(np.array([over, 0, 0]))[0] @ cv2.Rodrigues(np.array([0, aside, 0]))[0]
    about = about @ cv2.Rodrigues(np.array([0, 0, turn]))[0]
    away = focal * wide / (pose.width * cols)
    lens = np.array([[focal, 0, pose.at[0] * cols], [0, focal, pose.at[1] * rows], [0, 0, 1]])
    middle = np.array([[1, 0, -wide / 2], [0, 1, -tall / 2], [0, 0, 1.0]])
    stands = np.column_stack([about[:, 0], about[:, 1], [0, 0, away]])
    homography = lens @ stands @ middle
    to_index = np.array([[1, 0, -0.5], [0, 1, -0.5], [0, 0, 1.0]])
    indexed = to_index @ homography @ np.linalg.inv(to_index)
    size = cols, rows
    large = cv2.resize(backdrop, size, interpolation=cv2.INTER_LINEAR)
    there = cv2.warpPerspective(np.ones((tall, wide), np.float32), indexed, size)[..., None]
    smooth = cv2.GaussianBlur(drawing, (0, 0), max(0.3, 0.35 * wide / (pose.width * cols)))
    laid = cv2.warpPerspective(smooth, indexed, size, borderMode=cv2.BORDER_REPLICATE)
    mixed = large * (1 - there) + laid * there
    picture = cv2.resize(mixed, backdrop.shape[1::-1], interpolation=cv2.INTER_AREA)
    flat_lattice = np.array(
        [[TILE, 0, margin * TILE], [0, TILE * height, margin * TILE], [0, 0, 1]]
    )
    truth = np.diag([1 / OVER, 1 / OVER, 1]) @ homography @ flat_lattice
    return np.asarray(picture, np.float32), truth


def exposed(
    picture: Picture, stops: float = -0.5, noise: float = 0.004, soft: float = 0.6, seed: int = 1
) -> Picture:
    """Out of focus by ``soft`` pixels, more or less light, noise of the light and of the sensor."""
    rng = np.random.default_rng(seed)
    light = cv2.GaussianBlur(picture, (0, 0), soft) * 2.0**stops if soft else picture * 2.0**stops
    grain = noise * np.sqrt(np.maximum(light, 0) + 0.005) * rng.standard_normal(light.shape)
    return np.asarray(np.clip(light + grain, 0, 1), np.float32)


def shown(picture: Picture) -> Codes:
    """Gamma-encoded codes of a linear picture."""
    return np.asarray(np.rint(255 * picture ** (1 / GAMMA)), np.uint8)


def in_stops(picture: Picture) -> Picture:
    """Level of green and two colours against it, as find_wedge wants them."""
    logs = np.log2(picture + np.float32(2e-4))
    calm = cv2.medianBlur(np.ascontiguousarray(logs), 3)
    level = calm[..., 1]
    return np.stack([level, calm[..., 0] - level, calm[..., 2] - level], axis=-1)


def plain(rows: int = 400, cols: int = 600, level: float = 0.2) -> Picture:
    """A backdrop of one grey."""
    return np.full((rows, cols, 3), level, np.float32)


def cloth(seed: int = 1, rows: int = 400, cols: int = 600) -> Picture:
    """A wrinkled backdrop: folds, creases and weave."""
    rng = np.random.default_rng(seed)
    folds = np.zeros((rows, cols), np.float32)
    for size, depth in ((80, 0.5), (25, 0.3), (6, 0.2)):
        coarse = rng.standard_normal((rows // size + 3, cols // size + 3)).astype(np.float32)
        folds += depth * cv2.resize(coarse, (cols, rows), interpolation=cv2.INTER_CUBIC)
    return np.asarray(0.15 * np.exp2(folds)[..., None] * np.ones(3, np.float32), np.float32)


def scattered(seed: int = 1, rows: int = 400, cols: int = 600) -> Picture:
    """Coloured rectangles of all sizes, thrown about."""
    rng = np.random.default_rng(seed)
    picture = plain(rows, cols, 0.3)
    for _ in range(60):
        middle = rng.uniform(0, cols), rng.uniform(0, rows)
        box = cv2.boxPoints((middle, tuple(rng.uniform(10, 150, 2)), rng.uniform(0, 90)))
        color = rng.uniform(0.01, 0.8, 3).tolist()
        cv2.fillConvexPoly(picture, box.astype(np.int32), color)
    return picture


def wall(kind: str, seed: int = 1, rows: int = 400, cols: int = 600) -> Picture:
    """Bricks, coloured tiles, or grey keys as on a keyboard, side by side with dark joints."""
    rng = np.random.default_rng(seed)
    picture = plain(rows, cols, float(rng.uniform(0.02, 0.1)))
    high = rng.uniform(14, 60)
    wide = 2.2 * high if kind == "bricks" else high
    for n in range(math.ceil(rows / high) + 1):
        left = -0.5 * wide * (n % 2) if kind == "bricks" else 0.0
        while left < cols:
            color = {
                "bricks": np.array([0.3, 0.15, 0.1]) * rng.uniform(0.6, 1.4),
                "tiles": rng.uniform(0.05, 0.9, 3),
                "keys": np.ones(3) * rng.choice([0.05, 0.4, 0.8]) * rng.uniform(0.8, 1.2),
            }[kind]
            corner = round(left + 0.06 * high), round((n + 0.06) * high)
            end = round(left + wide - 0.06 * high), round((n + 0.94) * high)
            cv2.rectangle(picture, corner, end, color.tolist(), -1)
            left += wide
    return picture


def shelf(seed: int = 1, rows: int = 400, cols: int = 600) -> Picture:
    """Books side by side on shelves."""
    rng = np.random.default_rng(seed)
    picture = plain(rows, cols, 0.04)
    top = 10.0
    while top < rows:
        high, left = rng.uniform(60, 140), 5.0
        while left < cols:
            wide = rng.uniform(8, 30)
            corner = round(left), round(top + high * rng.uniform(0.05, 0.4))
            end = round(left + wide - 1), round(top + high)
            cv2.rectangle(picture, corner, end, rng.uniform(0.02, 0.8, 3).tolist(), -1)
            left += wide
        top += high + 12
    return picture
