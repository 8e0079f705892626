"""verify/checking.py: files that cannot be measured, flat frames, and set-ups."""

from dataclasses import replace
from pathlib import Path

import pytest
import tifffile
from checked_files import Told, done
from readings import plan_of
from small_shoots import METER_ONLY, PLAN, SET, Make, writer

from verify.checking import Checker, Wanted, body, setup_of, unmeasured
from verify.errors import PlanError
from verify.frames.dng import DngSource
from verify.frames.frame import Frame, Kept, Settings
from verify.frames.open import open_frame
from verify.place import Place


@pytest.fixture
def make(tmp_path: Path) -> Make:
    """What writes frames of the card."""
    return writer(tmp_path)


def test_a_file_that_cannot_be_read_is_a_line(tmp_path: Path) -> None:
    empty = tmp_path / "empty_0003.dng"
    empty.touch()
    told = Told()
    found = done(tmp_path, empty, told, METER_ONLY + '[[setup]]\nname = "rim"\nframes = "3"\n')
    assert (found.check.verdict, found.check.setup, found.setup) == ("unreadable", "rim", 1)
    assert "empty" in str(found.check.problem)
    assert (found.card, told.asked) == (None, [])


def test_what_a_damaged_file_still_tells_is_kept(make: Make, tmp_path: Path) -> None:
    cut = make("a_0001.dng", scene=SET, f_number=8.0)
    cut.write_bytes(cut.read_bytes()[:-3000])
    check = done(tmp_path, cut).check
    assert check.settings is not None
    assert (check.settings.f_number, check.settings.serial) == (8.0, "0047")


