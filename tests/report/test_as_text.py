"""verify/report/as_text.py: what a photographer reads, at the widths that terminals have."""

import io
import math
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from rich.cells import cell_len
from rich.console import Console
from shoots import altered, demo_shoot, looked_for, shoot_of, two_setups

from verify.notation import stops_text
from verify.report.as_text import as_text, problem_lines, summary_lines
from verify.report.characters import plain
from verify.shoot import Shoot
from verify.warnings import WARNINGS

WIDTHS = (30, 60, 69, 70, 80, 99, 110, 140, 1000)
TABLE_WIDTHS = (70, 80, 110, 1000)


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Shoot:
    return demo_shoot(tmp_path_factory.mktemp("shoot") / "demo")


def printed(shoot: Shoot, width: int = 1000, **options: Any) -> str:
    """What a terminal of so many columns shows."""
    out = io.StringIO()
    Console(file=out, width=width, highlight=False, **options).print(as_text(shoot))
    return out.getvalue()


def flowing(text: str) -> str:
    """Text without its line breaks, for what may be wrapped anywhere."""
    return re.sub(r"\s+", "", text)


def row_of(text: str, name: str) -> str:
    """The line that begins with a frame's name."""
    return next(line for line in text.splitlines() if line.startswith(name))


@pytest.mark.parametrize("width", WIDTHS)
def test_nothing_is_cut_at_any_width(demo: Shoot, width: int) -> None:
    text = printed(demo, width)
    assert max(map(cell_len, text.splitlines())) <= width
    assert "…" not in text
    flat = flowing(text)
    for check in demo.checks:
        assert check.verdict in flat
        for value in (check.error_stops, check.rest_stops, check.difference_stops):
            assert value is None or stops_text(value) in flat
        for name in check.warnings:
            assert name in flat


@pytest.mark.parametrize("width", TABLE_WIDTHS)
def test_a_row_holds_every_figure_of_its_frame(demo: Shoot, width: int) -> None:
    text = printed(demo, width)
    for check in demo.checks[:11]:
        assert check.patch is not None
        assert check.error_stops is not None
        assert check.u_stops is not None
        figures = [
            f"{stops_text(check.error_stops)} ± {2 * check.u_stops:.2f}",
            *(stops_text(v) for v in (check.settings_stops, check.rest_stops) if v is not None),
            stops_text(check.difference_stops or 0.0),
            f"{-math.log2(check.patch.signal):.2f}",  # the demo camera clips at signal 1
            check.verdict,
        ]
        row = row_of(text, check.file.name[:10])
        assert re.search(" " + " +".join(map(re.escape, figures)), row), (figures, row)
    fourth = row_of(text, "table_0104")
    # the truth of frame 0104: shot at f/11 where f/13 was planned, a third of a stop over
    assert re.search(r"\+0\.14 ± 0\.24 +\+0\.33 +−0\.19 +−0\.04 +2\.96 +within", fourth)
    assert re.search(r"– +– +– +– +– +unreadable", row_of(text, "table_0113"))


@pytest.mark.parametrize("width", TABLE_WIDTHS)
def test_a_clipped_card_is_a_bound_in_every_figure_that_it_touches(demo: Shoot, width: int) -> None:
    row = row_of(printed(demo, width), "table_0112")
    assert re.search(r" ≥ \+3\.10 +0\.00 +≥ \+3\.10 +≥ \+3\.25 +≤ 0\.00 +clipped", row)
    assert "±" not in row


def test_a_black_card_is_at_most(project_root: Path) -> None:
    black = project_root / "test_images" / "card_black.dng"
    text = printed(shoot_of([black], reading={"aperture": "f/11"}))
    assert re.search(r" ≤ −\d+\.\d\d +0\.00 +≤ −\d+\.\d\d ", row_of(text, "card_black"))
    assert WARNINGS["at-black"] in text


