"""greyproof rows: what it prints, its JSON against its schema, its exit statuses."""

import json
from importlib import resources
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest
from commands import Ran, run

from verify import __version__
from verify.simulate.camera import CameraModel, Settings
from verify.simulate.dng import write_dng
from verify.simulate.wall import CutFlash, Wall, shoot_wall

Capture = pytest.CaptureFixture[str]
CAMERA = CameraModel()
GRADIENT, EDGE = CutFlash(t_tenth_s=1 / 250), CutFlash(t_tenth_s=1 / 4000)


@pytest.fixture(scope="module")
def walls(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Frames of a wall, upright and level; no test may change them."""
    folder = tmp_path_factory.mktemp("walls")
    for name, per_second, orientation, flash in (
        ("long_250", 250, 1, GRADIENT),
        ("long_30", 30, 1, GRADIENT),
        ("short_400", 400, 6, EDGE),
        ("short_160", 160, 1, EDGE),
        ("short_40", 40, 1, EDGE),
    ):
        settings = Settings(shutter_s=1 / per_second, orientation=orientation)
        size = (480, 320) if orientation < 5 else (320, 480)
        rng = np.random.default_rng(per_second)
        shot = shoot_wall(Wall(size), flash, CAMERA, settings, rng)
        write_dng(folder / f"{name}.dng", shot.mosaic, CAMERA, settings)
    return folder


def rows(capsys: Capture, walls: Path, *arguments: str) -> Ran:
    named = [walls / a if a.endswith("0") else a for a in arguments]
    return run(capsys, "rows", *(f"{a}.dng" if isinstance(a, Path) else a for a in named))


def test_a_gradient_in_words(walls: Path, capsys: Capture) -> None:
    ran = rows(capsys, walls, "long_250", "long_30")
    assert (ran.status, ran.err) == (1, "")
    lines = ran.out.splitlines()
    (row,) = [line for line in lines if line.startswith("long_250.dng  ")]
    assert "1/250 s" in row
    assert "cut, a gradient" in row
    (told,) = [line for line in lines if line.startswith("long_250.dng: ")]
    assert "the shutter cut the flash, as a gradient: 1.3" in told
    assert "lost at the top edge of the upright picture" in told
    assert told.endswith("at the bottom, against long_30.dng.")
    assert lines[-1].startswith("Shoot the same wall at a shutter time two stops slower")
    assert any(line.startswith("Use a slower shutter time, at or below the sync") for line in lines)


def test_an_edge_in_words_at_the_side_of_an_upright_picture(walls: Path, capsys: Capture) -> None:
    """Check-values 3.7: 1 - t/T, t = 1/406 s and T = 3 ms; stored first rows are at the right."""
    ran = rows(capsys, walls, "short_400")
    assert ran.status == 1
    assert "as an edge: 18% of the picture at the right got none of it" in ran.out
    assert "8 stops or more lost at the right edge" in ran.out
    assert "The curtains take 3.00 ms ± " in ran.out
    assert "a wire instead" in ran.out
    assert "something dark along that whole edge would look the same" in ran.out


def test_no_cut(walls: Path, capsys: Capture) -> None:
    ran = rows(capsys, walls, "short_160", "short_40")
    assert ran.status == 0
    assert "short_160.dng: no cut seen; more than 0.1" in ran.out


def test_one_even_frame_says_what_it_cannot_show(walls: Path, capsys: Capture) -> None:
    ran = rows(capsys, walls, "short_160")
    assert ran.status == 0
    assert "no cut seen, but one frame alone shows only an edge" in ran.out


def test_one_frame_with_a_gradient_cannot_tell(walls: Path, capsys: Capture) -> None:
    ran = rows(capsys, walls, "long_250")
    assert ran.status == 3
    assert "long_250.dng: cannot tell: " in ran.out


def test_quiet_prints_only_what_is_wrong(walls: Path, capsys: Capture) -> None:
    ran = rows(capsys, walls, "short_160", "short_40", "--quiet")
    assert ran == Ran(0, "", "")
    ran = rows(capsys, walls, "long_250", "--quiet")
    assert (ran.status, ran.out) == (3, "")
    (line,) = ran.err.splitlines()
    assert line.endswith("could be lost at an edge).")


def test_json_agrees_with_its_schema(walls: Path, capsys: Capture) -> None:
    file = resources.files("verify.report") / "rows.schema.json"
    schema: dict[str, Any] = json.loads(file.read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)
    ran = rows(
        capsys, walls, "long_250", "long_30", "short_400", str(walls / "gone.dng"), "--json", "-"
    )
    assert ran.status == 1
    assert "long_250.dng: the shutter cut the flash" in ran.err
    report = ran.report
    assert list(jsonschema.Draft202012Validator(schema).iter_errors(report)) == []
    assert (report["format"], report["greyproof"]) == ("greyproof.rows/1", __version__)
    frames = {Path(frame["file"]).name: frame for frame in report["frames"]}
    gradient, edge, gone = (frames[f"{n}.dng"] for n in ("long_250", "short_400", "gone"))
    assert (gradient["verdict"], gradient["kind"], gradient["edge"]) == ("cut", "gradient", "top")
    assert gradient["reference"].endswith("long_30.dng")
    assert gradient["shutter_s"] == pytest.approx(1 / 256)
    assert gradient["blocked_share"] is None
    assert (edge["kind"], edge["edge"]) == ("edge", "right")
    assert edge["loss_stops"]["first"] == 8
    assert edge["loss_u_stops"]["first"] is None
    assert edge["travel_s"] == pytest.approx(0.003, rel=0.02)
    assert (gone["verdict"], gone["problem"]) == ("unmeasured", "there is no such file")
    report["frames"][0]["verdict"] = "maybe"
    assert list(jsonschema.Draft202012Validator(schema).iter_errors(report))


def test_a_card_s_box(walls: Path, capsys: Capture) -> None:
    ran = rows(capsys, walls, "long_250", "long_30", "--card", "0.2,0.1,0.5,0.8")
    assert ran.status == 1
    assert "only the card was measured" in ran.out
    ran = rows(capsys, walls, "long_250", "--card", "0.2,0.1,0.5,0.2")
    assert ran.status == 3
    assert "the card covers only 20% of the way" in ran.out
    ran = rows(capsys, walls, "long_250", "--card", "400,10,200,301")
    assert ran.status == 3
    assert "reaches outside the upright picture" in ran.out


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--card", "find"], "--card find: give its box"),
        (["--card", "1,2,3"], "is no place for the card"),
        (["--transfer", "bent"], "bent"),
        (["--json", "report.dng"], "name of a frame or a plan"),
    ],
)
def test_what_was_typed_wrong(
    walls: Path, capsys: Capture, arguments: list[str], says: str
) -> None:
    ran = rows(capsys, walls, "long_250", *arguments)
    assert (ran.status, ran.out) == (2, "")
    assert says in ran.err
    assert len(ran.err.splitlines()) == 1


def test_without_frames_the_command_is_wrong(capsys: Capture) -> None:
    assert run(capsys, "rows").status == 2


def test_the_help_cautions(capsys: Capture) -> None:
    told = " ".join(run(capsys, "rows", "--help").out.split())
    assert "roughly 3 to 30 in a second, can trigger seizures in sensitive people" in told
    assert "3 some frame could not be measured or cannot tell" in told
