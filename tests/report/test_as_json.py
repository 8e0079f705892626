"""verify/report/as_json.py: what is promised to everything that reads it, held against runs."""

import json
import math
from collections.abc import Iterator
from pathlib import Path
from typing import Any, get_args

import jsonschema
import numpy as np
import pytest
from json_reports import complaints, reread, shipped_schema
from shoots import altered, demo_shoot, shoot_of, two_bodies, two_setups

from verify import __version__
from verify.compare import Verdict
from verify.measure import Bound
from verify.place import Looked
from verify.shoot import Shoot
from verify.simulate.tiff import write_tiff
from verify.target.records import FoundBy
from verify.warnings import WARNINGS

# The keys as the format fixes them, in its order; `notes` and `skipped` of the whole are its two
# additions.
TOP = "format greyproof plan frames setups notes skipped"
FRAME = (
    "file setup verdict judged_by chance_within problem camera card candidates patches linearity "
    "expected_signal ambient_signal offset_stops offset error_stops settings_stops rest_stops "
    "difference_stops u_stops repeat_u_stops budget bound motion warnings notes"
)
CAMERA = (
    "make model serial lens f_number f_number_marked shutter_s iso focal_mm pixel_pitch_um captured"
)
CARD = (
    "box corners found_by signal red green blue clipped black white gradient_stops "
    "red_green_stops blue_green_stops below_clipping_stops"
)
PATCH = "name reflectance box corners signal noise stops_from_lightest bound"
LINEARITY = (
    "slope u_slope offset_stops residual_stops departure_stops flare_share u_flare_share bent "
    "cause steps_known"
)
PLANNED_CARD = "name reflectance box looked_for flat densities"
SETUP = "name count within over under unusable no_card mean_error_stops spread_stops"
UNITS = {"_stops": "[stop]", "_s": "[s]", "_mm": "[mm]", "_um": "[um]"}


@pytest.fixture(scope="module")
def schema() -> dict[str, Any]:
    return shipped_schema()


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Shoot:
    return demo_shoot(tmp_path_factory.mktemp("shoot") / "demo")


@pytest.fixture(scope="module")
def images(project_root: Path) -> list[Path]:
    """Every test image, the broken ones too."""
    files = sorted((project_root / "test_images").iterdir())
    return [file for file in files if file.suffix != ".json"]


def described(schema: dict[str, Any], at: str = "") -> Iterator[tuple[str, dict[str, Any]]]:
    """Every property of the schema with its path."""
    for name, inner in schema.get("properties", {}).items():
        yield f"{at}.{name}", inner
        yield from described(inner, f"{at}.{name}")
    if isinstance(schema.get("items"), dict):
        yield from described(schema["items"], f"{at}[]")
    for name, inner in schema.get("$defs", {}).items():
        yield from described(inner, name)


def test_the_schema_is_one(schema: dict[str, Any]) -> None:
    jsonschema.Draft202012Validator.check_schema(schema)
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    assert schema["properties"]["format"] == {
        "description": "Name of this format.",
        "const": "greyproof.check/1",
    }


def test_the_schema_asks_for_the_keys_of_the_format_and_no_others(schema: dict[str, Any]) -> None:
    frame, setup = schema["$defs"]["frame"], schema["$defs"]["setup"]
    card = frame["properties"]["card"]
    for part, keys in (
        (schema, TOP),
        (frame, FRAME),
        (frame["properties"]["camera"], CAMERA),
        (card, CARD),
        (card["properties"]["clipped"], "red green blue"),
        (frame["properties"]["candidates"]["items"], "box corners"),
        (frame["properties"]["patches"]["items"], PATCH),
        (frame["properties"]["linearity"], LINEARITY),
        (schema["$defs"]["planned"]["properties"]["card"], PLANNED_CARD),
        (setup, SETUP),
    ):
        assert part["required"] == list(part["properties"]) == keys.split()
        assert part["additionalProperties"] is False


def test_the_schema_lists_what_the_code_can_say(schema: dict[str, Any]) -> None:
    frame = schema["$defs"]["frame"]["properties"]
    assert frame["warnings"]["items"]["enum"] == list(WARNINGS)
    assert frame["verdict"]["enum"] == list(get_args(Verdict))
    assert frame["judged_by"]["enum"] == ["plan", "reference", None]
    assert frame["bound"]["enum"] == [None, *get_args(Bound)]
    assert frame["card"]["properties"]["found_by"]["enum"] == list(get_args(FoundBy))
    planned = schema["$defs"]["planned"]["properties"]["card"]["properties"]
    assert planned["looked_for"]["enum"] == [*get_args(Looked), None]


def test_every_field_is_described_with_its_unit(schema: dict[str, Any]) -> None:
    fields = list(described(schema))
    assert len(fields) > 100
    for path, field in fields:
        text = field.get("description", "")
        assert text.endswith("."), path
        unit = next((u for end, u in UNITS.items() if path.endswith(end)), "")
        assert unit in text, path


