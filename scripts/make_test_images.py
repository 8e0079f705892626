"""Write test_images/: small frames of every kind the project reads, with a manifest of their truth.

Run it with the project installed. The same versions of numpy and imagecodecs give the same bytes.
"""

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import imagecodecs
import numpy as np

from verify.simulate.camera import BAYER_ORDERS, CMYG, SIX_BY_SIX, CameraModel, Settings
from verify.simulate.dng import square_root_table, write_dng
from verify.simulate.opcodes import gain_map, opcode_list
from verify.simulate.scene import Exposed, Light, Scene, expose
from verify.simulate.tiff import gamma_profile, linear_profile, srgb_profile, write_tiff

ROOT = Path(__file__).resolve().parent.parent
SCENE = Scene(size=(144, 96), background=0.09, card_box=(0.5, 0.25, 0.375, 0.5))
METERED = 2**3.5  # exact f/11, the reading that every frame is shot by
SEED = 7

BODY = CameraModel(black=((512.0, 508.0), (510.5, 515.0)))
FLAT_BLACK = replace(BODY, black=((512.0,),))
THREE_PLANES = replace(BODY, pattern=None, planes=3, black=((500.0, 512.0, 520.0),))
SETTINGS = Settings(
    captured=datetime(2026, 5, 12, 14, 3, 10, 50_000, tzinfo=timezone(timedelta(hours=2)))
)
# For TIFFs: a neutral signal without a pedestal that fills 16 bits.
NEUTRAL = CameraModel(
    pattern=None, planes=3, black=((0.0,) * 3,), white=65535, bits=16, red_gain=1.0, blue_gain=1.0
)
GREY = replace(NEUTRAL, planes=1, black=((0.0,),))
# Luminance of the sRGB primaries as an ICC profile has them, adapted to D50 (IEC 61966-2-1).
LUMINANCE = np.array([0.2225, 0.7169, 0.0606])


@dataclass(frozen=True, slots=True)
class Image:
    """One simulated frame: how it is made and what it shows."""

    name: str
    shows: str
    camera: CameraModel = BODY
    settings: Settings = SETTINGS
    light_stops: float = 0.0  # light against the metered one
    layout: Mapping[str, Any] = field(default_factory=dict)  # fields of DngLayout or TiffLayout
    mapped_gain: float = 1.0  # by which an opcode in the file multiplies the stored signal
    ambient_only: bool = False  # no flash fired, and the room is dark


def dng_images() -> list[Image]:
    """Mosaics, layouts and settings of raw frames."""
    orders = [
        Image(
            f"bayer_{''.join(order).lower()}.dng",
            f"mosaic {' / '.join(order)}, a black of its own for each class, odd masked border",
            replace(BODY, pattern=order, masked=(5, 3, 0, 0)),
            light_stops=0.1 * number,
        )
        for number, order in enumerate(BAYER_ORDERS)
    ]
    turned = [
        Image(
            f"orientation_{tag}.dng",
            f"orientation tag {tag}",
            settings=replace(SETTINGS, orientation=tag),
        )
        for tag in range(2, 9)
    ]
    return orders + turned + [*_other_sensors(), *_layouts(), *_levels(), *_settings()]


def _other_sensors() -> list[Image]:
    return [
        Image(
            "six_by_six.dng",
            "mosaic of 6 x 6",
            replace(FLAT_BLACK, pattern=SIX_BY_SIX),
            light_stops=-0.5,
        ),
        Image("cmyg.dng", "mosaic of cyan, magenta, yellow, green", replace(BODY, pattern=CMYG)),
        Image("monochrome.dng", "no mosaic, one plane", replace(FLAT_BLACK, pattern=None)),
        Image(
            "linear_rgb.dng",
            "demosaiced, three planes in camera space",
            THREE_PLANES,
            light_stops=0.3,
        ),
    ]


