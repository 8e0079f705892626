"""scripts/study_offsets.py: a small run of it, and that what is not reached fails it."""

import math
from argparse import Namespace
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import study_offsets
from simulated_sets import (
    Dials,
    Form,
    GroupKind,
    Likes,
    Truth,
    crossed,
    drawn,
    plain_set,
    shots_of,
    signals,
    sloped,
)
from study_offsets import Tried, fitted, ideal_width, plain_sets

from verify.calibrate.calibration import calibrated
from verify.calibrate.match import Matcher
from verify.calibrate.records import Calibration, Excluded
from verify.calibrate.sift import Shot

Capture = pytest.CaptureFixture[str]

EXACT = 1e-9  # stop, of the arithmetic of doubles
# Sets of the small run; with so few of them the bounds are wider than those of the study.
SMALL = Namespace(sets=60, seed=1)
FEW = Namespace(sets=12, seed=1)


@pytest.fixture(scope="module")
def sets(tmp_path_factory: pytest.TempPathFactory) -> list[Tried]:
    return list(plain_sets(SMALL, tmp_path_factory.mktemp("sets")))


def test_the_interval_holds_the_offset_and_is_no_wider_than_it_must_be(sets: list[Tried]) -> None:
    # 95 % of 60 sets, four standard deviations of that share down: 1.69 sets each
    assert sum(one.covered for one in sets) >= 50
    ratios = [one.width / ideal_width(one.truth) for one in sets]
    assert 0.95 <= np.median(ratios) <= 1.1


def test_the_offset_is_found_but_for_what_nobody_can_know(sets: list[Tried]) -> None:
    beside = [abs(one.offset - one.truth.drawn_offset) for one in sets]
    # a scatter of 0.06 over 13 frames, at the middle of these sets: 0.67 x 0.06 / sqrt(13)
    assert np.median(beside) <= 0.018
    off = [one.offset - one.truth.likes.offset for one in sets]
    # card 0.04, and the meter's 0.029 in half of the sets; the mean over 60 of them
    assert abs(np.mean(off)) <= 4 * 0.06 / math.sqrt(60)


def test_gross_errors_are_left_out_and_sound_frames_are_not(sets: list[Tried]) -> None:
    names = [{int(one.file.stem[-2:]) for one in tried.result.excluded} for tried in sets]
    bad = [set(np.flatnonzero(~tried.truth.clean).tolist()) for tried in sets]
    count = sum(map(len, bad))
    assert count > 20
    # an error of 0.3 to 3 stops in a scatter of 0.1 at most: nearly all of them stand out
    assert sum(len(b & n) for b, n in zip(bad, names, strict=True)) >= 0.85 * count
    assert sum(len(n - b) for b, n in zip(bad, names, strict=True)) <= 0.1 * len(sets)


def printed(capsys: Capture) -> list[str]:
    """The lines with a share of sets."""
    return [line for line in capsys.readouterr().out.splitlines() if "%" in line]


def test_a_bad_frame_hardly_moves_the_offset(tmp_path: Path, capsys: Capture) -> None:
    study_offsets.bad_frame(FEW, tmp_path)
    shares = [float(line.split(": ")[1].split("%")[0]) for line in printed(capsys)]
    assert shares[2] >= 80  # 0.5 to 1.0
    assert shares[3] >= 80  # 0.3 to 3.0


def test_what_is_off_in_a_set_of_4_by_4_is_named(tmp_path: Path, capsys: Capture) -> None:
    study_offsets.groups(FEW, tmp_path)
    counts = [int(line.split("(")[1].split(" of")[0]) for line in printed(capsys)]
    assert len(counts) == 9
    assert min(counts) >= 10
    assert sum(counts) >= 9 * 11.4


def test_a_slope_is_noticed(tmp_path: Path) -> None:
    told = {}
    for true in (1.0, 0.9, 1.1):
        results = [
            fitted(sloped(np.random.default_rng([7, at]), true), tmp_path).result
            for at in range(12)
        ]
        told[true] = sum("slope-off" in result.warnings for result in results)
    assert told[1.0] <= 1
    assert told[0.9] == told[1.1] == 12


FORMS: tuple[Form, ...] = ("continuous", "per-frame", "bracket")
KINDS: tuple[GroupKind, ...] = ("clean", "iso", "aperture")


def truths() -> Iterator[Truth]:
    """Sets of every kind."""
    for at in range(6):
        rng = np.random.default_rng([5, at])
        yield plain_set(rng, (3, 24), (0.02, 0.1), Likes(0.0, 0.0, per_frame=bool(at % 2)))
        yield sloped(rng, 1.1)
        for form in FORMS:
            yield crossed(rng, form, KINDS[at % 3])[0]