def test_the_demo_shoot(demo: Shoot, schema: dict[str, Any]) -> None:
    report = reread(demo)
    assert complaints(report, schema) == []
    assert list(report) == TOP.split()
    assert all(list(frame) == FRAME.split() for frame in report["frames"])
    assert report["greyproof"] == __version__
    assert report["skipped"] == 2
    assert {frame["verdict"] for frame in report["frames"]} == {
        "within", "over", "under", "clipped", "unreadable",
    }  # fmt: skip


def test_the_figures_are_those_that_are_true_of_the_demo_shoot(demo: Shoot) -> None:
    truth_file = demo.checks[0].file.with_name("truth.json")
    truths = json.loads(truth_file.read_text(encoding="utf-8"))["frames"]
    frames = reread(demo)["frames"]
    assert [Path(frame["file"]).name for frame in frames] == [truth["file"] for truth in truths]
    for frame, truth in zip(frames, truths, strict=True):
        if not truth["readable"] or truth["clipped"]:
            continue
        # 0.003 stop plus three times the noise of the patch; the dark frame has the most
        within = 0.003 + 3 * frame["budget"]["noise"]
        assert frame["error_stops"] == pytest.approx(truth["error_stops"], abs=within)
        assert frame["settings_stops"] == pytest.approx(truth["settings_stops"], abs=0.001)
        assert frame["difference_stops"] == pytest.approx(truth["difference_stops"], abs=2 * within)


def test_every_test_image(images: list[Path], schema: dict[str, Any]) -> None:
    for transfer in (None, "linear"):
        shoot = shoot_of(images, transfer, reading={"aperture": "f/11"}, camera={"iso": 100})
        report = reread(shoot)
        assert complaints(report, schema) == []
        assert len(report["frames"]) == len(images) > 40
    verdicts = {Path(frame["file"]).name: frame["verdict"] for frame in report["frames"]}
    assert verdicts["card_clipped.dng"] == "clipped"
    assert verdicts["card_black.dng"] == "dark"
    assert verdicts["rendered.jpg"] == verdicts["empty.dng"] == "unreadable"


def test_bounds_have_a_card_and_a_side(images: list[Path]) -> None:
    for name, bound in (("card_clipped.dng", "at-least"), ("card_black.dng", "at-most")):
        files = [file for file in images if file.name == name]
        (frame,) = reread(shoot_of(files, reading={"aperture": "f/11"}))["frames"]
        assert frame["bound"] == bound
        assert frame["card"]["signal"] is not None
        assert frame["error_stops"] is not None
        assert frame["judged_by"] is frame["chance_within"] is None


def test_what_is_not_known_is_null(images: list[Path], schema: dict[str, Any]) -> None:
    names = ["no_settings.dng", "zero_settings.dng", "no_f_number.dng", "monochrome.dng"]
    files = [images[0].with_name(name) for name in names]
    report = reread(shoot_of(files, reading={"aperture": "f/11"}))
    assert complaints(report, schema) == []
    without, zeros, adapted, monochrome = report["frames"]
    for frame in (without, zeros):
        unknown = ("f_number", "f_number_marked", "shutter_s", "iso")
        assert [frame["camera"][key] for key in unknown] == [None] * 4
        assert {"no-f-number", "no-iso", "no-shutter"} <= set(frame["warnings"])
        assert frame["settings_stops"] == 0  # taken as planned: that is known
    assert adapted["camera"]["f_number"] is adapted["camera"]["focal_mm"] is None
    assert adapted["camera"]["iso"] == 100
    assert "no-f-number" in adapted["warnings"]
    assert "no-iso" not in adapted["warnings"]
    card = monochrome["card"]
    assert card["red"] is card["blue"] is card["red_green_stops"] is None
    assert card["clipped"] == {"red": None, "green": None, "blue": None}
    assert card["signal"] == pytest.approx(0.11937, rel=0.003)  # check-values 2.5


def test_without_a_reading_nothing_is_expected(images: list[Path], schema: dict[str, Any]) -> None:
    files = [images[0].with_name(f"bayer_{order}.dng") for order in ("rggb", "bggr")]
    report = reread(shoot_of(files))
    assert complaints(report, schema) == []
    (planned,) = report["plan"]["setups"]
    assert report["plan"]["file"] is planned["reading"] is planned["camera"] is None
    first, second = report["frames"]
    for key in ("expected_signal", "error_stops", "settings_stops", "rest_stops", "u_stops"):
        assert first[key] is second[key] is None
    assert first["difference_stops"] == 0
    assert second["difference_stops"] == pytest.approx(0.1, abs=0.005)
    (setup,) = report["setups"]
    assert setup["mean_error_stops"] is setup["spread_stops"] is None


