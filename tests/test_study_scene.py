"""scripts/study_scene.py: a small run of it, and that what is not reached fails it."""

from argparse import Namespace
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
import study_scene
from simulated_scenes import CHANGED, any_set, nudged, series, sloped, tinted
from study_scene import FRAMES, Tried, judged, photographed

from verify.scene.records import Change

Capture = pytest.CaptureFixture[str]

FEW = Namespace(sets=3, seed=4)


def tried(error: float, u: float = 0.01, warnings: Sequence[str] = ()) -> Tried:
    change = Change(
        0.3 + error, u, True, True, "", 0.6, 1.0, np.zeros((2, 3)), warnings=tuple(warnings)
    )
    return Tried("0.1", 0.3, change)


def test_products_that_change_do_not_change_the_light(tmp_path: Path) -> None:
    """Issue 6: within 0.02 stop, and no one outside u without a warning."""
    frames = photographed(FEW, tmp_path, 0.0)
    assert len(frames) == 3 * (FRAMES - 1)
    assert all(frame.right for frame in frames)
    assert all(frame.covered for frame in frames)
    assert sum(frame.change.majority for frame in frames) >= 7
    assert not list(tmp_path.glob("*.dng"))


def test_the_frames_differ_as_much_as_they_should(tmp_path: Path) -> None:
    taken = series(tmp_path, 4, 1, 3)
    assert (taken[0].stops, taken[0].changed) == (0, 0)
    assert all(0.25 <= frame.changed <= CHANGED[1] for frame in taken[1:])
    assert len({frame.stops for frame in taken}) == 3


def test_small_parts_of_the_study(tmp_path: Path) -> None:
    assert study_scene.one_sided(FEW, tmp_path)
    assert study_scene.tiles(Namespace(sets=1, seed=3), tmp_path)


def test_sets_are_told_apart(tmp_path: Path) -> None:
    assert study_scene.stretches(FEW, tmp_path)


def test_right_and_covered() -> None:
    assert tried(0.02 - 1e-9).right
    assert not tried(-0.021).right
    assert tried(0.005).covered
    assert not tried(0.015).covered
    assert tried(0.015, warnings=["scene-split"]).covered
    nothing = Tried(
        "0.1", 0.3, Change(None, None, False, False, "other-picture", 0.1, 1.0, np.zeros(1))
    )
    assert not nothing.right
    assert not nothing.covered


def test_what_is_not_reached_fails(capsys: Capture) -> None:
    good, bad = tried(0.001), tried(0.3)
    assert judged([good] * 19 + [bad], "right", lambda f: f.right)
    assert not judged([good] * 9 + [bad], "right", lambda f: f.right)
    assert "0.1: +0.300" in capsys.readouterr().out


def test_pictures_are_altered_as_they_say() -> None:
    light = any_set(1, 1, (120, 80))
    red, blue = tinted(light, 0.5, -0.5)[..., 0], tinted(light, 0.5, -0.5)[..., 2]
    assert red == pytest.approx(light[..., 0] * 2**0.5, rel=1e-5)
    assert blue == pytest.approx(light[..., 2] * 2**-0.5, rel=1e-5)
    assert nudged(light, 3, 0)[:, 3:] == pytest.approx(light[:, :-3], abs=1e-3)
    change = np.log2(sloped(light, 1.0, 0.0) / light)[..., 1]
    assert change[:, 0] == pytest.approx(0, abs=1e-3)
    assert change[:, -1] == pytest.approx(-1, abs=1e-3)


def test_one_part_alone_and_its_exit_status(
    monkeypatch: pytest.MonkeyPatch, capsys: Capture
) -> None:
    monkeypatch.setitem(study_scene.PARTS, "tiles", lambda *_: False)
    monkeypatch.setitem(study_scene.PARTS, "nudged", lambda *_: True)
    assert study_scene.main(["--part", "nudged", "--sets", "1"]) == 0
    assert study_scene.main(["--part", "tiles", "--sets", "1"]) == 1
    assert capsys.readouterr().out.splitlines()[-1] == "not all that is wanted is reached"
