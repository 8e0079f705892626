"""Light on a set, through the lens, onto a sensor: the forward model, with the truth kept."""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from verify import exposure
from verify.simulate.camera import Box, CameraModel, Settings, sensor_box, to_sensor
from verify.simulate.readout import clip_signal, noise_stops, read_out

PlacedBox = tuple[float, float, float, float]  # column, row, width, height; fractions if all <= 1


@dataclass(frozen=True, slots=True)
class Light:
    """The light where the card stands."""

    pop_lxs: float = 0.0  # illuminance x time of one pop [lx s]
    pops: float = 1.0  # how many pops fired
    ambient_lx: float = 0.0  # illuminance of everything that is not flash [lx]

    @classmethod
    def metered(
        cls, f_number: float, iso: float = 100.0, pops: int = 1, constant: float = exposure.C_FLAT
    ) -> "Light":
        """Flash that an incident meter reads as ``f_number`` (exact) with ``pops`` fired."""
        total = float(exposure.light_for_reading(f_number, iso, constant))
        return cls(pop_lxs=total / pops, pops=pops)

    @classmethod
    def continuous(
        cls,
        f_number: float,
        shutter_s: float,
        iso: float = 100.0,
        constant: float = exposure.C_FLAT,
    ) -> "Light":
        """Ambient that an incident meter reads as ``f_number`` at ``shutter_s`` (both exact)."""
        total = float(exposure.light_for_reading(f_number, iso, constant))
        return cls(ambient_lx=total / shutter_s)

    def changed(self, stops: float) -> "Light":
        """Return the same light with each pop ``stops`` stronger."""
        return replace(self, pop_lxs=self.pop_lxs * 2.0**stops)


@dataclass(frozen=True, slots=True)
class Prop:
    """Something flat and matt on the set besides the card."""

    box: PlacedBox  # upright pixels, or fractions of the picture
    reflectance: float  # 0 to 1, of green light
    red: float = 1.0  # reflectance of red light against that of green
    blue: float = 1.0  # the same of blue light


@dataclass(frozen=True, slots=True)
class Scene:
    """A set with a grey card, as the upright picture shows it."""

    size: tuple[int, int] = (480, 320)  # width, height of the active area, upright [px]
    background: float = 0.09  # reflectance of everything else
    card: float = 0.18  # reflectance of the card
    card_box: PlacedBox = (0.42, 0.40, 0.12, 0.16)  # fractions if all <= 1
    props: tuple[Prop, ...] = ()
    gradient_stops: float = 0.0  # light across the card, edge to edge; 0 at its centre
    gradient_deg: float = 0.0  # way it rises: 0 to the right, 90 downwards
    falloff: bool = False  # cos^4 by focal length and pixel pitch
    glare: float = 0.0  # veiling light, as a share of the picture's mean light

    def box_px(self, box: PlacedBox) -> Box:
        """``box`` in whole upright pixels; fractions of the size when all four are at most 1."""
        width, height = self.size
        scale = (width, height, width, height) if max(box) <= 1 else (1, 1, 1, 1)
        column, row, across, down = (round(v * s) for v, s in zip(box, scale, strict=True))
        return column, row, across, down


@dataclass(frozen=True, slots=True)
class Exposed:
    """A simulated exposure and what is true about its card."""

    mosaic: NDArray[np.uint16]  # (rows, columns[, 3]) of the whole sensor, not upright [DN]
    card_box: Box  # upright pixels of the active area
    card_signal: float  # mean of the card's green photosites, before noise and clipping
    card_noise_stops: float  # one standard deviation of that mean in the file [stops]
    card_clipped: float  # share of the card's green photosites at or above clipping, before noise


