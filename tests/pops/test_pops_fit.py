"""verify/pops/fit.py: pops and ambient light, a sag, a camera that averages, what is not told."""

import math
from dataclasses import replace

import numpy as np
import pytest
from popped_frames import OPEN_S, POP, popped

from verify.pops.fit import study_of
from verify.pops.records import PopFrame, PopStudy

COUNTS = [1, 2, 4, 8] * 3


def counted(study: PopStudy) -> list[int | None]:
    return [one.fired for one in study.frames]


def told(study: PopStudy) -> list[int | None]:
    return [one.off for one in study.frames]


@pytest.mark.parametrize("count", [2, 3, 4, 5, 6, 8, 10, 12])
@pytest.mark.parametrize("off", [-1, 1])
def test_one_pop_more_or_less_of_one_count(count: int, off: int) -> None:
    frames = popped([count] * 12, {5: count + off}, scatter=0.01)
    study = study_of(frames)
    assert told(study) == [0] * 5 + [off] + [0] * 6
    assert study.one_count
    assert study.per_pop_signal == pytest.approx(POP, rel=0.01)
    assert any("most are taken to hold all of them" in note for note in study.notes)


def test_beyond_what_the_scatter_allows_nothing_is_told() -> None:
    """Check-values 11: a missed pop of 16 is 0.0931 stop, and frames that scatter hide it."""
    study = study_of(popped([16] * 12, {5: 15}, scatter=0.05))
    assert study.most_tellable is not None
    assert study.most_tellable < 12
    assert not any(one.tellable and one.off for one in study.frames)
    assert sum(one.tellable for one in study.frames) <= 2


def test_chance_is_honest_where_counts_are_hard_to_tell() -> None:
    """Of frames that are told, 95 % and more are right; many are not told at all."""
    right = wrong = silent = 0
    for seed in range(25):
        rng = np.random.default_rng(seed)
        planned = [int(n) for n in rng.permutation([2, 4, 8, 12, 16] * 4)]
        fired = {at: n - 1 for at, n in enumerate(planned) if rng.random() < 0.1}
        study = study_of(popped(planned, fired, scatter=0.035, ambient=3e-4, seed=seed))
        for at, one in enumerate(study.frames):
            if not one.tellable:
                silent += 1
            elif one.fired == fired.get(at, planned[at]):
                right += 1
            else:
                wrong += 1
    assert right > 250
    assert silent > 50
    assert wrong <= 0.05 * (right + wrong)


def test_pops_and_ambient_light() -> None:
    """The fit finds what was put in within twice what it says of itself."""
    study = study_of(popped(COUNTS, {7: 7, 2: 3}, scatter=0.02, ambient=5e-4))
    assert study.adding == "adds"
    assert told(study) == [0, 0, -1, 0, 0, 0, 0, -1, 0, 0, 0, 0]
    assert study.per_pop_signal is not None
    assert study.ambient_per_s is not None
    assert study.per_pop_u is not None
    assert study.ambient_per_s_u is not None
    assert abs(study.per_pop_signal - POP) < 2 * study.per_pop_u
    assert abs(study.ambient_per_s - 5e-4) < 2 * study.ambient_per_s_u
    assert study.scatter_stops == pytest.approx(0.02, rel=0.5)


def test_quoted_uncertainty_agrees_with_repeated_draws() -> None:
    off = []
    for seed in range(60):
        study = study_of(popped(COUNTS, scatter=0.02, ambient=5e-4, seed=seed))
        assert study.per_pop_signal is not None
        assert study.per_pop_u is not None
        off.append((study.per_pop_signal - POP) / study.per_pop_u)
    assert 0.7 < float(np.std(off)) < 1.3


def test_one_frame_of_each_count() -> None:
    study = study_of(popped([1, 2, 4, 8]))
    assert told(study) == [0, 0, 0, 0]
    assert study.linearity_stops == pytest.approx(0, abs=1e-9)
    assert study.ambient_per_s == pytest.approx(0, abs=1e-9)
    assert told(study_of(popped([1, 2, 4, 8], {2: 3})))[2] == -1
    assert counted(study_of(popped([1, 2, 4, 8], {3: 7})))[3] == 7


def test_no_pop_fired_at_all() -> None:
    study = study_of(popped([2, 2, 4, 4, 8, 8], {3: 0}, scatter=0.01, ambient=1e-4))
    assert counted(study) == [2, 2, 4, 0, 8, 8]
    assert study.frames[3].off == -4


def test_ambient_light_grows_with_the_open_time() -> None:
    times = [2.0, 4.0, 16.0, 8.0, 2.0, 20.0]
    frames = popped([1, 2, 4, 8, 4, 2], open_s=times, ambient=1e-3, scatter=0.005)
    study = study_of(frames)
    assert told(study) == [0] * 6
    assert study.ambient_per_s == pytest.approx(1e-3, rel=0.05)


