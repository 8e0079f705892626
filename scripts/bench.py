"""Cost of measuring one box of a 24-megapixel frame, as ratios within one run.

    python3 scripts/bench.py [--repeats N]

Writes its frames to a temporary folder and takes the best of several runs of each timing. Run it
in the project's environment.
"""

import argparse
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import rawpy
import tifffile

from verify.frames.exif import read_settings
from verify.frames.frame import Frame
from verify.frames.geometry import Box
from verify.frames.open import open_frame
from verify.frames.raw import open_raw
from verify.measure import measure
from verify.simulate.camera import CameraModel, Settings
from verify.simulate.dng import write_dng
from verify.simulate.scene import Light, Scene, expose
from verify.target.records import Target

SIZE = (6000, 4000)  # 24 megapixels
BOX = Box(2900, 1900, 128, 128)
FRAMES = (4, 32)  # how many frames the two memory runs measure
MEMORY_RUN = """
import resource, sys
from pathlib import Path
from verify.plan.file import read_plan
from verify.place import Place
from verify.shoot import Options, check_shoot
files = [Path(sys.argv[1])] * int(sys.argv[2])
place = Place((0.48, 0.47, 0.03, 0.03), True)
check_shoot(read_plan(None, {"reading": {"aperture": 11}}), files, Options(place=place))
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
"""


def main() -> int:
    """Print the table of ratios."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--repeats", type=int, default=5, help="timings of which the best counts")
    repeats = parser.parse_args().repeats
    with tempfile.TemporaryDirectory() as folder:
        frames = write_frames(Path(folder))
        print(f"box {BOX.width} x {BOX.height} of {SIZE[0]} x {SIZE[1]}, best of {repeats}")
        print(f"{'file':38} {'box':>9} {'whole':>9} {'ratio':>7}  wanted")
        whole_raw(frames["lossless JPEG, one strip"], repeats)
        for name, path in frames.items():
            partial(name, path, repeats)
        memory(frames["lossless JPEG, one strip"])
    return 0


def write_frames(folder: Path) -> dict[str, Path]:
    """The same exposure in several containers."""
    camera = CameraModel()
    exposed = expose(
        Scene(size=SIZE), Light.metered(2**3.5), camera, Settings(), np.random.default_rng(24)
    )
    layouts: dict[str, dict[str, object]] = {
        "lossless JPEG, one strip": {"compression": "ljpeg"},
        "lossless JPEG, tiles of 256": {"compression": "ljpeg", "tile": (256, 256)},
        "deflate, strips of 16 rows": {"compression": "deflate", "rows_per_strip": 16},
        "uncompressed, one strip": {},
    }
    paths = {}
    for number, (name, layout) in enumerate(layouts.items()):
        paths[name] = write_dng(
            folder / f"frame_{number}.dng", exposed.mosaic, camera, Settings(), **layout
        )
    rgb = np.repeat(exposed.mosaic[..., None], 3, axis=2)
    paths["TIFF, deflate, tiles of 256"] = folder / "frame.tif"
    tifffile.imwrite(
        folder / "frame.tif", rgb, tile=(256, 256), compression="deflate", photometric="rgb"
    )
    return paths


def whole_raw(path: Path, repeats: int) -> None:
    """A raw that LibRaw must decode whole, against LibRaw's own unpack."""

    def unpack() -> None:
        with rawpy.imread(str(path)) as raw:
            raw.unpack()

    def ours() -> None:
        source, _ = open_raw(path)
        with Frame(path, read_settings(path), source, "raw") as frame:
            measure(frame, Target(BOX, BOX.corners(), "given"))

    report("raw through LibRaw", ours, unpack, "<= 1.1", repeats)


def partial(name: str, path: Path, repeats: int) -> None:
    """One box of a DNG or TIFF, against a decode of the whole image."""

    def ours() -> None:
        with open_frame(path, "linear") as frame:
            measure(frame, Target(BOX, BOX.corners(), "given"))

    def whole() -> None:
        with tifffile.TiffFile(path) as file:
            file.pages.first.asarray(maxworkers=1)

    one_part = "one strip" in name and "uncompressed" not in name
    report(name, ours, whole, "(one part)" if one_part else "<= 0.05", repeats)


def report(
    name: str, ours: Callable[[], None], whole: Callable[[], None], wanted: str, repeats: int
) -> None:
    """One row of the table; the two take turns, so that a busy machine slows both."""
    box, full = float("inf"), float("inf")
    for _ in range(repeats):
        full = min(full, timed(whole))
        box = min(box, timed(ours))
    print(f"{name:38} {box * 1e3:6.1f} ms {full * 1e3:6.1f} ms {box / full:7.3f}  {wanted}")


def timed(work: Callable[[], None]) -> float:
    """Seconds that ``work`` takes."""
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def memory(path: Path) -> None:
    """Peak memory of a few and of many frames, each in a process of its own."""
    peaks = []
    for count in FRAMES:
        run = [sys.executable, "-c", MEMORY_RUN, str(path), str(count)]
        done = subprocess.run(run, capture_output=True, text=True, check=False)
        if done.returncode:
            print("peak memory: not measured here:", done.stderr.strip().splitlines()[-1])
            return
        peaks.append(float(done.stdout))
    few, many = FRAMES
    print(f"peak memory: {peaks[0]:.0f} MiB for {few} frames, {peaks[1]:.0f} MiB for {many}")


if __name__ == "__main__":
    sys.exit(main())