def _layouts() -> list[Image]:
    tiles: dict[str, Any] = {"tile": (32, 48)}
    twelve_bits = replace(FLAT_BLACK, black=((128.0,),), white=4095, bits=12)
    root = square_root_table(1024, BODY.white)
    return [
        Image("strips.dng", "uncompressed strips of 16 rows", layout={"rows_per_strip": 16}),
        Image(
            "packed_12_bit.dng",
            "12-bit samples packed in tiles",
            twelve_bits,
            layout={"packed": True, **tiles},
        ),
        Image(
            "packed_14_bit_big_endian.dng",
            "14-bit packed, big-endian",
            layout={"packed": True, "order": ">"},
        ),
        Image(
            "lossless_jpeg.dng",
            "lossless JPEG tiles in a sub-directory, JPEG preview first",
            layout={"compression": "ljpeg", "preview": "jpeg", **tiles},
        ),
        Image(
            "float32.dng",
            "32-bit floating point, deflated strips",
            layout={"samples": "float32", "compression": "deflate", "rows_per_strip": 32},
        ),
        Image(
            "float16.dng",
            "16-bit floating point, deflated tiles",
            layout={"samples": "float16", "compression": "deflate", **tiles},
        ),
        Image(
            "linearization_table.dng",
            "10-bit codes with a table",
            layout={"packed": True, "table": root},
        ),
        Image("cropped.dng", "DefaultCrop 12 px inside the active area", layout={"crop_px": 12}),
        Image(
            "baseline_exposure.dng",
            "BaselineExposure +0.5, not part of the signal",
            layout={"baseline_exposure": 0.5},
        ),
        Image(
            "gain_map.dng",
            "OpcodeList2 with a GainMap of one stop: the true signal is that behind it",
            replace(FLAT_BLACK, pattern=None),
            light_stops=-1.0,
            mapped_gain=2.0,
            layout={"opcodes": {2: opcode_list(gain_map((0, 0, 96, 144), np.full((2, 2), 2.0)))}},
        ),
    ]


def _levels() -> list[Image]:
    deltas = replace(FLAT_BLACK, black_columns=(0.0, 3.5, -2.0), black_rows=(1.0, -1.0, 4.25))
    border = replace(BODY, masked=(16, 8, 0, 0), masked_black=503.0)
    return [
        Image("black_deltas.dng", "BlackLevelDeltaH and V", deltas, light_stops=-3.0),
        Image(
            "masked_border.dng",
            "masked border 8 DN below the stated black",
            border,
            light_stops=-3.0,
            layout={"masked_areas": True},
        ),
        Image(
            "clips_below_white.dng",
            "photosites clip at 15000, the file says 16383",
            replace(BODY, clip=15000),
            light_stops=3.2,
        ),
        Image("card_clipped.dng", "the card is clipped", light_stops=4.0),
        Image("card_black.dng", "no light at all", ambient_only=True),
        Image(
            "response_limit.dng",
            "LinearResponseLimit 0.8",
            light_stops=2.85,
            layout={"linear_response_limit": 0.8},
        ),
    ]


def _settings() -> list[Image]:
    high = replace(SETTINGS, iso=102_400.0, f_number=22.0)
    unknown = replace(SETTINGS, f_number=0.0, shutter_s=0.0, iso=0.0)
    unknown = replace(unknown, true_f_number=METERED, true_shutter_s=1 / 128, true_iso=100.0)
    return [
        Image(
            "iso_102400.dng",
            "ISO above what tag 34855 holds, f/22",
            light_stops=-7.5,
            settings=high,
        ),
        Image(
            "tiff_ep.dng",
            "settings in the first directory, not in Exif",
            layout={"exif": "tiff-ep"},
        ),
        Image("no_settings.dng", "no exposure tags at all", layout={"exif": "none"}),
        Image("zero_settings.dng", "exposure tags that are all zero", settings=unknown),
        Image(
            "no_f_number.dng",
            "adapted lens: f-number and focal length not recorded",
            replace(BODY, lens=""),
            replace(SETTINGS, f_number=None, focal_mm=None, true_f_number=METERED),
        ),
        Image(
            "iso_note.dng",
            "ISO 400 is a note, the signal stays at 100",
            settings=replace(SETTINGS, iso=400.0, true_iso=100.0),
        ),
    ]


def tiff_images() -> list[Image]:
    """Linear and rendered TIFFs."""
    coloured = replace(NEUTRAL, red_gain=0.55, blue_gain=0.7)
    tiles: dict[str, Any] = {"tile": (32, 48)}
    return [
        Image(
            "linear_16_profile.tif",
            "linear, profile says so, not neutral",
            coloured,
            layout={"icc": linear_profile()},
        ),
        Image(
            "srgb_16_profile.tif",
            "sRGB with its profile",
            NEUTRAL,
            layout={"transfer": "srgb", "icc": srgb_profile()},
        ),
        Image(
            "gamma_16_profile.tif",
            "gamma 1.8 with its profile, LZW strips",
            NEUTRAL,
            layout={
                "transfer": 1.8,
                "icc": gamma_profile(1.8),
                "compression": "lzw",
                "rows_per_strip": 16,
            },
        ),
        Image(
            "gamma_16_no_profile.tif",
            "gamma 2.2, nothing says so",
            NEUTRAL,
            layout={"transfer": 2.2},
        ),
        Image(
            "srgb_8_no_profile.tif",
            "8-bit sRGB, nothing says so",
            NEUTRAL,
            layout={"transfer": "srgb", "dtype": "uint8"},
        ),
        Image(
            "grey_16.tif",
            "one channel, linear, PackBits strips",
            GREY,
            layout={"compression": "packbits", "rows_per_strip": 16},
        ),
        Image(
            "grey_float32.tif",
            "one channel, float, deflated tiles",
            GREY,
            layout={"dtype": "float32", "compression": "deflate", **tiles},
        ),
        Image(
            "rgb_float16.tif",
            "three channels, half floats",
            NEUTRAL,
            layout={"dtype": "float16"},
        ),
        Image("float32_nan.tif", "NaN and infinity in the card", GREY, layout={"dtype": "float32"}),
    ]


