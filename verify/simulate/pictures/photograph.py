"""A picture through the camera: the mosaic, its file, and the truth that stays out of it."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from os import PathLike
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from verify.simulate.camera import BAYER_ORDERS, SIX_BY_SIX, CameraModel, Settings, to_sensor
from verify.simulate.dng import write_dng
from verify.simulate.pictures.card import REFLECTANCE
from verify.simulate.pictures.rendering import Rendered, any_preview, rendered, to_upright
from verify.simulate.pictures.sets import Kind, Picture, SeenCard, draw_picture
from verify.simulate.pictures.shapes import Point
from verify.simulate.readout import read_out
from verify.simulate.scene import Light, white_signal

SIZES = ((600, 400), (750, 500), (900, 600), (1200, 800), (1600, 1067), (800, 600), (700, 700))
ISOS = (100.0, 100.0, 200.0, 400.0, 800.0, 1600.0, 3200.0)
READING = 2**3.5  # the meter's f/11, exact; every frame is shot at f/11 and the ISO of the reading
_DRAWN_PX = 2400  # longest side that is painted; a larger picture is enlarged from it

LAYOUTS: tuple[dict[str, Any], ...] = (
    {},
    {"rows_per_strip": 16},
    {"rows_per_strip": 64, "compression": "deflate"},
    {"compression": "ljpeg", "tile": (128, 160)},
    {"compression": "lzw", "tile": (96, 96), "order": ">"},
    {"packed": True},
)


@dataclass(frozen=True, slots=True)
class Setting:
    """Camera, dials and file of a photograph."""

    camera: CameraModel
    settings: Settings
    layout: dict[str, Any]  # fields of DngLayout
    previews: bool = True  # whether the camera may embed a picture


@dataclass(frozen=True, slots=True)
class CardTruth:
    """What is true of a card in a photograph."""

    corners: tuple[Point, ...]  # upright pixels, clockwise from the card's own top left
    error_stops: float  # of its middle without shadow and sheen, against the plan
    gradient_stops: float  # of the light from one edge to the other
    shadow_share: float  # of the card that a shadow touches
    sheen_share: float  # of the card that a reflection touches


@dataclass(frozen=True, slots=True)
class Photograph:
    """A simulated frame of a set, and what is true about it."""

    mosaic: NDArray[np.uint16]  # (rows, columns) of the whole sensor, not upright [DN]
    camera: CameraModel
    settings: Settings
    layout: dict[str, Any]  # fields of DngLayout
    kind: Kind
    cards: tuple[CardTruth, ...]
    contents: tuple[str, ...]  # what is in the picture, in words
    size: tuple[int, int]  # width, height, upright [px]
    iso: float  # of the camera and of the reading


def plan_tables(iso: float) -> dict[str, Any]:
    """The plan that a photograph is held against, as in a plan file: it says of no box."""
    return {
        "reading": {"aperture": "f/11", "iso": iso},
        "camera": {"aperture": "f/11", "iso": iso},
    }


def photograph(
    kind: Kind, seed: int, number: int, size: tuple[int, int] | None = None
) -> Photograph:
    """Draw a picture and photograph it with a camera, settings and a file layout of its own.

    Parameters
    ----------
    size : width and height, upright; None: drawn among :data:`SIZES`.
    """
    rng = np.random.default_rng([seed, number, 1])
    size, setting = _any_setting(rng, size)
    picture = draw_picture(kind, seed, number, _drawn_size(size))
    return expose_picture(picture, size, setting, float(rng.uniform(-2, 1.5)), rng)


def photograph_sequence(
    seed: int, number: int, cards: Sequence[int | None], size: tuple[int, int] | None = None
) -> list[Photograph]:
    """Photograph one set several times: light that changes, a camera that was nudged.

    Parameters
    ----------
    cards : of each frame, the number of the card's place: 0 for its first, any other number for
        another; None where the card has been taken away.
    """
    rng = np.random.default_rng([seed, number, 2])
    size, setting = _any_setting(rng, size)
    drawn = _drawn_size(size)
    stops = float(rng.uniform(-1, 0.8))
    captured = datetime(2026, 5, 12, 14, 3, 10, tzinfo=UTC)
    pictures: dict[int | None, Picture] = {}
    shots = []
    for frame, card in enumerate(cards):
        if card not in pictures:
            kind: Kind = "no-card" if card is None else "card"
            pictures[card] = draw_picture(kind, seed, number, drawn, card or 0)
        picture = nudged(pictures[card], rng) if frame else pictures[card]
        moment = replace(setting.settings, captured=captured + timedelta(seconds=9 * frame))
        changed = stops + float(rng.normal(0, 0.05) - 0.7 * (rng.uniform() < 0.15))
        shots.append(expose_picture(picture, size, replace(setting, settings=moment), changed, rng))
    return shots


def nudged(picture: Picture, rng: np.random.Generator) -> Picture:
    """The picture from a camera that was moved a little: shifted, turned, nearer or farther."""
    rows, columns = picture.light.shape[:2]
    turn, zoom = float(rng.normal(0, 0.3)), float(1 + rng.normal(0, 0.004))
    matrix = cv2.getRotationMatrix2D((columns / 2 - 0.5, rows / 2 - 0.5), turn, zoom)
    matrix[:, 2] += rng.normal(0, 0.004, 2) * max(rows, columns)
    light = cv2.warpAffine(picture.light, matrix, (columns, rows), borderMode=cv2.BORDER_REPLICATE)
    cards = []
    for card in picture.cards:
        places = np.array(card.placed.corners) - 0.5  # there a pixel's middle is a whole number
        moved = places @ matrix[:, :2].T + matrix[:, 2] + 0.5
        corners = tuple((float(c), float(r)) for c, r in moved)
        cards.append(replace(card, placed=replace(card.placed, corners=corners)))
    return replace(picture, light=np.asarray(light, np.float32), cards=tuple(cards))


def _any_setting(
    rng: np.random.Generator, size: tuple[int, int] | None
) -> tuple[tuple[int, int], Setting]:
    width, height = SIZES[int(rng.integers(len(SIZES)))]
    if size is None:
        size = (height, width) if rng.uniform() < 0.25 else (width, height)
    camera = any_camera(rng)
    settings = Settings(iso=ISOS[int(rng.integers(len(ISOS)))], orientation=int(rng.integers(1, 9)))
    return size, Setting(camera, settings, dict(LAYOUTS[int(rng.integers(len(LAYOUTS)))]))


def _drawn_size(size: tuple[int, int]) -> tuple[int, int]:
    scale = min(_DRAWN_PX / max(size), 1.0)
    return round(size[0] * scale), round(size[1] * scale)


def any_camera(rng: np.random.Generator) -> CameraModel:
    """Draw a body: mosaic, depth, black, masked border."""
    orders = (*BAYER_ORDERS, SIX_BY_SIX)
    bits, white, black = ((12, 4095, 128.0), (14, 16383, 512.0), (16, 65535, 1024.0))[
        int(rng.integers(3))
    ]
    left, top, right, bottom = rng.integers(0, 9, 4).tolist() if rng.uniform() < 0.4 else [0] * 4
    return CameraModel(
        pattern=orders[int(rng.integers(len(orders)))],
        black=((black,),),
        white=white,
        bits=bits,
        masked=(left, top, right, bottom),
        red_gain=float(rng.uniform(0.4, 0.75)),
        blue_gain=float(rng.uniform(0.45, 0.85)),
    )


def expose_picture(
    picture: Picture,
    size: tuple[int, int],
    setting: Setting,
    stops: float,
    rng: np.random.Generator,
) -> Photograph:
    """Expose a picture, ``stops`` over the plan where the card stands; ``size`` enlarges it."""
    camera, settings = setting.camera, setting.settings
    light = picture.light
    drawn = light.shape[1], light.shape[0]
    if size != drawn:
        light = cv2.resize(light, size, interpolation=cv2.INTER_LINEAR).astype(np.float32)
    iso = settings.iso_of_light()
    flash = Light.metered(READING, iso).changed(stops)
    white = white_signal(flash, settings) * 2.0**camera.speed_error_stops
    signal = np.ascontiguousarray(to_sensor(light, settings.orientation)) * np.float32(white)
    mosaic = read_out(signal, camera, iso, rng)
    preview, word = any_preview(rng, mosaic, camera) if setting.previews else ({}, "no preview")
    scale = size[0] / drawn[0], size[1] / drawn[1]
    over = stops + camera.speed_error_stops
    return Photograph(
        mosaic=mosaic,
        camera=camera,
        settings=settings,
        layout={**setting.layout, **preview},
        kind=picture.kind,
        cards=tuple(_truth(card, scale, over) for card in picture.cards),
        contents=(*picture.contents, word, f"ISO {iso:g}"),
        size=size,
        iso=iso,
    )


def _truth(card: SeenCard, scale: Point, stops: float) -> CardTruth:
    return CardTruth(
        corners=tuple((c * scale[0], r * scale[1]) for c, r in card.placed.corners),
        error_stops=stops + math.log2(card.light / REFLECTANCE),
        gradient_stops=card.placed.gradient_stops,
        shadow_share=card.shadow_share,
        sheen_share=card.sheen_share,
    )


def write_photograph(path: str | PathLike[str], shot: Photograph) -> Path:
    """Write the file that the camera would: nothing of the truth is in it."""
    return write_dng(path, shot.mosaic, shot.camera, shot.settings, **shot.layout)


def as_seen(shot: Photograph, stops: float = 0.0) -> Rendered:
    """The photograph as a screen shows it, upright, ``stops`` lighter."""
    return to_upright(rendered(shot.mosaic, shot.camera, stops), shot.settings.orientation)