@pytest.mark.parametrize("width", TABLE_WIDTHS)
def test_what_became_of_the_search_stands_in_the_row(tmp_path: Path, width: int) -> None:
    text = printed(looked_for(tmp_path), width)
    assert re.search(r" −?0\.00 ± 0\.\d\d +.* card-doubtful", row_of(text, "two_0001"))
    assert re.search(r" −?0\.00 ± 0\.\d\d +.* within", row_of(text, "one_0002"))
    for name in ("none_0003", "gel_0004"):
        assert re.search(r"– +– +– +– +– +no-card", row_of(text, name))


def test_what_became_of_the_search_is_told_with_what_to_do(tmp_path: Path) -> None:
    shoot = looked_for(tmp_path)
    lines = printed(shoot).splitlines()
    two, _, none, gel = (check.file for check in shoot.checks)
    first, second = (
        f"{box.col},{box.row},{box.width},{box.height}"
        for box in (target.box for target in shoot.checks[0].sightings)
    )
    do = "say where with --card COL,ROW,WIDTH,HEIGHT (upright pixels, or fractions of the sides)."
    assert f"{none}: no card was found in it. If there is one, {do}" in lines
    says = "hardly anything in it is neutral, as in coloured light: nothing can be told to be grey."
    assert f"{gel}: {says} If there is a card, {do}" in lines
    assert f"several-cards ({two.name}): {WARNINGS['several-cards']}" in lines
    assert (
        f"Note ({two.name}): 2 things look like the card: at {first}, which is measured, and at "
        f"{second}. Say which it is with --card, or cover the other." in lines
    )
    assert lines[-1].startswith("4 frames: 1 within, 1 not usable, 2 without a card; ")
    # Asked for problems only, a frame without a card is one.
    assert [line.split(":")[0] for line in problem_lines(shoot.checks)] == [str(none), str(gel)]


@pytest.mark.parametrize("name", WARNINGS)
def test_every_warning_is_told_in_words(demo: Shoot, name: str) -> None:
    shoot = altered(demo, {"warnings": (name,)}, {"warnings": ()})
    text = printed(shoot)
    assert f"{name} (table_0101.dng): {WARNINGS[name]}" in text
    assert row_of(text, "table_0101").rstrip().endswith(f"  {name}")
    assert name not in row_of(text, "table_0102")


def test_a_warning_of_every_frame_is_told_once(demo: Shoot) -> None:
    text = printed(altered(demo, *[{"warnings": ("glare",)}] * 3))
    assert text.count("glare") == 1
    assert f"glare (every frame): {WARNINGS['glare']}" in text


def test_many_frames_are_counted(demo: Shoot) -> None:
    text = printed(altered(demo, {}, *[{"warnings": ("glare",)}] * 9))
    named = ", ".join(f"table_{number:04d}.dng" for number in range(102, 108))
    assert f"glare ({named} and 3 more): " in text


def test_every_problem_is_told_with_the_path(demo: Shoot) -> None:
    problem = "it is empty: the copy failed, or it is still being written"
    lost: dict[str, Any] = {"patch": None, "problem": problem}
    shoot = altered(demo, {}, lost, lost, {**lost, "problem": "it is text, not a picture."})
    first, second, third = (check.file for check in shoot.checks[1:4])
    assert problem_lines(shoot.checks) == [
        f"{first}, {second}: {problem}.",
        f"{third}: it is text, not a picture.",
    ]
    assert all(line in printed(shoot) for line in problem_lines(shoot.checks))


def test_frames_with_only_a_bound_are_told_of_when_asked(demo: Shoot) -> None:
    assert len(problem_lines(demo.checks)) == 1
    clipped, cut = problem_lines(demo.checks, bounds=True)
    assert clipped == f"{demo.checks[11].file}: {WARNINGS['clipped']}"
    assert cut == problem_lines(demo.checks)[0]


def test_no_sentence_ends_with_two_full_stops(demo: Shoot) -> None:
    ending = {"notes": ("a note that ends.",), "problem": "a problem that ends."}
    shoot = altered(replace(demo, notes=("of the shoot.",)), {}, ending, {"notes": ("none",)})
    text = printed(shoot)
    assert ".." not in text
    assert "Note: of the shoot.\n" in text
    assert "Note (table_0102.dng): a note that ends.\n" in text
    assert "Note (table_0103.dng): none.\n" in text
    assert ".." not in printed(demo)


