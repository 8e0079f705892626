"""What is mutated: test images, simulated files of further layouts, and files of real cameras."""

from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import tifffile
from make_test_images import BODY, FLAT_BLACK, GREY, METERED, NEUTRAL, SCENE, SETTINGS, THREE_PLANES

from fuzzing.structure import Free, free_in_raw, free_of_meaning
from verify.simulate.camera import CameraModel
from verify.simulate.dng import write_dng
from verify.simulate.opcodes import fix_vignette_radial, gain_map, map_polynomial, opcode_list
from verify.simulate.scene import Light, expose
from verify.simulate.tiff import gamma_profile, srgb_profile, write_tiff

ROOT = Path(__file__).resolve().parents[2]
REAL = ROOT.parent / "shared" / "frames"  # beside the project, never in it
IMAGES = ROOT / "test_images"
CARD = "72,24,54,48"  # of every test image and simulated file, upright
TURNED = "0.5,0.25,0.375,0.5"  # the same in fractions


@dataclass(frozen=True, slots=True)
class Input:
    """A file to be mutated, and how it is checked."""

    name: str
    path: Path  # the file as it is
    card: str  # box, as typed
    transfer: str | None = None  # as typed; None: not given
    free: Free = free_of_meaning  # tags that say nothing about its pixels


REAL_FILES = (  # folder, file, box, transfer, read by LibRaw
    ("raw", "oiio_synthetic_bayer_256x172.dng", "100,60,40,40", None, False),
    ("raw", "lg_g4_sample_1mp_lossy_linear.dng", "100,100,64,64", None, False),
    ("raw", "pixel7_darkframe_510x382.dng", "100,100,64,64", None, False),
    ("raw", "canon_eos_6d_lossy_linear.dng", "100,100,64,64", None, False),
    ("raw", "nikon_d500_lossy_linear_600x400.dng", "100,100,64,64", None, False),
    ("raw", "blackmagic_pocket_cup.dng", "500,500,64,64", None, False),
    ("raw", "canon550d_magiclantern_colorchecker.dng", "1006,902,56,56", None, False),
    ("panel", "0000SET_000_IMG_0000_1.tif", "674,482,114,114", "linear", False),
    ("bracket/frames", "d2_colorChecker30cm_550nm_100ms_2019-02-18-113629-0004.tif",
     "162,207,30,26", "linear", False),
    ("raw", "RAW_NIKON_D1.NEF", "1568,800,64,64", None, True),
    ("raw", "RAW_CANON_G1.CRW", "480,736,64,64", None, True),
    ("raw", "RAW_KODAK_DC50.KDC", "240,16,32,32", None, True),
)  # fmt: skip
# Real files by the share of cases each gets: the small ones are quick to read and to write.
LIGHT = ("oiio", "lg_g4", "pixel7", "canon_eos", "nikon_d500", "d2_color", "0000SET", "RAW_KODAK")


def real_inputs() -> list[Input]:
    """Files of real cameras, whether they are here or not."""
    return [
        Input(name, REAL / folder / name, card, transfer, free_in_raw if raw else free_of_meaning)
        for folder, name, card, transfer, raw in REAL_FILES
    ]


def test_image_inputs() -> list[Input]:
    """The project's test images."""
    names = sorted(path.name for path in IMAGES.iterdir() if path.suffix in (".dng", ".tif"))
    return [
        Input(
            name,
            IMAGES / name,
            CARD,
            "linear" if name.endswith(".tif") and "profile" not in name else None,
        )
        for name in names
        if (IMAGES / name).stat().st_size > 1000
    ]


def simulated_inputs(folder: Path) -> list[Input]:
    """Files of layouts that the test images have not; those that are not there yet are written."""
    folder.mkdir(parents=True, exist_ok=True)
    inputs = []
    for name, write in _simulated().items():
        path = folder / name
        if not path.exists():
            write(path)
        card = TURNED if "turned" in name else CARD
        inputs.append(Input(name, path, card, "linear" if name.startswith("plain") else None))
    return inputs


