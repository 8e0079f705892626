"""Cost of measuring one box of a 24-megapixel frame, of finding the card, of a recorded flash.

    python3 scripts/bench.py [--repeats N]

Ratios within one run, for machines differ; and milliseconds where a person waits for them. Writes
its frames to a temporary folder and takes the best of several runs of each timing. Run it in the
project's environment, with nothing else going on.
"""

import argparse
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np
import rawpy
import tifffile
from PIL import Image

from verify.frames.exif import read_settings
from verify.frames.frame import Frame
from verify.frames.geometry import Box
from verify.frames.open import open_frame
from verify.frames.raw import open_raw
from verify.measure import measure
from verify.pulse.firing import firing_of
from verify.simulate.camera import CameraModel, Settings
from verify.simulate.dng import write_dng
from verify.simulate.pictures.photograph import Photograph, photograph
from verify.simulate.pictures.rendering import rendered
from verify.simulate.recording import Recorder, recording_csv
from verify.simulate.scene import Light, Scene, expose
from verify.target.find import Finder
from verify.target.records import Target
from verify.trace.read import read_trace

SIZE = (6000, 4000)  # 24 megapixels
BOX = Box(2900, 1900, 128, 128)
FRAMES = (4, 32)  # how many frames the two memory runs measure
SETS = {"6 x 6": (24, 0), "Bayer": (24, 3)}  # seed and number of a set, by the mosaic it is seen by
DEFLATE = {"compression": "deflate", "rows_per_strip": 16}
SAMPLES = 1_000_000  # of a recorded flash
PREVIEW_PX = 1024  # longer side of the picture that a camera embeds
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
            one_box(name, path, repeats)
        memory(frames["lossless JPEG, one strip"])
        print(f"\n{'finding the card':38} {'finding':>9} {'unpack':>9} {'ratio':>7}  wanted")
        for mosaic, (seed, number) in SETS.items():
            finding(mosaic, photograph("card", seed, number, SIZE), Path(folder), repeats)
        print(f"\n{'a recorded flash':38} {'all of it':>9} {'loadtxt':>9} {'ratio':>7}  wanted")
        recorded_flash(Path(folder) / "flash.csv", repeats)
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

    def ours() -> None:
        with through_libraw(path) as frame:
            measure(frame, Target(BOX, BOX.corners(), "given"))

    clocks = partial(timed, ours), partial(timed, partial(unpack, path))
    report("raw through LibRaw", *clocks, "<= 1.1", repeats)


def one_box(name: str, path: Path, repeats: int) -> None:
    """One box of a DNG or TIFF, against a decode of the whole image."""

    def ours() -> None:
        with open_frame(path, "linear") as frame:
            measure(frame, Target(BOX, BOX.corners(), "given"))

    def whole() -> None:
        with tifffile.TiffFile(path) as file:
            file.pages.first.asarray(maxworkers=1)

    one_part = "one strip" in name and "uncompressed" not in name
    clocks = partial(timed, ours), partial(timed, whole)
    report(name, *clocks, "(one part)" if one_part else "<= 0.05", repeats)


def finding(mosaic: str, shot: Photograph, folder: Path, repeats: int) -> None:
    """Look for the card in one photograph of a set, in several containers."""
    name = mosaic.replace(" ", "")

    def written(kind: str, layout: dict[str, object]) -> Path:
        return write_dng(
            folder / f"{name}_{kind}.dng", shot.mosaic, shot.camera, shot.settings, **layout
        )

    def after_decode() -> float:
        with through_libraw(raw) as frame:
            frame.scene_mean()  # decodes
            return timed(lambda: Finder(frame).search())

    raw = written("raw", {"compression": "ljpeg"})
    unpacked = partial(timed, partial(unpack, raw))
    report(f"raw, decoded, {mosaic}", after_decode, unpacked, "<= 0.5", repeats)
    strips: dict[str, dict[str, object]] = {
        "deflate strips": DEFLATE,
        "deflate strips and preview": {**DEFLATE, **preview(shot)},
        "uncompressed strips": {"rows_per_strip": 16},
    }
    for kind, layout in strips.items():
        look = partial(open_and_find, written(kind.replace(" ", "_"), layout))
        best = min(timed(look) for _ in range(repeats))
        print(f"{f'{kind}, {mosaic}':38} {best * 1e3:6.1f} ms {'':17}  <= 150 ms")


def recorded_flash(path: Path, repeats: int) -> None:
    """A long recording from its file to its durations, against numpy's own reading of the file."""
    recorder = Recorder(step_s=1e-8, before_s=0.001, after_s=1e-8 * SAMPLES - 0.001)
    text = recording_csv(recorder, 1 / 700, 4e-5, 0.9, np.random.default_rng(6))
    path.write_text(text, encoding="utf-8")

    def ours() -> None:
        firing_of(read_trace(path), str(path))

    def numpys() -> None:
        np.loadtxt(path, delimiter=",", skiprows=1)

    clocks = partial(timed, ours), partial(timed, numpys)
    report(f"CSV of {SAMPLES:,} samples", *clocks, "<= 3", repeats)


def preview(shot: Photograph) -> dict[str, object]:
    """A picture as a camera embeds one: fields of a file's layout."""
    picture = Image.fromarray(rendered(shot.mosaic, shot.camera))
    picture.thumbnail((PREVIEW_PX, PREVIEW_PX))
    return {"preview": "jpeg", "preview_picture": np.asarray(picture)}


def through_libraw(path: Path) -> Frame:
    """A DNG as a camera raw file is opened."""
    source, turn = open_raw(path)
    return Frame(path, replace(read_settings(path), orientation=turn), source, "raw")


def unpack(path: Path) -> None:
    """LibRaw's own decode, and nothing else."""
    with rawpy.imread(str(path)) as raw:
        raw.unpack()


def open_and_find(path: Path) -> None:
    """All that a frame costs until its card is found."""
    with open_frame(path) as frame:
        Finder(frame).search()


def report(
    name: str, ours: Callable[[], float], whole: Callable[[], float], wanted: str, repeats: int
) -> None:
    """One row of the table; the two take turns, so that a busy machine slows both."""
    own, full = float("inf"), float("inf")
    for _ in range(repeats):
        full = min(full, whole())
        own = min(own, ours())
    print(f"{name:38} {own * 1e3:6.1f} ms {full * 1e3:6.1f} ms {own / full:7.3f}  {wanted}")


def timed(work: Callable[[], object]) -> float:
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