def test_the_summary_is_the_last_line(demo: Shoot) -> None:
    lines = printed(demo).splitlines()
    # −0.71 and 2.20 are the mean and the deviation of the eleven errors in the table
    assert lines[-1] == (
        "13 frames: 7 within, 1 over, 3 under, 2 not usable; mean error −0.71 stop, spread 2.20."
    )
    assert lines[-2] == "2 other files in the folders are not raw or TIFF: skipped."
    one = replace(demo, skipped=1)
    assert "1 other file in the folders is not raw or TIFF: skipped." in printed(one)


def test_set_ups_and_bodies_have_a_table_and_a_line_each(tmp_path: Path) -> None:
    shoot = two_setups(tmp_path)
    lines = printed(shoot).splitlines()
    assert summary_lines(shoot) == lines[-5:]
    assert lines[-1] == "4 frames: 4 within."
    assert lines[-2].startswith("jug / rim / TW-14 0048: 1 frame: 1 within; mean error ")
    for summary in shoot.summaries:
        at = lines.index(summary.name)
        (name,) = (c.file.name for c in shoot.checks if c.setup == summary.name)
        assert lines[at + 1].startswith("frame ")
        assert lines[at + 3].startswith(name)


def test_an_iso_that_is_only_the_meters_is_asked_about(project_root: Path) -> None:
    frame = project_root / "test_images" / "iso_102400.dng"
    text = printed(shoot_of([frame], reading={"aperture": "f/11", "iso": 400}))
    assert "Note: the plan's ISO is the meter's, 400, and every frame was shot at 102400. " in text
    assert "write iso = 102400 under [camera] in the plan.\n" in text
    given = shoot_of([frame], reading={"aperture": "f/11"}, camera={"iso": 400})
    assert "the plan's ISO" not in printed(given)


@pytest.mark.parametrize("width", TABLE_WIDTHS)
@pytest.mark.parametrize(
    "name",
    ["[red]x.dng", "[/x].dng", "a :smile: b.dng", "ü 日本.dng", "[bold", "back\\[slash].dng"],
)
def test_names_are_shown_as_they_are(demo: Shoot, name: str, width: int) -> None:
    odd = {"file": Path("folder") / name, "problem": "gone", "patch": None}
    text = printed(altered(demo, odd, {"warnings": ("glare",)}), width)
    assert flowing(name) in flowing(text.split("verdict")[1])
    assert flowing(f"{Path('folder') / name}: gone.") in flowing(text)


def test_very_long_names_are_folded_and_cost_no_figure(demo: Shoot) -> None:
    name = "2026-05-12_client-of-the-day_stoneware-jug_rim-light_no-diffuser_final_0101.dng"
    for width in TABLE_WIDTHS:
        text = printed(altered(demo, {"file": Path(name), "warnings": ("glare",)}, {}), width)
        assert flowing(name) in flowing(text)
        assert re.search(r"−0\.15 ± 0\.24 +0\.00 +−0\.15 +0\.00 +3\.25 +within", text)


def test_what_would_change_the_terminal_is_shown_as_a_mark(demo: Shoot) -> None:
    text = printed(altered(demo, {"file": Path("a\x1b[31m\nb.dng"), "problem": "x\ty"}))
    assert "\x1b" not in text
    assert "a\N{REPLACEMENT CHARACTER}[31m\N{REPLACEMENT CHARACTER}b.dng" in text
    assert plain("signal ≥ 0.1 – 日本 [x]") == "signal ≥ 0.1 – 日本 [x]"


def test_two_frames_of_one_name_are_told_apart(demo: Shoot) -> None:
    files = [Path("first") / "0001.dng", Path("second") / "0001.dng", Path("first") / "0002.dng"]
    text = printed(altered(demo, *({"file": file} for file in files)))
    assert row_of(text, str(files[0]))
    assert row_of(text, str(files[1]))
    assert row_of(text, "0002.dng")


def test_colour_is_for_terminals_only(demo: Shoot) -> None:
    assert "\x1b" not in printed(demo)
    assert "\x1b[31mclipped" in printed(demo, force_terminal=True, color_system="standard")
