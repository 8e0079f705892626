"""verify/report/as_csv.py: the values of the JSON in rows that a spreadsheet reads."""

import csv
import io
from pathlib import Path
from typing import Any

import pytest
from shoots import altered, demo_shoot, looked_for, shoot_of, two_setups

from verify.report.as_csv import as_csv
from verify.report.as_json import as_records
from verify.shoot import Shoot

OF_CARD = {
    "signal", "red", "green", "blue", "below_clipping_stops", "gradient_stops", "red_green_stops",
    "blue_green_stops",
}  # fmt: skip
OF_CAMERA = {
    "captured", "make", "model", "serial", "lens", "f_number", "shutter_s", "iso",
}  # fmt: skip
OF_MOTION = {
    "blur_px", "edge_px", "blur_verdict", "ambient_under_flash_stops", "trail_px",
    "ghost_delta_l", "ghost_verdict", "shutter_loss_stops",
}  # fmt: skip
LISTS = {"warnings", "notes"}


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Shoot:
    return demo_shoot(tmp_path_factory.mktemp("shoot") / "demo")


def rows(shoot: Shoot) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(as_csv(shoot), newline=""), strict=True))


def in_json(frame: dict[str, Any], column: str) -> Any:
    """What the JSON has where the CSV has a column."""
    if column in OF_CARD:
        return None if frame["card"] is None else frame["card"][column]
    if column in OF_MOTION:
        return None if frame["motion"] is None else frame["motion"][column]
    if column in OF_CAMERA:
        return frame["camera"][column]
    return "; ".join(frame[column]) if column in LISTS else frame[column]


def agrees(shoot: Shoot) -> None:
    """Assert that every cell is the value of the JSON, to its last digit, or empty for null."""
    table, frames = rows(shoot), as_records(shoot)["frames"]
    assert len(table) == len(frames) > 0
    for row, frame in zip(table, frames, strict=True):
        for column, cell in row.items():
            value = in_json(frame, column)
            if isinstance(value, int | float):
                assert float(cell) == value, column
            else:
                assert cell == (value or ""), column


def test_the_demo_shoot_has_the_values_of_the_json(demo: Shoot) -> None:
    agrees(demo)
    assert [row["verdict"] for row in rows(demo)].count("within") == 7


def test_several_set_ups_and_no_plan(tmp_path: Path, project_root: Path) -> None:
    agrees(two_setups(tmp_path))
    images = project_root / "test_images"
    names = ("no_settings.dng", "monochrome.dng", "card_black.dng", "empty.dng")
    agrees(shoot_of([images / name for name in names]))


def test_cards_that_were_looked_for(tmp_path: Path) -> None:
    shoot = looked_for(tmp_path)
    agrees(shoot)
    two, one, none, gel = rows(shoot)
    verdicts = [row["verdict"] for row in (two, one, none, gel)]
    assert verdicts == ["card-doubtful", "within", "no-card", "no-card"]
    assert "several-cards" in two["warnings"].split("; ")
    assert float(two["signal"]) > 0
    assert two["judged_by"] == two["chance_within"] == two["problem"] == ""
    assert none["signal"] == none["error_stops"] == none["warnings"] == ""
    assert none["problem"].startswith("no card was found in it")
    assert gel["warnings"] == "coloured-light"


def test_nothing_of_the_json_is_left_out_but_what_has_no_column(demo: Shoot) -> None:
    (row, *_), (frame, *_) = rows(demo), as_records(demo)["frames"]
    assert set(row) == set(OF_CARD) | set(OF_CAMERA) | set(OF_MOTION) | (
        set(frame) - {"camera", "card", "candidates", "patches", "linearity", "budget", "motion"}
    )


def test_what_is_not_known_is_empty_and_what_is_0_is_0(demo: Shoot) -> None:
    first, unreadable = rows(demo)[0], rows(demo)[12]
    assert float(first["difference_stops"]) == 0
    assert first["offset_stops"] == first["problem"] == first["bound"] == ""
    assert unreadable["error_stops"] == unreadable["signal"] == unreadable["chance_within"] == ""
    assert "cut short" in unreadable["problem"]


def test_odd_names_and_notes_come_back_whole(demo: Shoot) -> None:
    names = [Path("folder, two") / 'a "rim" light.dng', Path("line\nend.dng"), Path("ü 日本.dng")]
    names += [Path("return\rhere.dng"), Path("both\r\n"), Path("=1+1.dng"), Path("\u2028.dng")]
    notes = ("one; two", 'three, "four"')
    odd = altered(demo, *({"file": name, "notes": notes} for name in names))
    table = rows(odd)
    assert [row["file"] for row in table] == [str(name) for name in names]
    assert {row["notes"] for row in table} == {'one; two; three, "four"'}
    agrees(odd)


def test_lines_end_alike_on_every_system(demo: Shoot) -> None:
    assert "\r" not in as_csv(demo)
    assert as_csv(demo).endswith("\n")
    assert len(as_csv(demo).splitlines()) == 14
