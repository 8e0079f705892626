"""verify/scene/stretches.py: which frames show the same set."""

from collections.abc import Iterator

import numpy as np
import pytest
from scene_pictures import replaced, shot, wall

from verify.scene.stretches import Shown, stretches_of

ONE, OTHER, THIRD = wall(1), wall(8), wall(9)


def shown(pictures: list[np.ndarray]) -> list[Shown]:
    return [Shown(shot(picture, n)) for n, picture in enumerate(pictures)]


def numbers(frames: list[Shown]) -> list[int | None]:
    return [frame.stretch for frame in stretches_of(frames)]


def test_one_set_is_one_stretch() -> None:
    frames = shown([ONE * 2.0**s for s in (0, 0.1, -0.2, 0.05)])
    found = stretches_of(frames)
    assert [frame.stretch for frame in found] == [0, 0, 0, 0]
    assert [frame.reference for frame in found] == [0, 0, 0, 0]
    assert [frame.begins for frame in found] == [True, False, False, False]
    stops = [frame.change.stops for frame in found if frame.change is not None]
    assert stops == pytest.approx([0, 0.1, -0.2, 0.05], abs=0.005)


def test_another_set_begins_a_stretch_and_the_first_comes_back() -> None:
    frames = shown([ONE, ONE, OTHER, OTHER * 1.2, ONE * 1.1, THIRD])
    found = stretches_of(frames)
    assert [frame.stretch for frame in found] == [0, 0, 1, 1, 0, 2]
    assert [frame.reference for frame in found] == [0, 0, 2, 2, 0, 5]
    assert found[4].change is not None
    assert found[4].change.stops == pytest.approx(np.log2(1.1), abs=0.01)


def test_products_and_missing_light_do_not_begin_one() -> None:
    loss = np.linspace(0, 1.4, ONE.shape[1])
    frames = shown([ONE, replaced(ONE, 0.4), ONE * 2.0**-loss, ONE * 1e-5, ONE])
    assert numbers(frames) == [0, 0, 0, 0, 0]


def test_settings_are_taken_out_against_the_reference() -> None:
    frames = [Shown(shot(ONE, 1), 3.0), Shown(shot(ONE * 2.0, 2), 4.0)]
    change = stretches_of(frames)[1].change
    assert change is not None
    assert change.stops == pytest.approx(0, abs=0.005)


def test_what_could_not_be_read_is_in_no_stretch() -> None:
    frames = [Shown(None), *shown([ONE]), Shown(None), *shown([ONE * 1.1])]
    assert numbers(frames) == [None, 0, None, 0]


def test_a_black_first_frame_is_no_reference() -> None:
    assert numbers(shown([ONE * 1e-6, ONE, ONE * 1.2])) == [None, 0, 0]


def test_frames_of_another_size_are_another_stretch() -> None:
    assert numbers(shown([ONE, wall(1, (600, 400)), ONE])) == [0, 1, 0]


def test_frames_may_come_one_by_one() -> None:
    """Only references are kept."""

    def frames() -> Iterator[Shown]:
        for seed in range(3):
            yield Shown(shot(ONE, seed))

    assert [frame.stretch for frame in stretches_of(frames())] == [0, 0, 0]


def test_no_frames() -> None:
    assert stretches_of([]) == []