def _simulated() -> dict[str, Any]:
    """Name of each simulated file and what writes it."""
    tiles: dict[str, Any] = {"tile": (32, 48)}
    masked = replace(BODY, masked=(16, 8, 4, 4), masked_black=503.0)
    grey = replace(FLAT_BLACK, pattern=None)
    bent = opcode_list(map_polynomial((0, 0, 96, 144), (0.0, 0.9, 0.1)))
    lists = {
        1: opcode_list((99, b"unknown")),
        2: opcode_list(gain_map((0, 0, 96, 144), np.full((3, 4), 1.5))),
        3: opcode_list(fix_vignette_radial((0.1, 0.02, 0.0, 0.0, 0.0))),
    }
    files: dict[str, Any] = {
        "ljpeg_strip.dng": partial(_dng, compression="ljpeg"),
        "ljpeg_tiles_big_endian.dng": partial(_dng, compression="ljpeg", order=">", **tiles),
        "deflate_preview.dng": partial(
            _dng, compression="deflate", preview="rgb", rows_per_strip=8
        ),
        "lzw_tiles_jpeg_preview.dng": partial(_dng, compression="lzw", preview="jpeg", **tiles),
        "packbits.dng": partial(_dng, compression="packbits", rows_per_strip=16),
        "packed_preview.dng": partial(_dng, packed=True, preview="rgb"),
        "float16_strips.dng": partial(_dng, samples="float16"),
        "float32_tiles.dng": partial(_dng, samples="float32", compression="deflate", **tiles),
        "masked.dng": partial(_dng, camera=masked, masked_areas=True, preview="jpeg"),
        "masked_tiles_turned.dng": partial(
            _dng, camera=masked, orientation=6, compression="ljpeg", **tiles
        ),
        "opcodes.dng": partial(_dng, opcodes=lists),
        "opcodes_grey.dng": partial(_dng, camera=grey, opcodes={2: bent, 3: lists[3]}),
        "three_planes.dng": partial(_dng, camera=THREE_PLANES, compression="deflate", **tiles),
        "tiff_ep_preview.dng": partial(_dng, exif="tiff-ep", preview="rgb", order=">"),
        "high_iso.dng": partial(_dng, iso=102_400.0, preview="jpeg"),
        "rgb_deflate.tif": partial(
            _tiff, icc=srgb_profile(), transfer="srgb", compression="deflate"
        ),
        "rgb_tiles_big_endian.tif": partial(
            _tiff, icc=gamma_profile(1.8), transfer=1.8, order=">", **tiles
        ),
        "plain_rgb_8.tif": partial(_tiff, dtype="uint8", compression="lzw", rows_per_strip=8),
        "plain_float_tiles.tif": partial(_tiff, dtype="float32", compression="deflate", **tiles),
        "plain_float_strips.tif": partial(_tiff, dtype="float32", rows_per_strip=32),
        "plain_float_64.tif": partial(_library_tiff, dtype=np.float64),
        "plain_big.tif": partial(_library_tiff, bigtiff=True),
        "plain_separate.tif": partial(_library_tiff, planarconfig="separate", rowsperstrip=16),
        "plain_predictor.tif": partial(_library_tiff, predictor=True, compression="zlib"),
        "plain_second.tif": partial(_library_tiff, reduced=True, rowsperstrip=16),
        "plain_pages.tif": partial(_library_tiff, pages=3, tile=(32, 48)),
    }
    for orientation in (2, 3, 4, 5, 6, 7, 8):
        files[f"turned_{orientation}.dng"] = partial(_dng, orientation=orientation, preview="jpeg")
    return files


def _dng(
    path: Path, camera: CameraModel = BODY, orientation: int = 1, iso: float = 100.0, **layout: Any
) -> None:
    """A DNG of the metered card."""
    settings = replace(SETTINGS, orientation=orientation, iso=iso)
    light = Light.metered(METERED, iso)
    exposed = expose(SCENE, light, camera, settings, np.random.default_rng(5))
    write_dng(path, exposed.mosaic, camera, settings, **layout)


def _linear() -> Any:
    """Linear RGB of the metered card."""
    exposed = expose(SCENE, Light.metered(METERED), NEUTRAL, SETTINGS, np.random.default_rng(6))
    return exposed.mosaic / NEUTRAL.white


def _tiff(path: Path, **layout: Any) -> None:
    """A TIFF of the metered card."""
    write_tiff(path, _linear(), camera=GREY, settings=SETTINGS, **layout)


def _library_tiff(
    path: Path,
    pages: int = 1,
    bigtiff: bool = False,
    reduced: bool = False,
    dtype: Any = np.uint16,
    **layout: Any,
) -> None:
    """A TIFF in one of the forms that the simulator does not write."""
    linear = _linear()
    codes = np.asarray(np.rint(linear * 65535) if dtype == np.uint16 else linear, dtype)
    if layout.get("planarconfig") == "separate":
        codes = codes.transpose(2, 0, 1)
    with tifffile.TiffWriter(path, bigtiff=bigtiff) as file:
        if reduced:
            small: dict[str, Any] = {"subfiletype": 1, "metadata": None, "software": "simulated"}
            file.write(codes[::4, ::4], photometric="rgb", **small)
        for _ in range(pages):
            file.write(codes, photometric="rgb", metadata=None, software="simulated", **layout)
