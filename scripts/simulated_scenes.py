"""Sets that are photographed again and again while things on them change, with the truth kept.

A set without a card is painted once; products stand on it, which are moved, replaced or turned
from frame to frame, so that a wanted share of the picture differs from the first frame. The light
of each frame changes by a known amount. A photograph is a file by a camera of its own.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from verify.simulate.camera import Settings
from verify.simulate.pictures.canvas import Canvas
from verify.simulate.pictures.photograph import Setting, any_camera, expose_picture
from verify.simulate.pictures.photograph import write_photograph as write
from verify.simulate.pictures.sets import Picture, draw_picture
from verify.simulate.pictures.things import LYING, ROUND_ABOUT, STANDING

Light = NDArray[np.float32]  # (rows, columns, 3) of the set, 1 is white in full light

SIZES = ((600, 400), (750, 500), (900, 600), (400, 600), (700, 525))
THINGS = (*STANDING, *LYING, *ROUND_ABOUT[4:])
GRID = (16, 24)  # parts of the picture, to say how much of it differs
DIFFERS = 0.05  # stop
CHANGED = (0.33, 0.43)  # of the parts, that differ from the first frame
SCATTER = (0.0, 0.02)  # stop, from part to part of what did not change
STOPS = (-1.2, 0.4)  # exposure of the first frame against the plan
ISOS = (100.0, 200.0, 400.0, 800.0)


@dataclass(frozen=True, slots=True)
class Product:
    """A thing on the set: the same number is the same thing."""

    number: int
    at: tuple[float, float]  # share of the columns and rows
    size: float  # of the longer side


@dataclass(frozen=True, slots=True)
class Taken:
    """A frame of a set and what is true about its light against the first frame's."""

    path: Path
    stops: float  # of green
    red: float  # of red against green [stop]
    blue: float
    changed: float  # share of the picture that differs for another reason


def any_set(seed: int, number: int, size: tuple[int, int]) -> Light:
    """The light of a set without products."""
    return draw_picture("no-card", seed, number, size).light


def with_products(empty: Light, products: Sequence[Product]) -> Light:
    """The light of a set with products on it."""
    shape = empty.shape[0], empty.shape[1]
    canvas = Canvas(np.full(shape, 0.8, np.float32), empty.copy())
    for product in products:
        rng = np.random.default_rng([7, product.number])
        thing = THINGS[int(rng.integers(len(THINGS)))]
        place = product.at[0] * shape[1], product.at[1] * shape[0]
        thing(canvas, place, product.size * canvas.long_px, rng)
    return canvas.picture


def any_product(rng: np.random.Generator) -> Product:
    """A thing somewhere on the set."""
    at = float(rng.uniform(0.1, 0.9)), float(rng.uniform(0.4, 0.95))
    return Product(int(rng.integers(1 << 30)), at, float(rng.uniform(0.2, 0.45)))


def altered(products: Sequence[Product], rng: np.random.Generator) -> list[Product]:
    """Products moved, replaced by others or taken away, and new ones."""
    found = []
    for product in products:
        match int(rng.integers(4)):
            case 0:
                found.append(replace(product, at=any_product(rng).at))
            case 1:
                found.append(replace(product, number=int(rng.integers(1 << 30))))
            case 2:
                found.append(product)
    return [*found, *(any_product(rng) for _ in range(int(rng.integers(1, 3))))]


def changed_share(first: Light, own: Light) -> float:
    """Share of the parts of a picture that differ."""
    parts = [cv2.resize(p, GRID[::-1], interpolation=cv2.INTER_AREA)[..., 1] for p in (first, own)]
    stops = np.log2(np.maximum(parts[1], 1e-4) / np.maximum(parts[0], 1e-4))
    return float((np.abs(stops) >= DIFFERS).mean())


def any_changed(
    empty: Light, first: Light, products: Sequence[Product], rng: np.random.Generator,
    wanted: tuple[float, float] = CHANGED,
) -> tuple[Light, float]:  # fmt: skip
    """The set with products altered until enough of the picture differs, and how much does."""
    best, nearest = first, 0.0
    middle = sum(wanted) / 2
    for _ in range(60):
        own = with_products(empty, altered(products, rng))
        share = changed_share(first, own)
        if share <= wanted[1] and abs(share - middle) < abs(nearest - middle):
            best, nearest = own, share
        if wanted[0] <= nearest:
            break
    return best, nearest