def test_an_error_nobody_foresaw_is_a_line_too(
    make: Make, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def odd(*_: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr("verify.checking.measure", odd)
    check = done(tmp_path, make("a_0001.dng", scene=SET, iso=200.0)).check
    assert check.problem == "it could not be measured (ZeroDivisionError: )"
    assert check.settings is not None
    assert check.settings.iso == 200


def test_unmeasured_reads_no_settings_when_it_is_given_some(make: Make, tmp_path: Path) -> None:
    plan, file = plan_of(tmp_path, METER_ONLY), make("a_0001.dng", iso=400.0)
    read = unmeasured(plan, file, "why").check
    assert read.settings is not None
    assert (read.settings.iso, read.problem) == (400, "why")
    assert unmeasured(plan, file, "why", Settings()).check.settings == Settings()
    assert unmeasured(plan, tmp_path / "gone.dng", "why").check.settings == Settings()
    long = unmeasured(plan, tmp_path / ("n" * 5000), "why")  # a name that no system takes
    assert long.check.settings == Settings()


@pytest.mark.parametrize(
    ("flat", "says"),
    [("gone.dng", "there is no such file"), ("empty.dng", "it is empty"), ("a folder", "folder")],
)
def test_a_flat_that_cannot_be_read_is_a_mistake_of_the_plan(
    make: Make, tmp_path: Path, flat: str, says: str
) -> None:
    (tmp_path / "empty.dng").touch()
    (tmp_path / "a folder").mkdir()
    text = PLAN + f'flat = "{flat}"\n'
    with pytest.raises(PlanError) as refused:
        done(tmp_path, make("a_0001.dng"), text=text)
    message = str(refused.value)
    assert message.startswith(f"[card] flat: {tmp_path / flat}: ")
    assert says in message
    assert "\n" not in message


def test_a_flat_is_opened_once_and_let_go(
    make: Make, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    opened: list[str] = []

    def noting(path: Path, transfer: str | None = None) -> Frame:
        opened.append(path.name)
        return open_frame(path, transfer)

    monkeypatch.setattr("verify.checking.open_frame", noting)
    make("flat.dng", scene=replace(SET, card_box=(0, 0, 1, 1)))
    files = [make(f"a_000{n}.dng", scene=SET) for n in (1, 2, 3)]
    checker = Checker(plan_of(tmp_path, METER_ONLY + '[card]\nflat = "flat.dng"\n'), Wanted())
    checks = [checker(file, Told()).check for file in files]
    assert opened.count("flat.dng") == 1
    assert [check.problem for check in checks] == [None] * 3
    (flat,) = checker._flats.values()
    assert isinstance(flat.source, Kept)
    assert isinstance(flat.source.source, DngSource)
    handle = flat.source.source.chunks.page.parent.filehandle
    assert not handle.closed
    checker.close()
    assert checker._flats == {}
    assert handle.closed


def test_a_picture_that_cannot_be_made_costs_no_measurement(make: Make, tmp_path: Path) -> None:
    """The card's box is whole; what lies in other tiles is no reason to measure nothing."""
    large, tiles = replace(SET, size=(1200, 900)), {"compression": "deflate", "tile": (256, 256)}
    file = make("a_0001.dng", scene=large, layout=tiles)
    with tifffile.TiffFile(file) as tiff:
        page = tiff.pages.first
        start, count = page.dataoffsets[-1], page.databytecounts[-1]
    data = bytearray(file.read_bytes())
    data[start : start + count] = bytes(count)
    file.write_bytes(data)
    given = Place((0.45, 0.4, 0.1, 0.2), True)
    plain = done(tmp_path, file, place=given)
    assert plain.check.problem is None
    shown = done(tmp_path, file, place=given, pictures=True)
    assert shown.check == plain.check


@pytest.mark.parametrize("size", [(50, 1), (5000, 4)])
def test_a_picture_too_small_to_look_into_is_told_so(
    make: Make, tmp_path: Path, size: tuple[int, int]
) -> None:
    scene = replace(SET, size=size, card_box=(0.0, 0.0, 1.0, 1.0), props=())
    check = done(tmp_path, make("a_0001.dng", scene=scene)).check
    assert check.problem is not None
    assert "OpenCV" not in check.problem


SET_UPS = """
[[setup]]
name = "ranges"
frames = "10-12, 20"

[[setup]]
name = "from 30"
from = "0030"

[[setup]]
name = "from 40"
from = "0040"

[[setup]]
name = "second body"
serial = "0099"

[[setup]]
name = "of one body"
serial = "0047"
frames = "50-60"
"""


@pytest.mark.parametrize(
    ("name", "serial", "setup"),
    [
        ("a_0001.dng", "0047", 0),
        ("a_0010.dng", "0047", 1),
        ("a_0012.dng", None, 1),
        ("a_0013.dng", "0047", 0),
        ("a_0020.dng", "0047", 1),
        ("a_0029.dng", "0047", 0),
        ("a_0030.dng", "0047", 2),
        ("a_0039.dng", None, 2),
        ("a_0040.dng", "0047", 3),
        ("a_9999.dng", "0047", 3),
        ("a_0001.dng", "0099", 4),
        ("a_0055.dng", "0099", 4),
        ("a_0055.dng", "0047", 5),
        ("a_0055.dng", None, 3),
        ("a_0061.dng", "0047", 3),
        ("unnumbered.dng", "0047", 0),
        ("unnumbered.dng", "0099", 4),
    ],
)
def test_the_set_up_of_a_frame(tmp_path: Path, name: str, serial: str | None, setup: int) -> None:
    plan = plan_of(tmp_path, METER_ONLY + SET_UPS)
    assert setup_of(plan, Path("folder") / name, Settings(serial=serial)) == setup


@pytest.mark.parametrize(
    ("settings", "words"),
    [
        (Settings(make="Tarnwick", model="TW-14", serial="0047"), "TW-14 0047"),
        (Settings(make="Tarnwick", serial="0047"), "Tarnwick 0047"),
        (Settings(model="TW-14"), "TW-14"),
        (Settings(serial="0047"), "0047"),
        (Settings(), ""),
        (None, ""),
    ],
)
def test_a_body_in_words(settings: Settings | None, words: str) -> None:
    assert body(settings) == words
