"""verify/report/as_json.py: what became of the search for the card, and what else was found."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from json_reports import complaints, reread, shipped_schema
from shoots import looked_for, shoot_of
from small_shoots import SET, writer

from verify.judge import judge


@pytest.fixture(scope="module")
def schema() -> dict[str, Any]:
    return shipped_schema()


def test_cards_that_were_looked_for(tmp_path: Path, schema: dict[str, Any]) -> None:
    report = reread(looked_for(tmp_path))
    assert complaints(report, schema) == []
    (planned,) = report["plan"]["setups"]
    assert (planned["card"]["box"], planned["card"]["looked_for"]) == (None, "find")
    two, one, none, gel = report["frames"]
    verdicts = [frame["verdict"] for frame in report["frames"]]
    assert verdicts == ["card-doubtful", "within", "no-card", "no-card"]
    for frame in (one, two):
        assert frame["candidates"][0] == {key: frame["card"][key] for key in ("box", "corners")}
        assert frame["card"]["found_by"] == "shape"
        assert frame["problem"] is None
    assert [len(frame["candidates"]) for frame in report["frames"]] == [2, 1, 0, 0]
    assert two["judged_by"] is two["chance_within"] is None
    # What was measured has its figures, whatever it is.
    assert two["error_stops"] is not None
    assert two["difference_stops"] is not None
    assert "several-cards" in two["warnings"]
    assert none["card"] is gel["card"] is None
    assert none["problem"].startswith("no card was found in it. If there is one, say where with")
    assert gel["problem"].startswith("hardly anything in it is neutral, as in coloured")
    assert (none["warnings"], gel["warnings"]) == ([], ["coloured-light"])
    (setup,) = report["setups"]
    assert (setup["count"], setup["within"], setup["unusable"]) == (4, 1, 1)


@pytest.mark.parametrize(
    ("box", "written", "looked_for"),
    [
        ([0.3, 0.3, 0.4, 0.4], [0.3, 0.3, 0.4, 0.4], None),
        ("find", None, "find"),
        ("chart", None, "chart"),
    ],
)
def test_a_planned_card_is_at_a_place_or_looked_for(
    schema: dict[str, Any], box: object, written: object, looked_for: str | None
) -> None:
    report = reread(shoot_of([], card={"box": box}))
    assert complaints(report, schema) == []
    card = report["plan"]["setups"][0]["card"]
    assert (card["box"], card["looked_for"]) == (written, looked_for)


@pytest.mark.parametrize("box", ["find", "chart"])
def test_the_patches_of_a_real_chart(real_frames: Path, schema: dict[str, Any], box: str) -> None:
    file = real_frames / "raw" / "canon550d_magiclantern_colorchecker.dng"
    report = reread(shoot_of([file], card={"box": box}))
    assert complaints(report, schema) == []
    (frame,) = report["frames"]
    assert [patch["name"] for patch in frame["patches"]] == [
        "white 9.5", "neutral 8", "neutral 6.5", "neutral 5", "neutral 3.5", "black 2",
    ]  # fmt: skip
    # Green against the white patch: shared/frames/README.md.
    for patch, stops in zip(
        frame["patches"], (0, -0.615, -1.282, -2.165, -3.199, -4.602), strict=True
    ):
        assert patch["stops_from_lightest"] == pytest.approx(stops, abs=0.02)
    fifth = frame["patches"][3]  # the one nearest 18 %, which is measured as the card
    assert frame["card"]["found_by"] == "chart"
    assert frame["card"]["signal"] == pytest.approx(fifth["signal"])
    assert frame["card"]["box"] == fifth["box"]
    assert frame["linearity"]["cause"] in ("flare", "none")
    assert len(frame["linearity"]["residual_stops"]) == 6


@pytest.mark.parametrize(("stops", "bound"), [(3.5, "at-least"), (-16.0, "at-most")])
def test_a_doubtful_card_may_be_clipped_or_dark_too(
    tmp_path: Path, schema: dict[str, Any], stops: float, bound: str
) -> None:
    make = writer(tmp_path)
    files = [make("a_0001.dng", scene=SET), make("a_0002.dng", stops, scene=SET)]
    shoot = shoot_of(files, card={"box": [0.45, 0.4, 0.1, 0.2]})
    doubted: dict[str, Any] = {
        "warnings": ("card-unsure",),
        "judged_by": None,
        "chance_within": None,
    }
    again = judge([replace(c, **doubted) for c in shoot.checks], shoot.plan.main, None)
    report = reread(replace(shoot, checks=tuple(again)))
    assert complaints(report, schema) == []
    frame = report["frames"][1]
    assert (frame["verdict"], frame["bound"]) == ("card-doubtful", bound)
    assert frame["difference_stops"] is None  # neither may be the reference
