"""Neutral patches measured: each in its own box, held against the reflectances that are known."""

import math

import numpy as np
import pytest
from memory_frames import frame_of

from verify.frames.frame import Frame
from verify.frames.geometry import Box
from verify.linearity import REFLECTANCES
from verify.neutrals import Neutrals, measured_neutrals
from verify.target.patch_boxes import NeutralPatch
from verify.target.records import Target

pytestmark = pytest.mark.filterwarnings("error")

SIDE = 40  # pixels of a patch
NAMES = tuple(REFLECTANCES)
RHO = tuple(REFLECTANCES.values())
DENSITIES = (0.05, 0.35, 0.65, 0.95, 1.25)
STEPS = tuple(10**-d for d in DENSITIES)
EXACT = 1e-9


def boxes(count: int) -> list[Box]:
    """Boxes in the middles of patches side by side."""
    return [Box(n * SIDE + 8, 8, SIDE - 16, SIDE - 16) for n in range(count)]


def patches(*names: str) -> tuple[NeutralPatch, ...]:
    """Patches side by side, the lightest first."""
    return tuple(
        NeutralPatch(name, box, box.corners())
        for name, box in zip(names, boxes(len(names)), strict=True)
    )


def wedge(count: int) -> tuple[NeutralPatch, ...]:
    """Steps side by side, the lightest first."""
    return patches(*(f"step {n + 1}" for n in range(count)))


def frame_with(signals: tuple[float, ...], noise: float = 0.0) -> Frame:
    """A frame of patches side by side."""
    row = np.repeat(np.array(signals), SIDE)
    picture = np.tile(row, (SIDE, 1))
    grain = np.random.default_rng(1).standard_normal(picture.shape)
    return frame_of(np.minimum(picture + noise * grain, 1.0), pattern=None)


def measured(
    signals: tuple[float, ...],
    found: tuple[NeutralPatch, ...],
    densities: tuple[float, ...] = (),
    flat: Frame | None = None,
    noise: float = 0.0,
) -> Neutrals:
    """The patches of a frame, which are there."""
    neutrals = measured_neutrals(frame_with(signals, noise), found, densities, flat)
    assert neutrals is not None
    return neutrals


def test_without_patches_there_is_nothing() -> None:
    assert measured_neutrals(frame_with((0.1,)), (), (), None) is None
    assert measured_neutrals(frame_with((0.1,)), (), DENSITIES, None) is None


@pytest.mark.parametrize("level", [0.9, 0.2, 0.02])
def test_a_chart_by_its_published_reflectances(level: float) -> None:
    neutrals = measured(tuple(level * r for r in RHO), patches(*NAMES))
    assert [p.name for p in neutrals.patches] == list(NAMES)
    assert [p.reflectance for p in neutrals.patches] == list(RHO)
    signals = [p.reading.signal for p in neutrals.patches]
    assert signals == pytest.approx([level * r for r in RHO])
    assert [p.reading.target.box for p in neutrals.patches] == boxes(6)
    assert {p.reading.target.found_by for p in neutrals.patches} == {"chart"}
    line = neutrals.linearity
    assert line is not None
    assert line.slope == pytest.approx(1, abs=EXACT)
    assert (line.bent, line.steps_known) == (False, True)
    assert line.offset_stops == pytest.approx(math.log2(level), abs=EXACT)


@pytest.mark.parametrize("gamma", [0.8, 1.25])
def test_a_chart_in_a_file_that_is_not_linear(gamma: float) -> None:
    line = measured(tuple(0.8 * r**gamma for r in RHO), patches(*NAMES)).linearity
    assert line is not None
    assert line.bent
    assert line.slope == pytest.approx(gamma, abs=0.01)


def test_stray_light_on_a_chart() -> None:
    line = measured(tuple(0.8 * (r + 0.02 * RHO[0]) for r in RHO), patches(*NAMES)).linearity
    assert line is not None
    assert line.cause == "flare"
    assert line.flare_share == pytest.approx(0.02, abs=0.002)


def test_a_patch_that_is_clipped_is_shown_and_left_out() -> None:
    """Overexposed by two thirds of a stop: white is clipped, the others still follow."""
    neutrals = measured(tuple(1.6 * r for r in RHO), patches(*NAMES))
    assert neutrals.patches[0].reading.bound == "at-least"
    line = neutrals.linearity
    assert line is not None
    assert line.residual_stops[0] is None
    assert all(r is not None for r in line.residual_stops[1:])
    assert line.slope == pytest.approx(1, abs=EXACT)
    assert not line.bent