def test_set_ups_and_bodies_apart(tmp_path: Path, schema: dict[str, Any]) -> None:
    report = reread(two_setups(tmp_path))
    assert complaints(report, schema) == []
    names = [setup["name"] for setup in report["setups"]]
    assert [frame["setup"] for frame in report["frames"]] == names
    assert names == [
        "main / TW-14 0047", "main / TW-14 0048", "jug / rim / TW-14 0047",
        "jug / rim / TW-14 0048",
    ]  # fmt: skip
    assert all(setup["count"] == setup["within"] == 1 for setup in report["setups"])
    assert [planned["name"] for planned in report["plan"]["setups"]] == ["main", "jug / rim"]
    # the camera's f-number follows the reading: f/8 is planned there, and f/11 is a stop less
    signals = [planned["expected_signal"] for planned in report["plan"]["setups"]]
    assert signals[0] == pytest.approx(signals[1], rel=1e-9)
    settings = [frame["settings_stops"] for frame in report["frames"]]
    assert settings == pytest.approx([0, 0, -1, -1], abs=0.001)


def test_a_frame_of_an_unknown_body_is_put_with_no_other_where_there_are_several(
    tmp_path: Path,
) -> None:
    files = two_bodies(tmp_path)
    nameless, gone = tmp_path / "nameless.tif", tmp_path / "gone.dng"
    write_tiff(nameless, np.full((64, 96), 0.12))
    card: dict[str, Any] = {"box": [0.55, 0.3, 0.25, 0.4]}

    def counted(files: list[Path]) -> list[tuple[str, int]]:
        report = reread(shoot_of(files, "linear", card=card))
        return [(setup["name"], setup["count"]) for setup in report["setups"]]

    first, second = ("main / TW-14 0047", 1), ("main / TW-14 0048", 1)
    assert counted([*files[:2], nameless]) == [first, second, ("main / unknown body", 1)]
    assert counted([*files[:2], gone]) == [(first[0], 2), second]
    assert counted([files[0], nameless, gone, files[2]]) == [("main", 4)]


def test_only_unreadable_frames(tmp_path: Path, schema: dict[str, Any]) -> None:
    report = reread(shoot_of([tmp_path / "gone.dng"], reading={"aperture": "f/11"}))
    assert complaints(report, schema) == []
    (frame,) = report["frames"]
    assert frame["card"] is None
    assert set(frame["camera"].values()) == {None}
    assert report["setups"][0]["unusable"] == 1


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_what_is_no_number_becomes_null(demo: Shoot, schema: dict[str, Any], value: float) -> None:
    broken = altered(demo, {"rest_stops": value, "budget": (("noise", 0.1),)})
    report = reread(broken)
    assert report["frames"][0]["rest_stops"] is None
    assert report["frames"][0]["budget"] == {"noise": 0.1}
    assert complaints(report, schema) == []


def test_when_it_was_captured_keeps_fraction_and_zone(demo: Shoot) -> None:
    captured = reread(demo)["frames"][0]["camera"]["captured"]
    assert captured == "2026-05-12T14:03:10.240000+02:00"  # as verify/simulate/demo.py sets it


GONE = object()
BREAKS: list[tuple[list[str | int], object]] = [
    (["format"], "greyproof.check/2"),
    (["extra"], 1),
    (["skipped"], GONE),
    (["frames", 0, "budget"], GONE),
    (["frames", 0, "verdict"], "good"),
    (["frames", 0, "judged_by"], None),
    (["frames", 0, "chance_within"], 1.01),
    (["frames", 0, "chance_within"], None),
    (["frames", 0, "u_stops"], -0.1),
    (["frames", 0, "problem"], "of a frame that was measured"),
    (["frames", 0, "warnings"], ["too-blue"]),
    (["frames", 0, "warnings"], ["glare", "glare"]),
    (["frames", 0, "bound"], "at-least"),
    (["frames", 0, "budget", "noise"], -1),
    (["frames", 0, "camera", "iso"], 0),
    (["frames", 0, "camera", "captured"], "2026:05:12 14:03:10"),
    (["frames", 0, "card"], None),
    (["frames", 0, "card", "found_by"], "eye"),
    (["frames", 0, "card", "signal"], None),
    (["frames", 0, "card", "clipped", "green"], 1.5),
    (["frames", 0, "card", "corners"], [[0, 0], [1, 0], [1, 1]]),
    (["frames", 0, "candidates"], GONE),
    (["frames", 0, "candidates"], [{"box": [0, 0, 9, 9]}]),
    (["plan", "setups", 0, "card", "looked_for"], "eye"),
    (["frames", 11, "bound"], None),  # the clipped one
    (["frames", 12, "problem"], "two\nlines"),  # the unreadable one
    (["frames", 12, "problem"], None),
    (["setups", 0, "count"], 0),
    (["setups", 0, "spread_stops"], -1),
]


@pytest.mark.parametrize(("path", "value"), BREAKS)
def test_the_schema_sees_what_is_wrong(
    demo: Shoot, schema: dict[str, Any], path: list[str | int], value: object
) -> None:
    report = reread(demo)
    holder: Any = report
    for key in path[:-1]:
        holder = holder[key]
    if value is GONE:
        del holder[path[-1]]
    else:
        holder[path[-1]] = value
    found = complaints(report, schema)
    assert any(str(path[-1]) in complaint for complaint in found), found
