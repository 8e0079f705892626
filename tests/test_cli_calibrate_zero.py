"""greyproof calibrate and check together: an offset that is fitted, kept and used gives zero."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from calibration_studio import (
    CAMERA,
    CARD,
    METERED,
    NEAR,
    OFF,
    SIGNAL,
    Capture,
    Studio,
    calibrate,
    check,
    errors,
    rests,
)
from study_numbers import tenths_text


@pytest.fixture
def here(tmp_path: Path) -> Studio:
    """A studio for one test."""
    return Studio(tmp_path)


def test_fitted_kept_and_used_it_gives_zero(here: Studio, capsys: Capture) -> None:
    set_of = here.bracket()
    ran = calibrate(capsys, here.plan, *set_of, "--save", "bench", "--store", here.store.path)
    assert ran.status == 0
    assert ran.out.splitlines()[-1] == f'Kept as "bench" in {here.store.path}.'
    assert here.store.get("bench").stops == pytest.approx(OFF, abs=NEAR)
    without = check(capsys, here.plan, *set_of, "--store", here.folder / "none")
    assert np.mean(rests(without)) == pytest.approx(OFF, abs=NEAR)
    used = check(capsys, here.plan, *set_of, "--store", here.store.path)
    assert np.mean(rests(used)) == pytest.approx(0, abs=NEAR)
    for frame in used.frames().values():
        assert frame["offset"] == "bench"
        assert frame["judged_by"] == "plan"
        assert "no-offset" not in frame["warnings"]
        assert 'offset "bench": −0.37 stop' in frame["notes"]
        assert "card" not in frame["budget"]  # the same card as in the set


def test_zero_again_with_the_advice_dialled_in(here: Studio, capsys: Capture) -> None:
    save = ("--save", "bench", "--store", here.store.path)
    ran = calibrate(capsys, here.plan, *here.bracket(), *save, "--json", "-")
    advised = ran.report["advice"]["correction_stops"]
    assert advised == 0.4  # against -0.37: a correction has the opposite sign
    # The same light: a meter that asks for 0.4 more shows a smaller aperture value by that.
    shown = 7.0 - advised
    plan = here.planned(
        "dialled.toml",
        f'[reading]\naperture = "{tenths_text(round(shown * 10))}"\nmeter = "bench meter"\n'
        f"correction = {advised}\n",
    )
    anew = here.bracket("anew")
    used = check(capsys, plan, *anew, "--store", here.store.path)
    assert np.mean(rests(used)) == pytest.approx(0, abs=NEAR)
    told = 'offset "bench": −0.37 stop; with the correction of +0.40 in the meter, +0.03 together'
    assert all(told in frame["notes"] for frame in used.frames().values())
    # Set as the meter now says (f/8 + 0.6), a frame is as the standard wants it, but for what
    # rounding the advice to tenths leaves.
    as_shown = here.make("as_shown.dng", camera=CAMERA, true_f_number=2 ** (shown / 2))
    (frame,) = check(capsys, plan, as_shown, "--store", here.store.path).report["frames"]
    left = np.log2(frame["card"]["signal"] / SIGNAL)
    assert left == pytest.approx(advised + OFF, abs=NEAR)
    assert abs(left) <= 0.05 + NEAR
    # Calibrated with it dialled in, the offset is the same: it has the correction taken out.
    again = calibrate(capsys, plan, *anew, "--json", "-").report
    assert again["offset_stops"] == pytest.approx(ran.report["offset_stops"], abs=NEAR)
    assert again["advice"]["correction_stops"] == advised
    assert "Leave the meter's correction at +0.40 stop" in again["advice"]["text"]


def test_a_reading_for_every_frame(here: Studio, capsys: Capture) -> None:
    rows, tables = [], [METERED]
    for n, (tenths, f_number) in enumerate(((60, 8.0), (67, 10.0), (70, 11.0), (80, 16.0)), 1):
        light = tenths / 10 - 7.0  # stops over f/11
        frame = here.make(f"row_{n:04d}.dng", light, camera=CAMERA, f_number=f_number)
        rows.append(f"{frame.name},{tenths_text(tenths)}")
        tables.append(
            f'[[setup]]\nname = "row {n}"\nframes = "{n}"\n'
            f'reading = {{ aperture = "{tenths_text(tenths)}" }}\n'
        )
    save = ("--save", "rows", "--store", here.store.path)
    plan = here.planned("rows.toml", '[reading]\nmeter = "bench meter"\n')
    ran = calibrate(capsys, plan, "--readings", here.readings(*rows), *save, "--json", "-")
    assert ran.report["offset_stops"] == pytest.approx(OFF, abs=NEAR)
    assert ran.report["belongs_to"]["meter"] == "bench meter"
    sets = here.folder / "set-ups.toml"
    sets.write_text(METERED + CARD + "".join(tables[1:]), encoding="utf-8")
    used = check(capsys, sets, *sorted(here.folder.glob("row_*.dng")), "--store", here.store.path)
    assert np.mean(errors(used)) == pytest.approx(0, abs=NEAR)
    assert max(np.abs(errors(used))) <= 0.02


def test_an_iso_that_differs_is_kept_and_used_with_its_own_part(
    here: Studio, capsys: Capture
) -> None:
    fast = replace(CAMERA, speed_error_stops=OFF + 0.2)
    rows = []
    for n, f_number in enumerate((8.0, 10.0, 13.0, 16.0)):
        for iso in (100.0, 200.0, 400.0):
            light = 0.0 if iso == 100 else -1.0  # so that nothing clips; the meter says so
            name, seen = f"set_{iso:g}_{n}.dng", fast if iso == 400 else CAMERA
            here.make(name, light, camera=CAMERA, seen_by=seen, f_number=f_number, iso=iso)
            rows.append(f"{name},{'f/8' if light else 'f/11'}")
    save = ("--save", "bench", "--store", here.store.path)
    ran = calibrate(capsys, here.plan, "--readings", here.readings(*rows), *save, "--json", "-")
    differing = [group for group in ran.report["groups"] if group["differs"]]
    assert [(group["by"], group["value"]) for group in differing] == [("iso", 400.0)]
    assert differing[0]["offset_stops"] == pytest.approx(OFF + 0.2, abs=NEAR)
    assert ran.report["offset_stops"] == pytest.approx(OFF, abs=NEAR)
    (part,) = here.store.get("bench").parts
    assert (part.by, part.value) == ("iso", 400.0)
    assert part.stops == pytest.approx(0.2, abs=NEAR)
    plan = here.planned("dim.toml", '[reading]\naperture = "f/8"\nmeter = "bench meter"\n')
    files = [here.folder / f"set_{iso}_1.dng" for iso in (200, 400)]
    used = check(capsys, plan, *files, "--store", here.store.path)
    assert rests(used) == pytest.approx([0, 0], abs=NEAR)
    first, second = used.report["frames"]
    assert 'offset "bench": −0.37 stop' in first["notes"]
    assert 'offset "bench": −0.37 stop, +0.20 at ISO 400' in second["notes"]
