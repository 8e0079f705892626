"""verify/simulate/recording.py: a recording has the durations that it is said to have."""

import numpy as np
import pytest

from verify.simulate.recording import Recorder, decaying_light, recording_csv


def test_light_of_a_flash_that_rises_and_decays() -> None:
    """Check-values 3.3: time constants of 0.1 and 0.5: t.5 0.61361, t.1 1.45706."""
    time = np.linspace(0, 6, 600_001)
    light = decaying_light(time, 0.5 * np.log(10), 0.1)
    assert light.max() == pytest.approx(1, abs=1e-9)
    for level, wanted in ((0.5, 0.61361), (0.1, 1.45706)):
        above = time[light >= level]
        assert above[-1] - above[0] == pytest.approx(wanted, abs=3e-5)


def test_a_recording_is_a_table_with_its_dark_and_its_noise() -> None:
    recorder = Recorder()
    text = recording_csv(recorder, 1 / 700, 4e-5, 0.9, np.random.default_rng(1))
    head, *rows = text.splitlines()
    assert head == "time (ms),light (V)"
    time, volts = np.array([row.split(",") for row in rows], float).T
    assert np.diff(time) == pytest.approx(1e3 * recorder.step_s, abs=2e-3)
    dark = volts[time < 0]
    assert dark.mean() == pytest.approx(recorder.dark_v, abs=0.003)
    assert dark.std() == pytest.approx(recorder.noise_v, rel=0.35)
    assert volts.max() == pytest.approx(recorder.dark_v + 0.9, abs=0.03)
    assert text == recording_csv(recorder, 1 / 700, 4e-5, 0.9, np.random.default_rng(1))
