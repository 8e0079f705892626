"""greyproof diagnose, and check by the scene: small shoots of simulated frames, end to end."""

from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest
from commands import Ran, run
from json_reports import shipped_schema
from small_shoots import BODY, METER_ONLY, SET

from verify.report.diagnosis_json import FORMAT
from verify.simulate.camera import Settings
from verify.simulate.dng import write_dng
from verify.simulate.scene import Light, Prop, expose

SCATTER = 0.02  # stop, from pop to pop
START = datetime(2026, 3, 4, 12, 0, 0)
BARE = replace(SET, card=SET.background)  # the card was pulled out
NEAR = 0.03  # stop


def shoot(
    folder: Path,
    stops: list[float],
    gaps: list[float] | None = None,
    card: tuple[int, ...] | None = None,
    seed: int = 3,
    **settings: Any,
) -> Path:
    """Frames of one set, each pop so many stops more than metered; the card in all, or some."""
    rng = np.random.default_rng(seed)
    time = START
    for n, more in enumerate(stops):
        time += timedelta(seconds=8.0 if gaps is None else gaps[n])
        scene = SET if card is None or n in card else BARE
        its = Settings(captured=time, **settings)
        light = Light.metered(2**3.5).changed(more + rng.normal(0, SCATTER))
        write_dng(
            folder / f"set_{n + 1:04d}.dng", expose(scene, light, BODY, its, rng).mosaic, BODY, its
        )
    return folder


def diagnosed(capsys: pytest.CaptureFixture[str], *typed: str | Path) -> Ran:
    return run(capsys, "diagnose", *typed, "--json", "-")


def names(finding: dict[str, Any]) -> list[str]:
    return [Path(file).stem for file in finding["frames"]]


def test_a_steady_shoot(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    ran = diagnosed(capsys, shoot(tmp_path, [0.0] * 12))
    report = ran.report
    jsonschema.validate(report, shipped_schema("diagnose"))
    assert report["format"] == FORMAT
    assert [finding["cause"] for finding in report["findings"]] == ["steady"]
    assert [frame["by"] for frame in report["frames"]] == ["card"] * 12
    assert report["frames"][1]["gap_s"] == pytest.approx(8)
    assert report["within_share"] == 1
    assert ran.status == 0


def test_one_head_did_not_fire(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    stops = [0.0] * 16
    stops[9] = -0.6
    ran = diagnosed(capsys, shoot(tmp_path, stops))
    first = ran.report["findings"][0]
    assert first["cause"] == "lamp-missing"
    assert names(first) == ["set_0010"]
    assert first["size_stops"] == pytest.approx(-0.6, abs=0.1)
    assert "switch off" in first["action"]
    assert ran.status == 1
    told = run(capsys, "diagnose", tmp_path).out
    assert "lamp-missing (sure" in told
    assert "set_0010" in told


def test_a_step(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    ran = diagnosed(capsys, shoot(tmp_path, [0.0] * 10 + [0.4] * 10))
    first = ran.report["findings"][0]
    assert first["cause"] in ("step", "card-moved")
    assert first["cause"] == "step"
    assert names(first)[0] == "set_0011"
    assert first["size_stops"] == pytest.approx(0.4, abs=0.06)


def test_the_card_is_shown_once(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Card once, then the scene: a thing is moved, the light falls for one frame."""
    stops = [0.0] * 10
    stops[6] = -0.5
    folder = shoot(tmp_path, stops, card=(0,))
    frames = diagnosed(capsys, folder).report["frames"]
    assert [frame["by"] for frame in frames] == ["card"] + ["scene"] * 9
    for frame, true in zip(frames, stops, strict=True):
        assert frame["rest_stops"] == pytest.approx(true, abs=4 * SCATTER)
        assert frame["stretch"] == 0
    assert all(frame["agreed_share"] > 0.7 for frame in frames[1:])


def test_check_carries_the_error_on(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "frames"
    folder.mkdir()
    shoot(folder, [0.3, 0.3, -0.2], card=(0,))
    plan = tmp_path / "plan.toml"
    plan.write_text(METER_ONLY, encoding="utf-8")
    plain = run(capsys, "check", plan, folder, "--json", "-").frames()
    assert plain["set_0002.dng"]["verdict"] == "no-card"
    ran = run(capsys, "check", plan, folder, "--by", "scene", "--json", "-")
    jsonschema.validate(ran.report, shipped_schema("check"))
    first, second, third = (ran.frames()[f"set_000{n}.dng"] for n in (1, 2, 3))
    assert first["error_stops"] == plain["set_0001.dng"]["error_stops"]
    assert second["error_stops"] == pytest.approx(first["error_stops"], abs=5 * SCATTER)
    assert third["error_stops"] == pytest.approx(first["error_stops"] - 0.5, abs=5 * SCATTER)
    assert second["u_stops"] > first["u_stops"]
    assert "by-scene" in second["warnings"]
    assert any("set_0001.dng" in note for note in second["notes"])
    assert third["verdict"] == "under"
    assert ran.report["setups"][0]["no_card"] == 0


def test_by_the_scene_no_card_is_looked_for(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    ran = diagnosed(capsys, shoot(tmp_path, [0.0] * 6), "--by", "scene")
    assert [frame["by"] for frame in ran.report["frames"]] == ["scene"] * 6


def test_another_set_is_another_stretch(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    shoot(tmp_path, [0.0] * 4, card=(0,))
    rng = np.random.default_rng(8)
    pieces = tuple(
        Prop((col / 6, row / 4, 1 / 6, 1 / 4), float(rng.uniform(0.04, 0.6)))
        for col in range(6)
        for row in range(4)
    )
    other = replace(BARE, props=pieces)
    for n in range(4):
        its = Settings(captured=START + timedelta(seconds=600 + 8 * n))
        mosaic = expose(other, Light.metered(2**3.5), BODY, its, rng).mosaic
        write_dng(tmp_path / f"set_{n + 11:04d}.dng", mosaic, BODY, its)
    frames = diagnosed(capsys, tmp_path, "--by", "scene").report["frames"]
    assert [frame["stretch"] for frame in frames] == [0] * 4 + [1] * 4


def test_too_little_or_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    one = shoot(tmp_path, [0.0]) / "set_0001.dng"
    ran = diagnosed(capsys, one)
    jsonschema.validate(ran.report, shipped_schema("diagnose"))
    assert len(ran.report["frames"]) == 1
    torn = tmp_path / "torn.dng"
    torn.write_bytes(one.read_bytes()[:3000])
    both = diagnosed(capsys, one, torn)
    assert [Path(left["file"]).name for left in both.report["left_out"]] == ["torn.dng"]
    alone = diagnosed(capsys, torn)
    assert alone.status == 3
    assert alone.report["findings"] == []


@pytest.mark.parametrize(
    ("typed", "said"),
    [(["--by", "luck"], "--by"), (["--plot", "x.pdf"], "--plot x.pdf"), ([], "name the frames")],
)
def test_what_was_typed_wrongly(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], typed: list[str], said: str
) -> None:
    named = [shoot(tmp_path, [0.0])] if typed else []
    ran = run(capsys, "diagnose", *named, *typed)
    assert ran.status == 2
    assert len(ran.err.splitlines()) == 1
    assert said in ran.err