def test_ambient_light_that_cannot_be_told_from_pops() -> None:
    """A shutter that is open for as long as there are pops: both grow alike."""
    study = study_of(popped(COUNTS, open_s=[2.0 * n for n in COUNTS], scatter=0.01))
    assert study.ambient_per_s is None
    assert any("cannot be told from the pops" in note for note in study.notes)
    dark = study_of(
        popped([0, *COUNTS], open_s=[16.0, *(2.0 * n for n in COUNTS)], ambient=1e-4, scatter=0.01)
    )
    assert dark.ambient_per_s == pytest.approx(1e-4, rel=0.1)
    assert counted(dark) == [0, *COUNTS]


def test_open_times_that_are_not_known() -> None:
    study = study_of(popped(COUNTS, open_s=[None] * 12, ambient=5e-4, scatter=0.01))
    assert study.ambient_per_s is None
    assert study.ambient_signal == pytest.approx(5e-4 * OPEN_S, rel=0.2)
    assert any("no open time" in note for note in study.notes)


def test_two_frames_of_two_counts_tell_nothing() -> None:
    """Any two counts are explained by some ambient light and some light per pop."""
    study = study_of(popped([1, 2]))
    assert [one.tellable for one in study.frames] == [False, False]
    assert counted(study) == [1, 2]


def test_later_pops_that_sag() -> None:
    study = study_of(popped(COUNTS, sag=0.02, scatter=0.01))
    assert study.adding == "bends"
    assert told(study) == [0] * 12
    assert study.sag_share == pytest.approx(0.02, abs=0.006)
    assert study.linearity_stops is not None
    assert study.linearity_stops < -0.03
    assert study_of(popped(COUNTS, scatter=0.01)).sag_share is None


def test_a_first_pop_that_lags() -> None:
    """Check-values 6.3: the first pop 0.3 stop down is 0.0694 stop of 4, 0.0343 of 8."""
    four, eight = (popped([n], first_stops=-0.3)[0].signal for n in (4, 8))
    assert four is not None
    assert eight is not None
    assert math.log2(four / (4 * POP)) == pytest.approx(-0.0694, abs=5e-5)
    assert math.log2(eight / (8 * POP)) == pytest.approx(-0.0343, abs=5e-5)
    study = study_of(popped(COUNTS, first_stops=-0.3, scatter=0.01))
    assert told(study) == [0] * 12
    assert study.first_pop_stops == pytest.approx(-0.3, abs=0.05)
    assert study.per_pop_signal == pytest.approx(POP, rel=0.02)


@pytest.mark.parametrize("expected", [None, POP, POP * 1.6])
def test_a_camera_that_averages(expected: float | None) -> None:
    frames = popped([1, 2, 4, 8], dict.fromkeys(range(4), 1), scatter=0.02)
    study = study_of(frames, expected)
    assert study.adding == "averages"
    assert counted(study) == [None] * 4
    assert not any(one.tellable for one in study.frames)
    assert study.per_pop_signal == pytest.approx(POP, rel=0.05)


def test_light_that_does_not_grow_and_is_no_flash() -> None:
    """The frame with the flash off, or the meter, tells it from a camera that averages."""
    ambient_only = dict.fromkeys(range(5), 0)
    frames = popped([1, 2, 4, 8, 8], ambient_only, ambient=1e-3)
    assert study_of(frames, 10 * POP).adding == "no-growth"
    dark = PopFrame(frames[0].file, 0, frames[0].signal, 0.0, OPEN_S)
    assert study_of([dark, *frames]).adding == "no-growth"
    averaged = popped([1, 2, 4, 8], dict.fromkeys(range(4), 1))
    assert study_of([replace(dark, signal=1e-5), *averaged]).adding == "averages"


def test_light_that_falls_as_pops_are_added() -> None:
    study = study_of(popped([1, 2, 4, 8], {0: 8, 1: 4, 2: 2, 3: 1}))
    assert study.adding in ("averages", "no-growth")
    assert not any(one.tellable for one in study.frames)


def test_frames_that_could_not_be_measured_are_named_and_left_out() -> None:
    frames = popped(COUNTS, scatter=0.01)
    for at in range(0, 12, 2):
        frames[at] = replace(frames[at], signal=None, problem="there is no such file")
    study = study_of(frames)
    assert counted(study) == [None if at % 2 == 0 else COUNTS[at] for at in range(12)]
    assert study.frames[0].frame.problem == "there is no such file"
    assert study_of([replace(f, signal=None) for f in frames]).adding == "unknown"


def test_rates_to_be_wary_of() -> None:
    assert study_of(popped([4, 8], open_s=[1.0, 60.0])).flicker_per_s == pytest.approx(4)
    assert study_of(popped([4, 8], open_s=[8.0, 60.0])).flicker_per_s is None
    assert study_of(popped([4, 8], open_s=[0.5, 1 / 128])).flicker_per_s == pytest.approx(8)


def test_many_frames_with_many_missing() -> None:
    """Recall and precision of missing pops."""
    rng = np.random.default_rng(4)
    planned = [6] * 150
    fired = {at: 5 for at in range(150) if rng.random() < 0.2}
    study = study_of(popped(planned, fired, scatter=0.03))
    found = {at for at, one in enumerate(study.frames) if one.off}
    assert len(found & set(fired)) >= 0.95 * len(fired)
    assert len(found - set(fired)) <= 0.05 * len(found)