def test_a_patch_at_black_is_left_out() -> None:
    neutrals = measured((*(0.8 * r for r in RHO[:5]), 0.0), patches(*NAMES), noise=0.001)
    assert neutrals.patches[-1].reading.bound == "at-most"
    line = neutrals.linearity
    assert line is not None
    assert line.residual_stops[-1] is None
    assert not line.bent


def test_a_wedge_by_the_plan_s_densities() -> None:
    neutrals = measured(tuple(0.7 * s for s in STEPS), wedge(5), DENSITIES)
    assert [p.reflectance for p in neutrals.patches] == pytest.approx(STEPS)
    line = neutrals.linearity
    assert line is not None
    assert line.slope == pytest.approx(1, abs=EXACT)
    assert line.steps_known


@pytest.mark.parametrize("densities", [(), DENSITIES[:4], (*DENSITIES, 1.55)])
def test_a_wedge_of_unknown_densities(densities: tuple[float, ...]) -> None:
    """None given, or not as many as there are steps: its steps are taken as equal."""
    neutrals = measured(tuple(0.7 * s for s in STEPS), wedge(5), densities)
    assert [p.reflectance for p in neutrals.patches] == [None] * 5
    line = neutrals.linearity
    assert line is not None
    assert (line.steps_known, line.bent) == (False, False)


def test_densities_are_not_for_a_chart() -> None:
    neutrals = measured(tuple(0.8 * r for r in RHO), patches(*NAMES), (*DENSITIES, 1.55))
    assert [p.reflectance for p in neutrals.patches] == list(RHO)


@pytest.mark.parametrize("signals", [(1.0,) * 5, (0.0,) * 5])
@pytest.mark.parametrize("densities", [DENSITIES, ()])
def test_nothing_follows_from_patches_that_are_all_clipped_or_black(
    signals: tuple[float, ...], densities: tuple[float, ...]
) -> None:
    neutrals = measured(signals, wedge(5), densities)
    assert len(neutrals.patches) == 5
    assert neutrals.linearity is None


def test_too_few_patches_say_nothing_of_linearity() -> None:
    neutrals = measured(tuple(0.8 * r for r in RHO[:3]), patches(*NAMES[:3]))
    assert neutrals.linearity is None
    assert [p.reflectance for p in neutrals.patches] == list(RHO[:3])


def test_noise_is_in_the_uncertainty_of_the_slope() -> None:
    signals = tuple(0.05 * r for r in RHO)
    calm, noisy = (measured(signals, patches(*NAMES), noise=n).linearity for n in (1e-5, 2e-3))
    assert calm is not None
    assert noisy is not None
    assert noisy.u_slope > calm.u_slope
    assert noisy.slope == pytest.approx(1, abs=4 * noisy.u_slope)


def test_a_flat_frame_takes_out_the_falloff() -> None:
    """Light that loses a stop from the first patch to the last, and a flat frame that shows it."""
    fall = np.exp2(-np.linspace(0, 1, 6 * SIDE))
    row = np.repeat(0.8 * np.array(RHO), SIDE)
    picture = frame_of(np.tile(row * fall, (SIDE, 1)), pattern=None)
    flat = frame_of(np.tile(0.5 * fall, (SIDE, 1)), pattern=None)
    bent, straight = (measured_neutrals(picture, patches(*NAMES), (), f) for f in (None, flat))
    assert bent is not None
    assert bent.linearity is not None
    assert bent.linearity.bent
    assert straight is not None
    assert straight.linearity is not None
    assert not straight.linearity.bent
    assert straight.linearity.slope == pytest.approx(1, abs=0.002)


def test_the_reflectance_of_the_patch_that_stands_for_the_card() -> None:
    neutrals = measured(tuple(0.8 * r for r in RHO), patches(*NAMES))
    for patch, rho in zip(neutrals.patches, RHO, strict=True):
        assert neutrals.reflectance_at(patch.reading.target) == rho
    box = Box(0, 0, 9, 9)
    assert neutrals.reflectance_at(Target(box, box.corners(), "chart")) is None
    unknown = measured(tuple(0.7 * s for s in STEPS), wedge(5))
    assert unknown.reflectance_at(unknown.patches[2].reading.target) is None
