"""How true the numbers are: simulated raw files with a known truth, through the whole main path.

    python3 scripts/study_numbers.py [--frames N] [--seed N]

Run it in the project's environment. The first table holds every reported error and settings part
against the truth: mosaics of every order, black that differs per photosite class, ISO 100 to 6400,
errors from -4 to +2 stops, all eight orientations, the box given. The second counts how many errors
lie within two of the quoted uncertainties when meter, card, placing and lens scatter as stated. The
exit status is 0 when both reach what is wanted.

What is measured sees a file and a plan; the truth is worked out here, from the published
definitions and printed scales, without the project's own arithmetic.
"""

import argparse
import math
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from verify.compare import FrameCheck
from verify.plan.file import read_plan
from verify.plan.records import Plan
from verify.shoot import Options, check_shoot
from verify.simulate.camera import BAYER_ORDERS, CMYG, SIX_BY_SIX, CameraModel, Settings
from verify.simulate.dng import write_dng
from verify.simulate.scene import Light, Scene, expose

ALLOWED_STOPS = 0.003  # on top of three times the noise of the patch
ALLOWED_SETTINGS_STOPS = 0.001
COVERED = (0.94, 0.965)  # of the errors, within two standard uncertainties

# Printed values and their steps: third stops from f/1 and from ISO 100 (ISO 2720, ISO 12232).
FULL_STOPS = ("0.5", "0.7", "1", "1.4", "2", "2.8", "4", "5.6", "8", "11", "16", "22")  # Av -2 on
THIRDS_FROM, THIRDS = 9, (
    2.8, 3.2, 3.5, 4, 4.5, 5, 5.6, 6.3, 7.1, 8, 9, 10, 11, 13, 14, 16, 18, 20, 22, 25, 29, 32,
)  # fmt: skip
ISOS = (
    100, 125, 160, 200, 250, 320, 400, 500, 640, 800, 1000, 1250, 1600, 2000, 2500, 3200, 4000,
    5000, 6400,
)  # fmt: skip
C_FLAT, GREY_CARD, Q, SATURATION = 250.0, 0.18, 0.65, 78.0  # ISO 2720 and ISO 12232
METERED_SIGNAL = Q * C_FLAT * GREY_CARD / math.pi / SATURATION  # 0.11937

PATTERNS = (*BAYER_ORDERS, SIX_BY_SIX, CMYG, None)
DEPTHS = ((12, 4095, 128.0), (14, 16383, 512.0), (16, 65535, 1024.0))  # bits, white, black
LAYOUTS: tuple[dict[str, Any], ...] = (
    {},
    {"rows_per_strip": 7},
    {"compression": "ljpeg", "tile": (64, 48)},
    {"compression": "deflate", "rows_per_strip": 16, "preview": "rgb"},
    {"compression": "lzw", "tile": (48, 64), "order": ">"},
)


@dataclass(frozen=True, slots=True)
class Case:
    """A frame in a file, its plan, and what is true of it."""

    path: Path
    plan: Plan
    error_stops: float  # true: light and settings against the plan
    settings_stops: float  # true: the dials against the plan
    noise_stops: float  # one standard deviation of the patch's mean, by EMVA 1288
    what: str  # what kind of frame it is


@dataclass(frozen=True, slots=True)
class Scattered:
    """A frame of which meter, card, placing and lens are off by chance."""

    reading: str  # what the meter shows, in tenths of a stop
    light_lxs: float  # at the card
    reflectance: float  # of the card; the plan takes it for 18 %
    f_number: float  # that the lens really stopped down to; set is f/11
    error_stops: float  # true: by how much the light changed after it was metered

    @property
    def signal(self) -> float:
        """Signal of the card at ISO 100."""
        exposure_lxs = Q * self.reflectance * self.light_lxs / math.pi / self.f_number**2
        return exposure_lxs * 100 / SATURATION

    def tables(self) -> dict[str, Any]:
        """The plan, as in a plan file."""
        return {
            "reading": {"aperture": self.reading},
            "camera": {"aperture": "f/11", "iso": 100},
            "card": {"box": [0.3, 0.3, 0.4, 0.4]},
            "uncertainty": {"card": 0.08, "placing": 0.1, "meter": 0.029, "lens": 0.05},
        }


