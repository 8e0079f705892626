"""greyproof calibrate --json: what is promised to everything that reads it, held against runs."""

import json
from collections.abc import Sequence
from dataclasses import replace
from importlib import resources
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest
from calibration_studio import (
    BRACKET,
    CAMERA,
    NEAR,
    OFF,
    SIGNAL,
    Capture,
    Studio,
    calibrate,
)
from small_shoots import BODY

from verify import __version__
from verify.warnings import WARNINGS

# The fields as the issue fixes them, then those added to it.
TOP = (
    "format greyproof offset_stops u_stops interval_stops slope slope_interval scatter_stops match "
    "belongs_to groups excluded advice frames warnings"
)
MORE = "u_same_card_stops notes"
GROUP, MORE_OF_GROUP = "by value offset_stops interval_stops differs", "frames"
FRAME, MORE_OF_FRAME = "file planned_stops residual_stops", "rest_stops iso f_number"


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Studio:
    """A set of six frames; no test may change it, but for what it adds under a name of its own."""
    made = Studio(tmp_path_factory.mktemp("bench"))
    made.bracket()
    return made


@pytest.fixture(scope="module")
def frames(bench: Studio) -> list[Path]:
    return sorted(bench.folder.glob("set_*.dng"))


@pytest.fixture(scope="module")
def schema() -> dict[str, Any]:
    file = resources.files("verify.report") / "calibrate.schema.json"
    loaded: dict[str, Any] = json.loads(file.read_text(encoding="utf-8"))
    return loaded


def complaints(report: dict[str, Any], schema: dict[str, Any]) -> list[str]:
    validator = jsonschema.Draft202012Validator(schema)
    return [f"{error.json_path}: {error.message}" for error in validator.iter_errors(report)]


def reports(bench: Studio, frames: Sequence[Path], capsys: Capture) -> list[dict[str, Any]]:
    """Reports of a good set, of one frame, of none, and of one with much left out."""
    other = bench.make("other_body.dng", camera=replace(CAMERA, serial="0099"))
    bad = bench.make("bad.dng", 1.5, camera=CAMERA, f_number=9.0)
    blown = bench.make("blown.dng", 6.0, camera=CAMERA)
    sets = [frames, frames[:1], [blown], [*frames, other, bad, blown, bench.folder / "gone.dng"]]
    return [calibrate(capsys, bench.plan, *one, "--json", "-").report for one in sets]


def test_json_has_the_fields_that_are_promised(
    bench: Studio, frames: list[Path], capsys: Capture, schema: dict[str, Any]
) -> None:
    whole, one, none, mixed = reports(bench, frames, capsys)
    for report in (whole, one, none, mixed):
        assert complaints(report, schema) == []
        assert set(report) == {*TOP.split(), *MORE.split()}
        assert (report["format"], report["greyproof"]) == ("greyproof.calibrate/1", __version__)
        assert set(report["advice"]) == {"correction_stops", "iso", "text"}
        for group in report["groups"]:
            assert set(group) == {*GROUP.split(), *MORE_OF_GROUP.split()}
        for frame in report["frames"]:
            assert set(frame) == {*FRAME.split(), *MORE_OF_FRAME.split()}
        assert all(set(excluded) == {"file", "reason"} for excluded in report["excluded"])
    assert [len(report["frames"]) for report in (whole, one, none, mixed)] == [6, 1, 0, 6]
    low, high = whole["interval_stops"]
    assert low < whole["offset_stops"] < high
    assert 0 < whole["u_same_card_stops"] < whole["u_stops"] < high - low
    assert whole["slope"] == pytest.approx(1, abs=0.05)
    assert one["slope"] is one["slope_interval"] is None
    assert one["interval_stops"] is not None
    assert one["warnings"] == ["few-frames", "one-aperture"]
    assert none["offset_stops"] is none["interval_stops"] is none["belongs_to"] is None
    assert none["advice"]["correction_stops"] is none["advice"]["iso"] is None
    names = [Path(excluded["file"]).name for excluded in mixed["excluded"]]
    assert sorted(names) == ["bad.dng", "blown.dng", "gone.dng", "other_body.dng"]


