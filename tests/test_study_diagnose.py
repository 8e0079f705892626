"""scripts/study_diagnose.py: a small run of it, and that what is not reached fails it."""

from argparse import Namespace
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
import pytest
import study_diagnose
from simulated_shoots import LEAST, LEAST_SINGLE, PAIRS, SINGLES, TOLERANCE, drawn, long_shoot
from study_diagnose import Tried, shoots

from verify.diagnose.diagnosis import diagnose
from verify.diagnose.records import Diagnosis, Seen

Capture = pytest.CaptureFixture[str]

SMALL = Namespace(shoots=25, seed=11, verbose=False, frames=400)


@pytest.fixture(scope="module")
def tried() -> list[Tried]:
    return study_diagnose.tried(SMALL.shoots, SMALL.seed)


def test_causes_are_told(tried: list[Tried]) -> None:
    singles = [t for t in tried if len(t.truth.causes) == 1]
    pairs = [t for t in tried if len(t.truth.causes) == 2]
    steady = [t for t in tried if not t.truth.causes]
    # of ten, ten and five: one may go wrong where 95 % are wanted, two where 85 % are
    assert sum(t.causes[0] == t.truth.causes[0] for t in singles) >= 9
    assert sum(set(t.truth.causes) <= set(t.causes[:3]) for t in pairs) >= 8
    assert sum(t.causes == ["steady"] for t in steady) >= 4


def test_every_cause_and_pair_gets_its_turn() -> None:
    drawn_causes = [causes for _, causes in shoots(400)]
    assert {c for c in drawn_causes if len(c) == 1} == {(name,) for name in SINGLES}
    assert {c for c in drawn_causes if len(c) == 2} == set(PAIRS)
    assert drawn_causes.count(()) == 80


def test_a_shoot_shows_what_is_true_of_it() -> None:
    for number in range(8):
        rng = np.random.default_rng([3, number])
        frames, truth = drawn(rng, ("lamp-missing",))
        light = np.array([frame.rest_stops for frame in frames])
        lost = sorted(truth.lost)
        drop = np.median(light) - light[lost].mean()
        # by 6 times the scatter, less what the mean of few and the median may be off
        assert drop > max(LEAST, LEAST_SINGLE * truth.scatter) - 3 * truth.scatter
        assert all(frame.gap_s is None or frame.gap_s > 0 for frame in frames)


def spoilt(change: Callable[[Diagnosis], Diagnosis]) -> Callable[..., Diagnosis]:
    """A judge whose findings are changed before anybody sees them."""

    def judge(frames: Sequence[Seen], tolerance: float) -> Diagnosis:
        return change(diagnose(frames, tolerance))

    return judge


def last_first(said: Diagnosis) -> Diagnosis:
    """Blame something else before all else."""
    wrong = replace(said.findings[0], cause="lens", frames=())
    return replace(said, findings=(wrong, *(f for f in said.findings if f.cause != "steady")))


def none_lost(said: Diagnosis) -> Diagnosis:
    """Every frame is said to have lost a lamp."""
    every = tuple(frame.file for frame in said.frames)
    findings = tuple(
        replace(f, frames=every) if f.cause in ("lamp-missing", "pop-missing") else f
        for f in said.findings
    )
    return replace(said, findings=findings)


def late(said: Diagnosis) -> Diagnosis:
    """Steps begin three frames late, and gaps are too long."""
    names = [str(frame.file) for frame in said.frames]
    findings = []
    for finding in said.findings:
        detail = dict(finding.detail)
        if finding.cause == "step":
            at = names.index(detail["begins"]) + 3
            detail["begins"] = names[min(at, len(names) - 1)]
        if finding.cause == "recycle":
            detail["shortest_gap_s"] *= 1.3
        findings.append(replace(finding, detail=detail))
    return replace(said, findings=tuple(findings))


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (last_first, "main cause first"),
        (last_first, "steady called steady"),
        (none_lost, "frames found that are lost ones"),
        (late, "step placed within one frame"),
        (late, "shortest gap within 20%, large losses"),
    ],
)
def test_a_broken_judge_does_not_reach_what_is_wanted(
    tried: list[Tried],
    monkeypatch: pytest.MonkeyPatch,
    capsys: Capture,
    change: Callable[[Diagnosis], Diagnosis],
    says: str,
) -> None:
    spoilt_ones = [replace(one, said=change(one.said)) for one in tried]
    monkeypatch.setattr(study_diagnose, "tried", lambda *_: spoilt_ones)
    assert not study_diagnose.causes_part(SMALL)
    line = next(x for x in capsys.readouterr().out.splitlines() if f"{says}: " in x)
    assert line.endswith("NOT reached")


def test_the_judge_is_the_one_that_is_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(study_diagnose, "diagnose", spoilt(last_first))
    assert study_diagnose.tried(1, 1)[0].causes[0] == "lens"


def test_many_frames_are_judged_as_few_are() -> None:
    said = diagnose(long_shoot(np.random.default_rng(1), 600), TOLERANCE)
    assert {"recycle", "drift", "step", "lamp-missing"} <= {f.cause for f in said.findings}


def test_one_part_alone_and_its_exit_status(
    monkeypatch: pytest.MonkeyPatch, capsys: Capture
) -> None:
    monkeypatch.setitem(study_diagnose.PARTS, "causes", lambda _: False)
    monkeypatch.setitem(study_diagnose.PARTS, "time", lambda _: True)
    assert study_diagnose.main(["--part", "time", "--shoots", "1"]) == 0
    assert study_diagnose.main(["--part", "causes", "--shoots", "1"]) == 1
    assert capsys.readouterr().out.splitlines()[-1] == "not all that is wanted is reached"