def tenths_text(tenths: int) -> str:
    """What a meter shows for an Av of so many tenths: 73 is f/11 + 0.3."""
    return f"f/{FULL_STOPS[tenths // 10 + 2]} + 0.{tenths % 10}"


def levels_case(folder: Path, number: int, seed: int) -> Case:
    """Write one frame for the first table; every 56 have each pattern at each orientation."""
    rng = np.random.default_rng([seed, number])
    pattern = PATTERNS[number % len(PATTERNS)]
    camera = _camera(pattern, rng)
    # Dials in third stops: as planned, and as the frame was shot.
    planned, planned_iso = int(rng.integers(4, 18)), int(rng.integers(len(ISOS)))
    shot = planned + int(rng.integers(-4, 5)) * int(rng.integers(2))
    iso = int(np.clip(planned_iso + rng.integers(-6, 7) * rng.integers(2), 0, len(ISOS) - 1))
    set_stops = (planned - shot + iso - planned_iso) / 3
    error_stops = float(rng.uniform(-4, 2))
    metered_av = (THIRDS_FROM + planned - planned_iso) / 3
    tenths = round(10 * metered_av) + int(rng.integers(-3, 4))  # the plan departs from it a little
    light = Light(C_FLAT * 2 ** (tenths / 10) / 100 * 2 ** (error_stops - set_stops))
    settings = Settings(
        f_number=THIRDS[shot],
        iso=ISOS[iso],
        true_f_number=2 ** ((THIRDS_FROM + shot) / 6),
        true_iso=100 * 2 ** (iso / 3),
        orientation=number % 8 + 1,
    )
    lowest, beyond = (190, 190, 0, 0, 110, 110), (221, 221, 60, 60, 129, 129)
    width, height, col, row, across, down = (int(n) for n in rng.integers(lowest, beyond))
    scene = Scene(size=(width, height), card_box=(col, row, across, down), background=0.1)
    exposed = expose(scene, light, camera, settings, rng)
    path = folder / f"frame_{number:05d}.dng"
    write_dng(path, exposed.mosaic, camera, settings, **LAYOUTS[rng.integers(len(LAYOUTS))])
    tables = {
        "reading": {"aperture": tenths_text(tenths)},
        "camera": {"aperture": f"f/{THIRDS[planned]:g}", "iso": ISOS[planned_iso]},
        "card": {"box": [col, row, across, down]},
    }
    what = {6: "6 x 6", 1: "mono"}.get(len(pattern or "."), "".join(pattern or ()))
    noise = exposed.card_noise_stops
    return Case(path, read_plan(None, tables), error_stops, set_stops, noise, what)


def _camera(pattern: tuple[str, ...] | None, rng: np.random.Generator) -> CameraModel:
    """A body of any depth, masked border and black of each photosite class."""
    bits, white, black = DEPTHS[rng.integers(len(DEPTHS))]
    repeat = (len(pattern), len(pattern[0])) if pattern else (1, 1)
    classes = black + rng.integers(-60, 61, repeat) / 4
    left, top, right, bottom = rng.integers(0, 9, 4).tolist()
    return CameraModel(
        pattern=pattern,
        black=tuple(map(tuple, classes.tolist())),
        white=white,
        bits=bits,
        masked=(left, top, right, bottom),
    )


def scattered(rng: np.random.Generator) -> Scattered:
    """Draw a frame whose meter, card, placing and lens are off as the plan states."""
    placing, card, lens = rng.normal(0, (0.1, 0.08, 0.05))
    metered_av = float(rng.uniform(6.7, 7.4))  # of the light where the meter was
    error_stops = float(rng.uniform(-0.5, 0.5))
    return Scattered(
        reading=tenths_text(round(metered_av * 10)),  # rounded: uniform, 0.1 / sqrt(12) = 0.029
        light_lxs=C_FLAT / 100 * 2 ** (metered_av + placing + error_stops),
        reflectance=GREY_CARD * 2**card,
        f_number=2 ** ((7 - lens) / 2),
        error_stops=error_stops,
    )


