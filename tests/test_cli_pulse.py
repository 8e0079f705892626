"""greyproof pulse: recordings and plans to durations, losses by edges, JSON, pictures, refusals."""

import math
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest
from commands import run
from json_reports import shipped_schema

from verify.report.pulse_json import FORMAT

TENTH_S = 1 / 250
DECAY_S = TENTH_S / math.log(10)
PRINTED = 0.004  # stop; check-values prints three decimals, and the recording is sampled
MODEL_PLAN = """
[camera]
shutter = "1/250"
sync = "1/200"

[[flash]]
t_tenth = "1/250"
"""


def recording(folder: Path, name: str = "flash.csv", tenth_s: float = TENTH_S) -> Path:
    """A clean recording of an instant-rise exponential, so fine that it is the closed form."""
    step = tenth_s / 4000
    time = np.arange(-400, 16_000) * step
    value = 0.25 + np.where(time >= 0, np.exp(-np.maximum(time, 0) / tenth_s * math.log(10)), 0.0)
    rows = "\n".join(f"{t:.9f},{v:.6f}" for t, v in zip(time, value, strict=True))
    path = folder / name
    path.write_text("time (s),light (V)\n" + rows + "\n", encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def flash(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return recording(tmp_path_factory.mktemp("flash"))


def losses(shutter: dict[str, Any]) -> list[float]:
    return [shutter["loss_stops"][row] for row in ("first", "middle", "last")]


def test_durations_of_a_recording(flash: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Check-values 3.2, exact for an instant-rise exponential."""
    ran = run(capsys, "pulse", flash, "--json", "-")
    assert ran.status == 0
    report = ran.report
    jsonschema.validate(report, shipped_schema("pulse"))
    assert report["format"] == FORMAT
    assert report["rests_on"] == "recording"
    (pulse,) = report["pulses"]
    assert report["sum"] == pulse
    for level in range(1, 10):
        wanted = DECAY_S * math.log(10 / level)
        assert pulse["durations_s"][f"t.{level}"] == pytest.approx(wanted, rel=1e-3)
    assert pulse["energy_share"]["t.5"] == pytest.approx(0.5, abs=0.005)
    assert pulse["energy_share"]["t.1"] == pytest.approx(0.9, abs=0.005)
    assert pulse["kind"] == "decaying"
    assert pulse["start_s"] == pytest.approx(0, abs=2e-6)


@pytest.mark.parametrize(
    ("shutter", "lost"),
    [("4 ms", [1.192, 0.391, 0.152]), ("5 ms", [0.548, 0.207, 0.084]),
     ("6.25 ms", [0.241, 0.097, 0.040])],
)  # fmt: skip
def test_losses_of_a_curtain(
    flash: Path, capsys: pytest.CaptureFixture[str], shutter: str, lost: list[float]
) -> None:
    """Check-values 3.7: travel of 3 ms, t.1 of 1/250 s, plain seconds."""
    ran = run(
        capsys, "pulse", flash, "--shutter", shutter, "--travel", "3 ms", "--delay", "0",
        "--json", "-",
    )  # fmt: skip
    (one,) = ran.report["shutters"]
    assert losses(one) == pytest.approx(lost, abs=PRINTED)
    assert one["edges"] == {"first": "bottom", "last": "top"}
    assert one["delayed"] == []
    assert ran.status == 1


def test_a_marked_time_is_its_exact_value(flash: Path, capsys: pytest.CaptureFixture[str]) -> None:
    ran = run(capsys, "pulse", flash, "--shutter", "1/250", "--travel", "3 ms", "--json", "-")
    (one,) = ran.report["shutters"]
    assert one["shutter_s"] == 1 / 256
    tail = math.exp(-(1 / 256) / DECAY_S)
    assert one["loss_stops"]["last"] == pytest.approx(-math.log2(1 - tail), abs=PRINTED)
    assert [late["delay_s"] for late in one["delayed"]] == [0.0005, 0.001]
    assert one["delayed"][0]["loss_stops"]["first"] > one["loss_stops"]["first"]
    assert one["within_sync"] is None


@pytest.mark.parametrize(
    ("orientation", "first", "last"),
    [(1, "bottom", "top"), (3, "top", "bottom"), (6, "left", "right"), (8, "right", "left")],
)
def test_edges_are_those_of_the_upright_picture(
    flash: Path, capsys: pytest.CaptureFixture[str], orientation: int, first: str, last: str
) -> None:
    """TIFF 6.0, tag 274: of 6 the 0th row is at the right, of 8 at the left."""
    ran = run(
        capsys, "pulse", flash, "--shutter", "1/250", "--travel", "3 ms",
        "--orientation", str(orientation), "--json", "-",
    )  # fmt: skip
    assert ran.report["shutters"][0]["edges"] == {"first": first, "last": last}


def test_without_travel_only_the_last_row_is_told(
    flash: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Check-values 3.6: lost = exp(-window / decay)."""
    ran = run(capsys, "pulse", flash, "--shutter", "4 ms", "--json", "-")
    (one,) = ran.report["shutters"]
    assert losses(one)[:2] == [None, None]
    assert one["loss_stops"]["last"] == pytest.approx(0.1520, abs=PRINTED)
    assert ran.report["fastest_shutter_s"] is None
    assert any("--travel" in note for note in ran.report["notes"])


def test_of_a_pre_flash_the_main_one_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    step = TENTH_S / 1000
    time = np.arange(-2000, 4000) * step
    value = np.where(time >= 0, np.exp(-np.maximum(time, 0) / DECAY_S), 0.0)
    before = time + 1.5 * TENTH_S
    value = value + 0.2 * np.where(before >= 0, np.exp(-np.maximum(before, 0) / 1e-4), 0.0)
    path = tmp_path / "two.csv"
    np.savetxt(path, np.column_stack([time, value]), "%.8f", ",", header="time (s),light")
    told = run(capsys, "pulse", path, "--shutter", "4 ms", "--travel", "0")
    assert "pre-flash: " in told.out
    assert "To freeze motion count t.1, 1/250 s" in told.out
    report = run(capsys, "pulse", path, "--shutter", "4 ms", "--travel", "0", "--json", "-").report
    assert len(report["pulses"]) == 2
    assert report["sum"]["durations_s"]["t.1"] > 2 * TENTH_S
    # Check-values 3.6: the shutter is held against the main flash.
    assert report["shutters"][0]["loss_stops"]["first"] == pytest.approx(0.1520, abs=0.01)


def test_a_leaf_shutter_loses_alike_everywhere(
    flash: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    ran = run(capsys, "pulse", flash, "--shutter", "4 ms", "--leaf", "0", "--json", "-")
    (one,) = ran.report["shutters"]
    assert losses(one) == pytest.approx([0.1520] * 3, abs=PRINTED)
    assert one["edges"] == {"first": None, "last": None}


def test_the_fastest_time_loses_just_the_tolerance(
    flash: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    first = run(capsys, "pulse", flash, "--travel", "3 ms", "--json", "-").report
    wanted = 0.003 - DECAY_S * math.log(1 - 2**-0.1)
    assert first["fastest_shutter_s"] == pytest.approx(wanted, rel=0.01)
    assert first["fastest_marked_shutter_s"] == 1 / 128
    seconds = f"{1e3 * first['fastest_shutter_s']:.6f} ms"
    again = run(capsys, "pulse", flash, "--travel", "3 ms", "--shutter", seconds, "--json", "-")
    assert again.report["shutters"][0]["loss_stops"]["first"] == pytest.approx(0.1, abs=1e-4)


def test_a_plan_stands_in_for_a_recording(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    plan = tmp_path / "plan.toml"
    plan.write_text(MODEL_PLAN, encoding="utf-8")
    report = run(capsys, "pulse", plan, "--json", "-").report
    jsonschema.validate(report, shipped_schema("pulse"))
    assert report["rests_on"] == "model"
    assert "durations-modelled" in report["warnings"]
    assert "travel-assumed" in report["warnings"]
    assert report["travel_s"] == pytest.approx(0.75 / 203.18, rel=1e-3)  # 1/200 is 1/203.19 s
    assert report["sum"]["durations_s"]["t.1"] == pytest.approx(TENTH_S, rel=1e-4)
    assert report["sum"]["durations_u_s"]["t.1"] is None
    (one,) = report["shutters"]
    assert one["shutter_s"] == 1 / 256
    assert one["within_sync"] is False
    assert report["fastest_shutter_s"] >= 1 / 203.19


def test_where_t_1_holds_little_of_the_light_it_is_not_what_freezes(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A short lamp and a long one of as much light: the peak is the short one's."""
    plan = tmp_path / "plan.toml"
    lamps = [f'[[flash]]\nshare = 0.5\nt_tenth = "1/{n}"\n' for n in (200, 10_000)]
    plan.write_text("".join(lamps), encoding="utf-8")
    told = run(capsys, "pulse", plan).out
    assert "of the light: to freeze motion count the time until 90 %" in told
    assert "count t.1," not in told


def test_a_recording_goes_before_the_plans_durations(
    flash: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    plan = tmp_path / "plan.toml"
    plan.write_text(MODEL_PLAN.replace('t_tenth = "1/250"', 't_tenth = "1/60"'), encoding="utf-8")
    report = run(capsys, "pulse", plan, flash, "--json", "-").report
    assert report["rests_on"] == "recording"
    assert report["sum"]["durations_s"]["t.1"] == pytest.approx(TENTH_S, rel=0.01)
    assert len(report["shutters"]) == 1


def test_what_is_printed(flash: Path, capsys: pytest.CaptureFixture[str]) -> None:
    ran = run(capsys, "pulse", flash, "--shutter", "1/250", "--travel", "3 ms")
    assert ran.status == 1
    assert "4.00" in ran.out
    assert "1/250 s" in ran.out
    assert "bottom edge" in ran.out
    assert "Fastest shutter time that loses no more than 0.10 stop: 1/125 s" in ran.out
    assert ran.err == ""
    quiet = run(capsys, "pulse", flash, "--shutter", "1/250", "--travel", "3 ms", "--quiet")
    assert quiet.out == ""
    assert "greyproof: shutter-cuts: " in quiet.err


@pytest.mark.parametrize("ending", [".png", ".svg"])
def test_it_is_drawn(
    flash: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], ending: str
) -> None:
    target = tmp_path / f"flash{ending}"
    ran = run(capsys, "pulse", flash, "--shutter", "1/125", "--travel", "3 ms", "--plot", target)
    assert ran.status == 0
    start = b"\x89PNG" if ending == ".png" else b"<svg"
    assert target.read_bytes().startswith(start)


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        (["--shutter", "bulb"], '--shutter "bulb"'),
        (["--shutter", "often"], "--shutter"),
        (["--travel", "3 ms", "--leaf", "1 ms"], "--travel is of a curtain"),
        (["--leaf", "1 ms, 1 ms, 1 ms"], "--leaf"),
        (["--orientation", "9"], "--orientation 9"),
        (["--tolerance", "0"], "--tolerance 0"),
        (["--sensor-bandwidth", "fast"], '--sensor-bandwidth "fast"'),
        (["--plot", "flash.pdf"], "--plot flash.pdf"),
        (["--setup", "noon"], "--setup noon"),
    ],
)
def test_what_was_typed_wrongly(
    flash: Path, capsys: pytest.CaptureFixture[str], typed: list[str], said: str
) -> None:
    ran = run(capsys, "pulse", flash, *typed)
    assert ran.status == 2
    assert ran.out == ""
    assert len(ran.err.splitlines()) == 1
    assert said in ran.err


def test_nothing_named_or_nothing_in_it(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    empty = tmp_path / "plan.toml"
    empty.write_text("", encoding="utf-8")
    words = tmp_path / "words.csv"
    words.write_text("A letter about\nthe weather.\n", encoding="utf-8")
    cases: list[tuple[list[str | Path], str]] = [
        ([], "name a recording"),
        ([empty], "[[flash]]"),
        ([empty, "--time", "1"], "--time is about a recording"),
        ([words], "words.csv"),
        ([tmp_path / "none.csv"], "no such recording"),
        ([words, tmp_path / "none.csv"], "one recording at a time"),
    ]
    for typed, said in cases:
        ran = run(capsys, "pulse", *typed)
        assert ran.status == 2
        assert len(ran.err.splitlines()) == 1, ran.err
        assert said in ran.err


def test_help_has_the_cautions(capsys: pytest.CaptureFixture[str]) -> None:
    for command in ("pulse", "motion"):
        told = " ".join(run(capsys, command, "--help").out.split())
        for caution in ("battery", "sync socket", "can kill", "into the tube", "seizures"):
            assert caution in told