def expose(
    scene: Scene,
    light: Light,
    camera: CameraModel,
    settings: Settings,
    rng: np.random.Generator | None = None,
) -> Exposed:
    """Expose ``scene`` and read the sensor out.

    Parameters
    ----------
    rng : source of the noise; None: no noise, only the rounding to whole DN.

    Raises
    ------
    ValueError
        If a setting that the light needs is neither recorded nor given as a true value.

    References
    ----------
    ISO 2720:1974 and ISO 12232:2006 for the level, EMVA 1288 for shot, read and rounding noise.
    """
    iso = settings.iso_of_light()
    upright = _relative_light(scene, camera, settings) * np.float32(
        white_signal(light, settings) * 2.0**camera.speed_error_stops
    )
    signal = np.ascontiguousarray(to_sensor(upright, settings.orientation))
    box = scene.box_px(scene.card_box)
    seen = signal if signal.ndim == 2 else signal[..., 1]
    green = _green_of_card(seen, sensor_box(box, scene.size, settings.orientation), camera)
    mean = float(np.mean(green, dtype=np.float64))
    clips_at = clip_signal(camera)
    return Exposed(
        mosaic=read_out(signal, camera, iso, rng),
        card_box=box,
        card_signal=mean,
        card_noise_stops=noise_stops(mean, green.size, camera, iso),
        card_clipped=float(np.mean(green >= clips_at)),
    )


def white_signal(light: Light, settings: Settings) -> float:
    """Signal of a green photosite that sees a matt surface of reflectance 1."""
    total = light.pop_lxs * light.pops
    if light.ambient_lx:
        total += light.ambient_lx * settings.shutter_s_of_light()
    on_sensor = exposure.sensor_exposure(
        exposure.card_luminance(total, 1.0),
        settings.f_number_of_light(),
        settings.lost_stops,
        settings.t_stop,
    )
    return float(exposure.sensor_signal(on_sensor, settings.iso_of_light()))


def _relative_light(scene: Scene, camera: CameraModel, settings: Settings) -> NDArray[np.float32]:
    """Light of the upright picture against a surface of reflectance 1 at its centre.

    (rows, columns) where everything is grey, else (rows, columns, 3).
    """
    width, height = scene.size
    picture = np.full((height, width, 3), scene.background, np.float32)
    for prop in scene.props:
        colour = np.array((prop.red, 1.0, prop.blue), np.float32)
        picture[_slices(scene.box_px(prop.box))] = prop.reflectance * colour
    card = _slices(scene.box_px(scene.card_box))
    picture[card] = scene.card * _gradient(scene)[..., None]
    if all(prop.red == prop.blue == 1 for prop in scene.props):
        picture = picture[..., 1]
    if scene.falloff:
        if settings.focal_mm is None:
            raise ValueError("falloff needs a focal length")
        per_px = camera.pixel_pitch_um / 1000 / settings.focal_mm
        across = ((np.arange(width, dtype=np.float32) + 0.5 - width / 2) * per_px) ** 2
        down = ((np.arange(height, dtype=np.float32) + 0.5 - height / 2) * per_px) ** 2
        falloff = (1 + across + down[:, None]) ** 2
        picture /= falloff if picture.ndim == 2 else falloff[..., None]
    if scene.glare:
        picture += np.float32(scene.glare) * np.mean(picture, axis=(0, 1), dtype=np.float64)
    return picture


def _gradient(scene: Scene) -> NDArray[np.float32]:
    """Light across the card against its centre: linear in stops along ``gradient_deg``."""
    _, _, width, height = scene.box_px(scene.card_box)
    angle = math.radians(scene.gradient_deg)
    across = ((np.arange(width) + 0.5) / width - 0.5) * math.cos(angle)
    down = ((np.arange(height) + 0.5) / height - 0.5) * math.sin(angle)
    light: NDArray[np.float32] = np.exp2(scene.gradient_stops * (across + down[:, None]))
    return light.astype(np.float32)


def _slices(box: Box) -> tuple[slice, slice]:
    column, row, width, height = box
    return slice(row, row + height), slice(column, column + width)


def _green_of_card(
    signal: NDArray[np.float32], box: Box, camera: CameraModel
) -> NDArray[np.float32]:
    """Signal of the green photosites in ``box`` of the sensor's active area; all, if no mosaic."""
    rows, columns = _slices(box)
    card = signal[rows, columns]
    if camera.pattern is None:
        return card.ravel()
    green = np.array([list(row) for row in camera.pattern]) == "G"
    down, across = np.arange(rows.start, rows.stop), np.arange(columns.start, columns.stop)
    picked: NDArray[np.float32] = card[
        green[np.ix_(down % green.shape[0], across % green.shape[1])]
    ]
    return picked