def scattered_case(folder: Path, number: int, seed: int) -> Case:
    """Write one frame for the second table."""
    rng = np.random.default_rng([seed, 1, number])
    drawn = scattered(rng)
    camera = CameraModel(pattern=PATTERNS[number % 4])
    settings = Settings(true_f_number=drawn.f_number)
    scene = Scene(size=(96, 64), card=drawn.reflectance, card_box=(0.25, 0.25, 0.5, 0.5))
    exposed = expose(scene, Light(drawn.light_lxs), camera, settings, rng)
    path = folder / f"frame_{number:05d}.dng"
    write_dng(path, exposed.mosaic, camera, settings)
    plan = read_plan(None, drawn.tables())
    return Case(path, plan, drawn.error_stops, 0.0, exposed.card_noise_stops, "scattered")


def checked(case: Case) -> FrameCheck:
    """What the project says of a case: it gets the file and the plan, and nothing else."""
    (check,) = check_shoot(case.plan, [case.path], Options()).checks
    if check.error_stops is None or check.settings_stops is None or check.u_stops is None:
        raise RuntimeError(f"{case.path.name} ({case.what}) was not measured: {check.problem}")
    return check


def levels(folder: Path, frames: int, seed: int) -> Iterator[tuple[Case, float, float]]:
    """Every case of the first table, with the deviation of its error and of its settings part."""
    for number in range(frames):
        case = levels_case(folder, number, seed)
        check = checked(case)
        case.path.unlink()
        assert check.error_stops is not None
        assert check.settings_stops is not None
        error = check.error_stops - case.error_stops
        yield case, error, check.settings_stops - case.settings_stops


def coverage(folder: Path, frames: int, seed: int) -> Iterator[float]:
    """Deviation of every error of the second table, in standard uncertainties."""
    for number in range(frames):
        case = scattered_case(folder, number, seed)
        check = checked(case)
        case.path.unlink()
        assert check.error_stops is not None
        assert check.u_stops is not None
        yield (check.error_stops - case.error_stops) / check.u_stops


def print_levels(rows: list[tuple[Case, float, float]]) -> bool:
    """Print the first table; return whether every frame is as true as wanted."""
    headings = f"{'count':>6} {'mean':>9} {'spread':>8} {'largest':>8} {'of allowed':>11}"
    print(f"\n{'frames of':10} {headings}")
    missed = 0
    for what in [*dict.fromkeys(case.what for case, *_ in rows), "all"]:
        own = [(c, e) for c, e, _ in rows if what in (c.what, "all")]
        errors = np.array([e for _, e in own])
        share = np.abs(errors) / [ALLOWED_STOPS + 3 * c.noise_stops for c, _ in own]
        missed = int(np.count_nonzero(share > 1))
        figures = f"{errors.mean():9.5f} {errors.std():8.5f} {np.abs(errors).max():8.5f}"
        print(f"{what:10} {len(own):6} {figures} {share.max():11.2f}")
    settings = max(abs(s) for *_, s in rows)
    print(f"errors outside {ALLOWED_STOPS} stop + 3 x noise: {missed}, wanted 0")
    print(f"settings part: largest deviation {settings:.6f} stop, wanted {ALLOWED_SETTINGS_STOPS}")
    return not missed and settings <= ALLOWED_SETTINGS_STOPS


def print_coverage(deviations: list[float]) -> bool:
    """Print the second table; return whether the share is as wanted."""
    size = np.abs(deviations)
    low, high = COVERED
    within = float(np.mean(size <= 2))
    print(f"\nerrors within 2 u: {within:.2%} of {size.size}, wanted {low:.1%} to {high:.1%}")
    print(f"within 1 u: {np.mean(size <= 1):.2%}, within 3 u: {np.mean(size <= 3):.2%}")
    print(f"spread {np.std(deviations):.3f} u, mean {np.mean(deviations):+.3f} u")
    return low <= within <= high


def main() -> int:
    """Print both tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--frames", type=int, default=2000, help="frames for each table")
    parser.add_argument("--seed", type=int, default=1, help="another seed draws other frames")
    given = parser.parse_args()
    print(f"{given.frames} frames for each table, seed {given.seed}")
    with tempfile.TemporaryDirectory() as folder:
        true = print_levels(list(levels(Path(folder), given.frames, given.seed)))
        honest = print_coverage(list(coverage(Path(folder), given.frames, given.seed)))
    return 0 if true and honest else 1


if __name__ == "__main__":
    sys.exit(main())