def any_setting(rng: np.random.Generator) -> Setting:
    """A camera, and settings that stay the same for a set."""
    iso = ISOS[int(rng.integers(len(ISOS)))]
    return Setting(any_camera(rng), Settings(iso=iso), {}, previews=False)


def take(
    path: Path, light: Light, setting: Setting, stops: float, rng: np.random.Generator
) -> Path:
    """Photograph a set; nothing of the truth is in the file."""
    size = light.shape[1], light.shape[0]
    shot = expose_picture(Picture(light, "no-card", (), ()), size, setting, stops, rng)
    return write(path, shot)


def tinted(light: Light, red: float, blue: float) -> Light:
    """A set in light of another colour [stop against green]."""
    return light * np.array([2.0**red, 1.0, 2.0**blue], np.float32)


def nudged(light: Light, columns: float, rows: float) -> Light:
    """A set as a camera sees it that was moved by some pixels."""
    matrix = np.array([[1, 0, columns], [0, 1, rows]], np.float32)
    size = light.shape[1], light.shape[0]
    return np.asarray(
        cv2.warpAffine(light, matrix, size, flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE),
        np.float32,
    )


def sloped(light: Light, stops: float, turn: float) -> Light:
    """A set with a lamp at one side missing: ``stops`` lost there, none at the other."""
    rows, cols = light.shape[:2]
    y, x = np.mgrid[0:rows, 0:cols].astype(np.float32)
    along = (x / cols - 0.5) * np.cos(turn) + (y / rows - 0.5) * np.sin(turn)
    share = (along - along.min()) / np.ptp(along)
    kept = 1 - (1 - 2.0**-stops) * share**1.5
    return np.asarray(light * kept[..., None], np.float32)


def scattered(light: Light, stops: float, rng: np.random.Generator) -> Light:
    """A set on which light falls a little differently, by ``stops`` from part to part."""
    parts = rng.normal(0, stops, GRID).astype(np.float32)
    over = cv2.resize(parts, light.shape[1::-1], interpolation=cv2.INTER_NEAREST)
    return np.asarray(light * np.exp2(over)[..., None], np.float32)


def dimmed_part(light: Light, stops: float, share: float, rng: np.random.Generator) -> Light:
    """A set of which one side, ``share`` of it, is darker or lighter by ``stops``."""
    cols = light.shape[1]
    edge = round(cols * share)
    found = light.copy()
    part = found[:, :edge] if rng.uniform() < 0.5 else found[:, cols - edge :]
    part *= np.float32(2.0**stops)
    return found


def series(folder: Path, seed: int, number: int, frames: int, nudge_px: float = 0.0) -> list[Taken]:
    """One set with products that are altered from frame to frame; the first is the reference."""
    rng = np.random.default_rng([seed, number, 11])
    size = SIZES[int(rng.integers(len(SIZES)))]
    empty = any_set(seed, number, size)
    products = [any_product(rng) for _ in range(int(rng.integers(1, 3)))]
    first = with_products(empty, products)
    setting, base = any_setting(rng), float(rng.uniform(*STOPS))
    taken = [Taken(take(folder / f"{number}_0.dng", first, setting, base, rng), 0, 0, 0, 0)]
    for frame in range(1, frames):
        own, share = any_changed(empty, first, products, rng)
        stops = float(np.clip(rng.normal(0, 0.5), -1.5, 0.6))
        red, blue = (float(stop) for stop in rng.normal(0, 0.05, 2))
        own = scattered(tinted(own, red, blue), float(rng.uniform(*SCATTER)), rng)
        seen = nudged(own, *rng.uniform(-nudge_px, nudge_px, 2).tolist())
        path = take(folder / f"{number}_{frame}.dng", seen, setting, base + stops, rng)
        taken.append(Taken(path, stops, red, blue, share))
    return taken
