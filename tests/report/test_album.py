"""verify/report/album.py: small pictures in which the card is outlined where it is."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image
from readings import checked
from shoots import looked_for
from small_shoots import SET, writer

from verify.checking import Checked
from verify.compare import FrameCheck
from verify.errors import PlanError
from verify.frames.geometry import Box, Size
from verify.frames.overview import Overview, Reduced, turned
from verify.place import Place
from verify.plan.file import read_plan
from verify.report.album import CARD, LINE, MARGIN, OTHER, SIDE, Album, _caption, drawn
from verify.shoot import Options, check_shoot
from verify.target.records import Target

GREY = turned(Reduced(np.full((80, 120, 1), 0.1, np.float32), ("grey",), 2), Size(240, 160), 1)
SHARE = SIDE / 240  # of a picture's pixels a sensor's, where 240 of them are its longer side
FRAME = ((5, 5), (235, 5), (235, 155), (5, 155))  # corners near the picture's own
LINE_PX = 3  # half of an outline and the rounding of its ends


def with_picture(name: str, picture: Overview | None = GREY) -> Checked:
    """What is known of a frame that was not measured, with its small picture."""
    return Checked(FrameCheck(Path(name), "main", None, problem="why"), 0, picture=picture)


def shown(file: Path) -> Checked:
    """A frame in which the card is looked for, with its picture."""
    seen: list[Checked] = []
    plan = read_plan(None, {"reading": {"aperture": "f/11"}})
    check_shoot(plan, [file], Options(pictures=True), done=seen.append)
    (one,) = seen
    return one


def picture_of(one: Checked) -> NDArray[np.uint8]:
    assert one.picture is not None
    return np.asarray(drawn(one.check, one.picture))


def painted(picture: NDArray[np.uint8], color: tuple[int, int, int]) -> NDArray[np.bool_]:
    """Where a picture has that very colour."""
    found: NDArray[np.bool_] = (picture == np.array(color, np.uint8)).all(-1)
    return found


def extent(there: NDArray[np.bool_]) -> tuple[int, int, int, int]:
    """First and last column and row of what is painted: left, top, right, bottom."""
    rows, cols = np.nonzero(there)
    return int(cols.min()), int(rows.min()), int(cols.max()), int(rows.max())


def along(ring: list[tuple[float, float]], there: NDArray[np.bool_]) -> float:
    """Share of a closed line that is painted, within a line's width."""
    hit = []
    for (c0, r0), (c1, r1) in zip(ring, ring[1:] + ring[:1], strict=True):
        for at in np.linspace(0, 1, 60):
            col, row = round(c0 + at * (c1 - c0)), round(r0 + at * (r1 - r0))
            part = there[max(row - 2, 0) : row + 3, max(col - 2, 0) : col + 3]
            hit.append(bool(part.any()))
    return sum(hit) / len(hit)


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("size", [(240, 160), (239, 161)])
def test_the_card_is_outlined_where_it_is(
    tmp_path: Path, size: tuple[int, int], orientation: int
) -> None:
    """Held against where the scene has it, whatever way the camera was turned."""
    scene = replace(SET, size=size, card_box=(0.4, 0.35, 0.2, 0.3))
    one = shown(writer(tmp_path)("a.dng", scene=scene, orientation=orientation))
    picture, there = picture_of(one), painted(picture_of(one), CARD)
    assert one.check.verdict != "no-card"
    assert picture.shape[1] == SIDE
    left, top, width, height = scene.box_px(scene.card_box)
    share = SIDE / (size[0] // 2 * 2)
    true = [left * share, top * share, (left + width) * share, (top + height) * share]
    assert extent(there) == pytest.approx(true, abs=LINE_PX + 1.5 * share)
    corners = [(true[0], true[1]), (true[2], true[1]), (true[2], true[3]), (true[0], true[3])]
    assert one.check.patch is not None
    found = [(c * share, r * share) for c, r in one.check.patch.target.corners]
    assert np.abs(np.array(found) - corners).max() < 1.5 * share
    # Nothing is painted but its two rings, of two pixels and of one.
    assert np.count_nonzero(there) < 4 * 2 * (width + height) * share
    assert not painted(picture, OTHER).any()


def test_a_card_in_perspective_is_outlined_by_its_own_corners() -> None:
    corners = ((60.0, 30.0), (170.0, 50.0), (150.0, 120.0), (40.0, 110.0))
    target = Target(Box(80, 60, 40, 30), corners, "shape")
    one = Checked(checked(target=target), 0, picture=GREY)
    picture = picture_of(one)
    there = painted(picture, CARD)
    ring = [(c * SHARE, r * SHARE) for c, r in corners]
    assert along(ring, there) > 0.98
    box = [(80, 60), (120, 60), (120, 90), (80, 90)]
    assert along([(c * SHARE, r * SHARE) for c, r in box], there) > 0.98
    # The picture itself is left as it was everywhere else, and what is outlined can be seen.
    assert along([(c * SHARE, r * SHARE) for c, r in FRAME], there) == 0
    assert tuple(picture[20, 20].tolist()) == tuple(picture[10, 800].tolist())


def test_an_overview_that_begins_elsewhere_shifts_the_outline() -> None:
    target = Target(Box(100, 60, 40, 40), ((100, 60), (140, 60), (140, 100), (100, 100)), "given")
    shifted = replace(GREY, corner=(20.0, 10.0))
    there = painted(picture_of(Checked(checked(target=target), 0, picture=shifted)), CARD)
    true = [value * SHARE for value in (80, 50, 120, 90)]
    assert extent(there) == pytest.approx(true, abs=LINE_PX)


def test_what_else_looks_like_the_card_has_another_colour() -> None:
    first, second, third = (
        Target(Box(*box), Box(*box).corners(), "shape")
        for box in ((20, 20, 40, 40), (100, 20, 40, 40), (180, 20, 40, 40))
    )
    check = checked(target=first)
    one = Checked(replace(check, sightings=(first, second, third)), 0, picture=GREY)
    picture = picture_of(one)
    ends = [value * SHARE for value in (20, 20, 60, 60)]
    assert extent(painted(picture, CARD)) == pytest.approx(ends, abs=LINE_PX)
    others = [value * SHARE for value in (100, 20, 220, 60)]
    assert extent(painted(picture, OTHER)) == pytest.approx(others, abs=LINE_PX)
    ring = [(c * SHARE, r * SHARE) for c, r in third.corners]
    assert along(ring, painted(picture, OTHER)) > 0.98


def test_without_a_card_nothing_is_outlined(tmp_path: Path) -> None:
    picture = picture_of(with_picture("a.dng"))
    assert not (painted(picture, CARD) | painted(picture, OTHER)).any()
    for check in looked_for(tmp_path).checks[2:]:
        picture = np.asarray(drawn(check, GREY))
        assert not (painted(picture, CARD) | painted(picture, OTHER)).any()


@pytest.mark.parametrize(("size", "orientation"), [((240, 160), 1), ((160, 240), 1)])
def test_its_longer_side_is_about_as_long_for_every_camera(
    size: tuple[int, int], orientation: int
) -> None:
    rows, cols = size[1] // 2, size[0] // 2
    overview = turned(
        Reduced(np.full((rows, cols, 1), 0.1, np.float32), ("grey",), 2), Size(*size), orientation
    )
    picture = drawn(checked(), overview)
    lines = len(_caption(checked(), max(40, round(SIDE * cols / max(rows, cols)) // 8)))
    height = round(SIDE * rows / max(rows, cols)) + 2 * MARGIN + lines * LINE
    assert picture.size == (round(SIDE * cols / max(rows, cols)), height)


# the caption


def test_the_caption_tells_what_was_measured_and_what_came_of_it() -> None:
    check = replace(checked(), u_stops=0.145, error_stops=-0.153, rest_stops=-0.49)
    lines = _caption(replace(check, settings_stops=1 / 3), 1000)
    assert lines == [
        "frame_0001.dng   measured at 40,40,20,20   error -0.15 ± 0.29   rest -0.49   "
        "3.07 stops below clipping   no-offset"
    ]
    assert "rest" not in _caption(check, 1000)[0]  # the camera was set as planned
    without = replace(check, error_stops=None, u_stops=None, rest_stops=None, warnings=())
    assert _caption(without, 1000) == [
        "frame_0001.dng   measured at 40,40,20,20   3.07 stops below clipping"
    ]


@pytest.mark.parametrize(("bound", "side"), [("at-least", "at least"), ("at-most", "at most")])
def test_the_caption_of_a_bound(bound: Any, side: str) -> None:
    check = replace(checked(bound=bound), error_stops=3.104)
    (line,) = _caption(check, 1000)
    assert f"error {side} +3.10   " in f"{line}   "
    assert "±" not in line
    assert "below clipping" not in line


def test_the_caption_names_what_is_doubtful(tmp_path: Path) -> None:
    two, one, none, gel = (" | ".join(_caption(c, 1000)) for c in looked_for(tmp_path).checks)
    assert two.endswith("card-doubtful   no-offset   several-cards")
    assert "card-doubtful" not in one
    assert none == "none_0003.dng   no-card"
    assert gel == "gel_0004.dng   no-card   coloured-light"


@pytest.mark.parametrize("columns", [40, 60, 112])
def test_the_caption_fits_its_width(columns: int) -> None:
    check = replace(checked(), warnings=("several-cards", "card-unsure", "unlikely-level", "glare"))
    lines = _caption(check, columns)
    assert max(map(len, lines)) <= columns
    words = "   ".join(lines).split("   ")
    assert words == _caption(check, 1000)[0].split("   ")


def test_the_caption_stands_below_the_picture() -> None:
    picture = picture_of(Checked(checked(), 0, picture=GREY))
    below = picture[round(80 * SIDE / 120) :]
    assert below.shape[0] >= 2 * MARGIN + LINE
    assert np.count_nonzero(below.max(-1) > 200) > 200  # light type on a dark ground
    assert (below[:MARGIN].max(-1) < 50).all()
    assert (below[:, :MARGIN].max(-1) < 50).all()


@pytest.mark.parametrize(
    "name", ["ü 日本.dng", "a\x1b[31m\nb.dng", "latin \udcfc.dng", "x" * 240 + ".dng", ".dng"]
)
def test_odd_names_are_written(tmp_path: Path, name: str) -> None:
    one = Checked(checked(file=f"folder/{name}"), 0, picture=GREY)
    assert drawn(one.check, GREY).size[0] == SIDE
    line = _caption(one.check, 1000)[0]
    assert "\x1b" not in line
    assert "\n" not in line


# the folder


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_every_frame_gets_a_picture_of_its_own(tmp_path: Path) -> None:
    album = Album(tmp_path / "shown")
    for name in ("in/a_0001.dng", "in/a_0002.dng", "other/a_0001.dng", "in/a_0001.tif"):
        album.add(with_picture(name))
    album.add(with_picture("in/a_0003.dng", None))  # could not be opened
    assert names(tmp_path / "shown") == [
        "a_0001_2_card.jpg", "a_0001_3_card.jpg", "a_0001_card.jpg", "a_0002_card.jpg",
    ]  # fmt: skip
    for path in (tmp_path / "shown").iterdir():
        with Image.open(path) as image:
            assert (image.format, image.mode, image.size[0]) == ("JPEG", "RGB", SIDE)


def test_a_name_that_looks_like_a_second_one(tmp_path: Path) -> None:
    album = Album(tmp_path)
    for name in ("a.dng", "a.tif", "a_2.dng"):
        album.add(with_picture(name))
    assert len(names(tmp_path)) == 3


def test_a_picture_that_the_camera_wrote_is_left_alone(tmp_path: Path) -> None:
    own = {tmp_path / name: name.encode() for name in ("a_0001.jpg", "a_0001.JPG", "a_0001.dng")}
    for path, data in own.items():
        path.write_bytes(data)
    kept = {path: path.read_bytes() for path in own}  # one name on some systems
    Album(tmp_path).add(with_picture(str(tmp_path / "a_0001.dng")))
    assert {path: path.read_bytes() for path in own} == kept
    assert "a_0001_card.jpg" in names(tmp_path)


def test_a_second_run_writes_the_same_pictures_again(tmp_path: Path) -> None:
    for _ in range(2):
        album = Album(tmp_path)
        album.add(with_picture("a.dng"))
        album.add(with_picture("a.tif"))
    assert names(tmp_path) == ["a_2_card.jpg", "a_card.jpg"]


def refusal(call: Any) -> str:
    with pytest.raises(PlanError) as refused:
        call()
    assert "\n" not in str(refused.value)
    return str(refused.value)


def test_a_folder_that_is_none(tmp_path: Path) -> None:
    file = tmp_path / "file"
    file.touch()
    assert refusal(lambda: Album(file)) == (
        f"--show {file}: there is a file of that name: name a folder"
    )
    below = refusal(lambda: Album(tmp_path / "no" / "such"))
    assert below.startswith(f"--show {tmp_path / 'no' / 'such'}: the folder cannot be made (")
    inside = refusal(lambda: Album(file / "inside"))
    assert inside.startswith(f"--show {file / 'inside'}: the folder cannot be made (")
    long = refusal(lambda: Album(tmp_path / ("n" * 5000)))
    assert "the folder cannot be made (" in long


def test_a_picture_that_cannot_be_written(tmp_path: Path) -> None:
    (tmp_path / "a_card.jpg").mkdir()
    album = Album(tmp_path)
    album.add(with_picture("a.dng"))
    album.add(with_picture("b.dng"))  # what is full for one is full for all
    assert album.problem.startswith(f"--show: {tmp_path / 'a_card.jpg'} cannot be written (")
    assert names(tmp_path) == ["a_card.jpg"]


def test_pictures_of_a_shoot_as_they_are_measured(tmp_path: Path) -> None:
    """With find and with a box, through workers too."""
    make = writer(tmp_path)
    files = [make("a.dng", scene=SET), make("b.dng", -0.4, scene=SET)]
    written: list[list[bytes]] = []
    for jobs, place in ((0, None), (2, None), (2, Place((0.45, 0.4, 0.1, 0.2), True))):
        folder = tmp_path / f"shown {len(written)}"
        options = Options(place, pictures=True, jobs=jobs)
        check_shoot(read_plan(None), files, options, done=Album(folder).add)
        assert names(folder) == ["a_card.jpg", "b_card.jpg"]
        written.append([path.read_bytes() for path in sorted(folder.iterdir())])
    here, in_workers, given = written
    assert here == in_workers
    assert here != given