def test_the_signals_say_what_is_true(tmp_path: Path) -> None:
    for truth in truths():
        held = signals(truth) < 1
        rest = [shot.check.rest_stops for shot in shots_of(truth, tmp_path)]
        assert held.sum() > 2
        np.testing.assert_allclose(
            np.array(rest, float)[held], truth.rest[held], rtol=0, atol=EXACT
        )


def test_the_signal_of_the_metered_setting() -> None:
    # f/11 metered and set at ISO 100, nothing off: 0.11937 of clipping (check-values 2.5)
    rng = np.random.default_rng(1)
    truth = drawn(rng, Likes(0.0, 0.0, card_u=0.0), [Dials(12, 0)], [7.0])
    assert signals(truth)[0] == pytest.approx(0.11937, abs=1e-5)
    # 0.3 dialled into the meter: it shows f/8 + 0.7 of the same light
    shown = drawn(rng, Likes(0.0, 0.0, card_u=0.0, correction=0.3), [Dials(12, 0)], [7.0]).shown
    assert shown[0] == pytest.approx(6.7)


def test_the_meter_errs_by_half_a_step_at_most() -> None:
    for truth in truths():
        assert np.abs(truth.meter).max() <= 0.05 + EXACT
        np.testing.assert_allclose(truth.shown * 10, np.rint(truth.shown * 10), atol=EXACT)


Calibrate = Callable[[Sequence[Shot], Matcher, Sequence[Excluded]], Calibration]


def spoilt(change: Callable[[Calibration], Calibration]) -> Calibrate:
    """A fit whose result is changed before anybody sees it."""

    def fit(shots: Sequence[Shot], match: Matcher, left_out: Sequence[Excluded]) -> Calibration:
        return change(calibrated(shots, match, left_out))

    return fit


def moved(result: Calibration, by: float, wider: float = 1.0) -> Calibration:
    """The offset elsewhere, its interval as many times as wide."""
    assert result.offset_stops is not None
    assert result.interval_stops is not None
    middle = result.offset_stops + by
    half = (result.interval_stops[1] - result.interval_stops[0]) / 2 * wider
    return replace(result, offset_stops=middle, interval_stops=(middle - half, middle + half))


def others_named(result: Calibration) -> Calibration:
    """One more group is blamed in every set."""
    groups = list(result.groups)
    quiet = next(at for at, group in enumerate(groups) if not group.differs)
    groups[quiet] = replace(groups[quiet], differs=True)
    return replace(result, groups=tuple(groups))


@pytest.mark.parametrize(
    ("part", "change", "says"),
    [
        ("interval", lambda r: moved(r, 0.0, 0.5), "hold the offset"),
        ("interval", lambda r: moved(r, 0.3), "hold the offset"),
        ("interval", lambda r: moved(r, 0.0, 1.5), "median width / ideal"),
        ("interval", lambda r: moved(r, 0.0, 0.7), "median width / ideal"),
        ("error", lambda r: moved(r, 0.05), "against the offset itself"),
        ("error", lambda r: moved(r, 0.03), "against offset, drawn card and drawn meter errors"),
        ("groups", others_named, "no group named"),
        ("groups", others_named, "iso named, and no other"),
        ("groups", others_named, "aperture named, and no other"),
    ],
)
def test_a_broken_fit_does_not_reach_what_is_wanted(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: Capture,
    part: str,
    change: Callable[[Calibration], Calibration],
    says: str,
) -> None:
    monkeypatch.setattr(study_offsets, "calibrated", spoilt(change))
    assert not study_offsets.PARTS[part](FEW, tmp_path)
    lines = [line for line in capsys.readouterr().out.splitlines() if f"{says}: " in line]
    assert lines
    assert all(line.endswith("NOT reached") for line in lines)


def test_a_fit_that_bad_frames_pull_does_not_reach_what_is_wanted(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def mean(shots: Sequence[Shot], match: Matcher, left_out: Sequence[Excluded]) -> Calibration:
        rest = [s.check.rest_stops for s in shots if s.check.rest_stops is not None]
        return replace(calibrated(shots, match, left_out), offset_stops=float(np.mean(rest)))

    monkeypatch.setattr(study_offsets, "calibrated", mean)
    assert not study_offsets.bad_frame(FEW, tmp_path)


def test_one_part_alone_and_its_exit_status(
    monkeypatch: pytest.MonkeyPatch, capsys: Capture
) -> None:
    monkeypatch.setitem(study_offsets.PARTS, "error", lambda *_: False)
    monkeypatch.setitem(study_offsets.PARTS, "slope", lambda *_: True)
    assert study_offsets.main(["--part", "slope", "--sets", "1"]) == 0
    assert study_offsets.main(["--part", "error", "--sets", "1"]) == 1
    assert capsys.readouterr().out.splitlines()[-1] == "not all that is wanted is reached"
