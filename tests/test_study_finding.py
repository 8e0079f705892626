"""scripts/study_finding.py: it tells right from wrong, and what is not reached fails it."""

import math
from pathlib import Path

import pytest
import study_finding
from study_finding import Tried, apart, judged, judged_sequences

from verify.compare import FrameCheck, Verdict
from verify.frames.geometry import Box
from verify.simulate.pictures.photograph import CardTruth, photograph
from verify.simulate.pictures.sets import Kind
from verify.target.records import Target

CORNERS = ((10.0, 20.0), (110.0, 20.0), (110.0, 100.0), (10.0, 100.0))
ELSEWHERE = tuple((c + 200, r) for c, r in CORNERS)
CARD, OTHER = (CardTruth(corners, 0.5, 0.0, 0.0, 0.0) for corners in (CORNERS, ELSEWHERE))


def frame(
    cards: tuple[CardTruth, ...],
    verdict: Verdict,
    error: float | None,
    warnings: tuple[str, ...] = (),
    seen: tuple[tuple[tuple[float, float], ...], ...] = (),
) -> Tried:
    sightings = tuple(Target(Box(0, 0, 9, 9), corners, "shape") for corners in seen)
    check = FrameCheck(
        Path("frame.dng"),
        "main",
        None,
        error_stops=error,
        verdict=verdict,
        warnings=warnings,
        sightings=sightings,
    )
    return Tried("frame", cards, ("hand",), check)


RIGHT = frame((CARD,), "over", 0.529)
WRONG = frame((CARD,), "over", 0.531)
DOUBTED = frame((CARD,), "card-doubtful", 0.9)
NO_CARD = frame((CARD,), "no-card", None)
BOTH = frame((CARD, OTHER), "card-doubtful", 0.5, ("several-cards",), (CORNERS, ELSEWHERE))
ONE = frame((CARD, OTHER), "card-doubtful", 0.5, ("several-cards",), (CORNERS,))
COLOURED = frame((CARD,), "no-card", None, ("coloured-light",))


def test_a_frame_is_right_within_three_hundredths_of_a_stop() -> None:
    assert (RIGHT.right, WRONG.right, DOUBTED.right, NO_CARD.right) == (True, False, False, False)
    assert (RIGHT.open, WRONG.open, DOUBTED.open, NO_CARD.open) == (False, False, True, True)
    assert (BOTH.offered, ONE.offered) == (True, False)
    assert not frame((), "within", 0.0).right


def test_corners_are_compared_however_they_are_numbered() -> None:
    for turn in range(4):
        turned = (*CORNERS[turn:], *CORNERS[:turn])
        assert apart(CARD, turned) == 0
        assert apart(CARD, turned[::-1]) == 0
    off = (*CORNERS[:3], (10.0, 108.0))
    assert apart(CARD, off) == pytest.approx(8 / 80)
    assert apart(CARD, CORNERS[:3]) == math.inf


@pytest.mark.parametrize(
    ("kind", "good", "bad"),
    [
        ("card", RIGHT, DOUBTED),
        ("card", RIGHT, WRONG),
        ("no-card", frame((), "no-card", None), frame((), "within", 0.0)),
        ("two-cards", BOTH, ONE),
        ("two-cards", BOTH, frame((CARD, OTHER), "over", 0.5, (), (CORNERS, ELSEWHERE))),
        ("coloured", COLOURED, NO_CARD),
        ("coloured", COLOURED, frame((CARD,), "over", 0.5, ("coloured-light",))),
    ],
)
def test_what_is_not_reached_fails(
    kind: Kind, good: Tried, bad: Tried, capsys: pytest.CaptureFixture[str]
) -> None:
    assert judged(kind, [good] * 5)
    assert not judged(kind, [good] * 5 + [bad])
    printed = capsys.readouterr().out
    assert f"{kind}: 6 pictures" in printed
    assert study_finding.describe(bad) in printed


def test_a_few_doubts_are_allowed_and_no_quiet_error() -> None:
    assert judged("card", [RIGHT] * 97 + [DOUBTED] * 3)
    assert not judged("card", [RIGHT] * 99 + [WRONG])
    assert judged_sequences([RIGHT] * 30 + [frame((), "no-card", None)] * 5)
    assert not judged_sequences([RIGHT] * 99 + [frame((), "over", 0.5)])


def test_a_picture_goes_through_the_main_path(tmp_path: Path) -> None:
    keep = tmp_path / "keep"
    keep.mkdir()
    shots = [photograph("card", 5, 0, (300, 200))]
    (one,) = study_finding.tried(tmp_path, "card_0000", shots, keep)
    assert one.cards == shots[0].cards
    assert one.check.verdict != "unreadable"
    assert [path.name for path in keep.iterdir()] == ["card_0000.0.jpg"]
    assert not list(tmp_path.glob("*.dng"))
