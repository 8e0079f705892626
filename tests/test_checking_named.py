"""verify/checking.py: set-ups that name their files, and that share the place of the card."""

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import pytest
from checked_files import Told
from readings import plan_of
from small_shoots import BODY, METER_ONLY, NOISE, SET, TWO_CARDS, Make, writer

from verify.checking import Checker, Wanted, setup_of
from verify.frames.frame import Settings
from verify.frames.geometry import Size
from verify.plan.records import Plan, Selection
from verify.shoot import Options, check_shoot

OTHERS = METER_ONLY + (
    '[[setup]]\nname = "numbers"\nframes = "1-99"\n'
    '[[setup]]\nname = "start"\nfrom = "50"\n'
    '[[setup]]\nname = "body"\nserial = "0099"\n'
    '[[setup]]\nname = "named"\nframes = "200"\nreading = { aperture = "f/16" }\n'
)


@pytest.fixture
def make(tmp_path: Path) -> Make:
    """What writes frames of the card."""
    return writer(tmp_path)


def named(plan: Plan, files: Mapping[int, tuple[Path, ...]], framing: str | None = None) -> Plan:
    """The plan with these files named by set-ups, in the place of what they selected."""
    setups = tuple(
        replace(setup, selection=Selection(files=files[at]), framing=framing)
        if at in files
        else setup
        for at, setup in enumerate(plan.setups)
    )
    return replace(plan, setups=setups)


@pytest.mark.parametrize(
    ("file", "serial", "setup"),
    [
        ("one/a_0001.dng", "0047", 4),  # though its number is in another set-up's range
        ("one/a_0060.dng", "0099", 4),  # though its body and its number are another's
        ("one/b_0001.dng", None, 0),  # the main one may name files too
        ("two/a_0001.dng", "0047", 1),  # the same name in another folder
        ("one/a_0200.dng", "0047", 2),  # who names files has nothing by number
        ("one/a_0200.dng", "0099", 3),
        ("unnumbered.dng", "0047", 0),
    ],
)
def test_a_set_up_that_names_files_has_those_and_wins(
    tmp_path: Path, file: str, serial: str | None, setup: int
) -> None:
    files = (Path("one/a_0001.dng"), Path("one/a_0060.dng"))
    plan = named(plan_of(tmp_path, OTHERS), {0: (Path("one/b_0001.dng"),), 4: files})
    assert setup_of(plan, Path(file), Settings(serial=serial)) == setup


def test_only_files_are_named_and_nothing_else(tmp_path: Path) -> None:
    plan = named(plan_of(tmp_path, OTHERS), {1: (Path("a.dng"),), 2: (), 3: (), 4: ()})
    assert setup_of(plan, Path("a.dng"), Settings()) == 1
    # An empty selection is none: it has what no number or body keeps from it.
    assert setup_of(plan, Path("b.dng"), Settings()) == 2


@pytest.mark.parametrize(("framing", "shared"), [("calibration", "calibration"), (None, 1)])
def test_the_place_of_the_card_is_asked_for_by_framing(
    make: Make, tmp_path: Path, framing: str | None, shared: object
) -> None:
    frame = make("a_0001.dng", scene=SET)
    plan = named(plan_of(tmp_path, OTHERS), {1: (frame,)}, framing)
    told = Told()
    assert Checker(plan, Wanted())(frame, told).framing == (shared, "TW-14 0047", Size(240, 160))
    assert told.asked == [(shared, "TW-14 0047", Size(240, 160))]


def test_set_ups_of_one_framing_find_the_card_where_the_last_of_them_had_it(
    make: Make, tmp_path: Path
) -> None:
    frames = [make("a.dng", scene=SET), make("b.dng", scene=TWO_CARDS, f_number=16.0)]
    plan = plan_of(tmp_path, OTHERS)
    files = {0: (frames[0],), 4: (frames[1],)}
    together = check_shoot(named(plan, files, "calibration"), frames, Options())
    apart = check_shoot(named(plan, files), frames, Options())
    assert [check.setup for check in together.checks] == ["main", "named"]
    assert ["several-cards" in check.warnings for check in together.checks] == [False, False]
    assert ["several-cards" in check.warnings for check in apart.checks] == [False, True]
    first, second = (check.patch for check in together.checks)
    assert first is not None
    assert second is not None
    assert first.target == second.target
    # Light for f/11 is a stop less than f/16 promised, and the frame was shot at f/16.
    assert together.checks[1].rest_stops == pytest.approx(-1, abs=NOISE)


def test_another_body_has_its_own_place(make: Make, tmp_path: Path) -> None:
    first = make("a.dng", scene=SET)
    second = make("b.dng", scene=SET, camera=replace(BODY, serial="0099"))
    plan = named(plan_of(tmp_path, OTHERS), {0: (first,), 4: (second,)}, "calibration")
    asked = [Checker(plan, Wanted())(file, Told()).framing for file in (first, second)]
    assert asked[0] != asked[1]
