"""The picture while it is painted: light on a set, and what the set reflects of it."""

import colorsys
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from verify.simulate.pictures.shapes import Outline, Plane, Shape

Colour = tuple[float, float, float]  # share of red, green and blue light that is reflected
Paint = Colour | NDArray[np.float32]  # one colour, or (rows, columns, 3) of an outline's window


@dataclass(slots=True)
class Canvas:
    """Light from every point of the picture, and the light that falls there."""

    light: Plane  # that falls on the set, against that on the card
    picture: NDArray[np.float32]  # (rows, columns, 3) towards the camera; 1 is white in full light
    contents: list[str] = field(default_factory=list)  # what has been painted, in words

    @property
    def shape(self) -> Shape:
        """Rows and columns."""
        return self.light.shape[0], self.light.shape[1]

    @property
    def long_px(self) -> int:
        """The longer side [px]."""
        return max(self.shape)

    def paint(
        self,
        outline: Outline,
        colour: Paint,
        shade: Plane | float = 1.0,
        light: Plane | float | None = None,
        soft_px: float = 0.0,
    ) -> None:
        """Lay a surface over the picture.

        Parameters
        ----------
        colour : its reflectance.
        shade : how much of the light each point of it gets by the way it faces.
        light : that falls on it; None: the set's own. With ``light`` 1 a colour may exceed 1: a
            lamp or a window.
        soft_px : blur of its edge.
        """
        place = outline.rows, outline.columns
        falling = self.light[place] if light is None else light
        own = np.asarray(colour, np.float32) * np.asarray(falling * shade, np.float32)[..., None]
        cover = outline.cover(soft_px)[..., None]
        self.picture[place] += cover * (own - self.picture[place])

    def darken(self, outline: Outline, stops: float, soft_px: float = 0.0) -> None:
        """Take light away inside an outline: a shadow."""
        place = outline.rows, outline.columns
        left = 1 - (1 - 2.0**-stops) * outline.cover(soft_px)
        self.picture[place] *= left[..., None].astype(np.float32)

    def shine(self, outline: Outline, light: Plane | float, soft_px: float = 0.0) -> None:
        """Add light that is mirrored, not scattered, so has the colour of the lamp."""
        place = outline.rows, outline.columns
        self.picture[place] += (outline.cover(soft_px) * light)[..., None]


def colour_of(hue: float, saturation: float, value: float) -> Colour:
    """A reflectance of the highest share ``value``; hue from 0 (red) to 1."""
    red, green, blue = colorsys.hsv_to_rgb(hue % 1, saturation, value)
    return red, green, blue


def grey(value: float) -> Colour:
    """A neutral reflectance."""
    return value, value, value


def any_colour(
    rng: np.random.Generator, saturation: tuple[float, float], value: tuple[float, float]
) -> Colour:
    """A colour of any hue, its value drawn in equal steps of stops."""
    lightest = float(np.exp(rng.uniform(*np.log(value))))
    return colour_of(float(rng.uniform()), float(rng.uniform(*saturation)), lightest)


def any_grey(rng: np.random.Generator, value: tuple[float, float]) -> Colour:
    """A neutral reflectance, drawn in equal steps of stops."""
    return grey(float(np.exp(rng.uniform(*np.log(value)))))