def test_json_says_what_it_belongs_to(bench: Studio, frames: list[Path], capsys: Capture) -> None:
    report = calibrate(capsys, bench.plan, *frames, "--json", "-").report
    belongs = report["belongs_to"]
    assert belongs.pop("iso") == [100.0, 100.0]
    assert belongs.pop("aperture") == pytest.approx([8.0, 16.0])
    assert belongs == {
        "meter": "bench meter", "light": "flash", "method": "incident", "receptor": "flat",
        "aimed": "as-card", "card": "studio card", "make": BODY.make, "model": BODY.model,
        "serial": BODY.serial, "lens": BODY.lens,
    }  # fmt: skip
    for frame, (_, off) in zip(report["frames"], BRACKET, strict=True):
        assert frame["residual_stops"] == pytest.approx(off, abs=NEAR)
        assert frame["rest_stops"] == pytest.approx(off + OFF, abs=NEAR)
    planned = {Path(f["file"]).name: f["planned_stops"] for f in report["frames"]}
    assert planned["set_0004.dng"] == pytest.approx(np.log2(SIGNAL), abs=1e-4)
    assert planned["set_0001.dng"] == pytest.approx(np.log2(SIGNAL) + 1, abs=1e-4)


def test_the_schema_is_one_and_says_all(schema: dict[str, Any]) -> None:
    jsonschema.Draft202012Validator.check_schema(schema)
    assert set(schema["properties"]) == {*TOP.split(), *MORE.split()}
    names = schema["properties"]["warnings"]["items"]["enum"]
    assert set(names) <= set(WARNINGS)
    found = dict(described(schema))
    assert len(found) > 40
    for path, field in found.items():
        assert field.get("description", "").endswith("."), path
        if path.endswith("_stops"):
            assert "[stop]" in field["description"], path


def described(schema: dict[str, Any], at: str = "") -> list[tuple[str, dict[str, Any]]]:
    """Every property of the schema with its path."""
    found = []
    for name, inner in schema.get("properties", {}).items():
        found += [(f"{at}.{name}", inner), *described(inner, f"{at}.{name}")]
    if isinstance(schema.get("items"), dict):
        found += described(schema["items"], f"{at}[]")
    for name, inner in schema.get("$defs", {}).items():
        found += described(inner, name)
    return found


@pytest.mark.parametrize(
    "change",
    [
        {"more": 1},
        {"offset_stops": "0.1"},
        {"interval_stops": [0.1]},
        {"warnings": ["no-such-warning"]},
        {"match": {"how": "guess", "stops": 0.0, "words": "x"}},
        {"frames": [{"file": "a"}]},
    ],
)
def test_the_schema_objects(
    bench: Studio,
    frames: list[Path],
    capsys: Capture,
    schema: dict[str, Any],
    change: dict[str, Any],
) -> None:
    report = calibrate(capsys, bench.plan, frames[0], "--json", "-").report
    assert complaints({**report, **change}, schema)


def test_words_go_elsewhere_where_json_goes_to_standard_output(
    bench: Studio, frames: list[Path], capsys: Capture
) -> None:
    ran = calibrate(capsys, bench.plan, *frames, "--json", "-")
    assert "Offset −0.37 stop (95 %: " in ran.err
    to_file = bench.folder / "report.json"
    said = calibrate(capsys, bench.plan, *frames, "--json", to_file)
    assert said.err == ""
    assert said.out == ran.err
    assert json.loads(to_file.read_text(encoding="utf-8")) == ran.report


def test_the_order_of_the_frames_does_not_matter(
    bench: Studio, frames: list[Path], capsys: Capture
) -> None:
    one = calibrate(capsys, bench.plan, *frames, "--json", "-").report
    other = calibrate(capsys, bench.plan, *frames[::-1], "--json", "-").report
    for key in ("offset_stops", "u_stops", "interval_stops", "slope", "scatter_stops"):
        assert other[key] == pytest.approx(one[key], abs=1e-9), key
    assert other["advice"] == one["advice"]