def make_images(folder: Path) -> list[dict[str, Any]]:
    """Write every image and the manifest into ``folder``; return the manifest's entries."""
    folder.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng(SEED)
    entries = []
    for image in dng_images():
        exposed = _exposed(image, rng)
        write_dng(folder / image.name, exposed.mosaic, image.camera, image.settings, **image.layout)
        entries.append(_entry(folder, image, exposed))
    for image in tiff_images():
        exposed = _exposed(image, rng)
        linear = exposed.mosaic / image.camera.white
        if "nan" in image.name:
            column, row, _, _ = exposed.card_box
            linear[row, column : column + 3] = np.nan, np.inf, -np.inf
        with_settings = {"camera": image.camera, "settings": image.settings}
        write_tiff(folder / image.name, linear, **with_settings, **image.layout)
        entries.append(_entry(folder, image, exposed))
    entries += _not_frames(folder)
    document = {"format": "greyproof.test-images/1", "seed": SEED, "images": entries}
    (folder / "manifest.json").write_bytes((json.dumps(document, indent=1) + "\n").encode())
    return entries


def _exposed(image: Image, rng: np.random.Generator) -> Exposed:
    light = Light() if image.ambient_only else Light.metered(METERED).changed(image.light_stops)
    return expose(SCENE, light, image.camera, image.settings, rng)


def _entry(folder: Path, image: Image, exposed: Exposed) -> dict[str, Any]:
    camera, settings = image.camera, image.settings
    signal = exposed.card_signal * image.mapped_gain
    if image.name.endswith(".tif") and camera.planes > 1:
        gains = [camera.gain(colour) for colour in "RGB"]
        signal *= float(np.average(gains, weights=LUMINANCE))
    recorded = image.layout.get("exif") != "none"
    written = {"f_number": settings.f_number, "shutter_s": settings.shutter_s, "iso": settings.iso}
    truth = {
        "card_box": exposed.card_box,
        "card_signal": round(signal, 8),
        "card_noise_stops": round(exposed.card_noise_stops, 6) if signal > 0 else None,
        "card_clipped": round(exposed.card_clipped, 4),
        "light_stops": None if image.ambient_only else image.light_stops,
        "pattern": camera.pattern,
        "planes": camera.planes,
        "black": camera.black,
        "white": camera.white,
        "orientation": settings.orientation,
        **{name: value if recorded and value else None for name, value in written.items()},
    }
    return _described(folder / image.name, image.shows, truth)


def _not_frames(folder: Path) -> list[dict[str, Any]]:
    """Write files that look like frames and are none, or that are not linear."""
    whole = (folder / "strips.dng").read_bytes()
    grey = np.full((96, 144, 3), 118, np.uint8)
    files = {
        "empty.dng": ("nothing in it", b""),
        "text.dng": ("text with a raw file's ending", b"Order: two rolls of seamless paper.\n"),
        "cut_in_picture.dng": ("cut short in the picture data", whole[: len(whole) // 2]),
        "cut_in_tags.dng": ("cut short in the first directory", whole[:100]),
        "rendered.jpg": ("a JPEG", bytes(imagecodecs.jpeg8_encode(grey, level=90))),
    }
    entries = []
    for name, (shows, data) in files.items():
        (folder / name).write_bytes(data)
        entries.append(_described(folder / name, shows, None))
    return entries


def _described(path: Path, shows: str, truth: dict[str, Any] | None) -> dict[str, Any]:
    digest = hashlib.sha256(path.read_bytes()).hexdigest()
    return {"file": path.name, "shows": shows, "sha256": digest, "truth": truth}


if __name__ == "__main__":
    made = make_images(ROOT / "test_images")
    size = sum((ROOT / "test_images" / entry["file"]).stat().st_size for entry in made)
    print(f"{len(made)} files, {size / 1e6:.1f} MB in test_images")
