"""greyproof check with kept offsets: which one is used, what is said of it, and bad stores."""

from dataclasses import replace
from pathlib import Path
from typing import Any
from unittest import mock

import pytest
from calibration_studio import CAMERA, METERED, NEAR, OFF, Capture, Studio, check, refused, rests
from commands import Ran, listing, run
from saved_offsets import studio
from small_shoots import BODY

from verify.cli import offset_store
from verify.offsets.records import SavedOffset
from verify.offsets.store import OffsetStore
from verify.warnings import WARNINGS

FITS = {
    "meter": "bench meter",
    "card": "studio card",
    "make": BODY.make,
    "model": BODY.model,
    "serial": BODY.serial,
    "lens": BODY.lens,
    "iso": (100.0, 200.0),
    "aperture": (8.0, 16.0),
}
NOT_A_STORE = b"somebody's own file, and no store " * 10


def fitting(name: str = "bench", belongs: dict[str, Any] | None = None) -> SavedOffset:
    """An offset that belongs to the frames of these tests, but for what is said otherwise."""
    figures = {"stops": OFF, "interval_stops": (OFF - 0.1, OFF + 0.1)}
    return studio(name, {**FITS, **(belongs or {})}, **figures)


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Studio:
    """Frames and plans; no test may change them."""
    made = Studio(tmp_path_factory.mktemp("bench"))
    made.make("good.dng", camera=CAMERA)
    made.make("body.dng", camera=replace(CAMERA, serial="0099"))
    made.make("model.dng", camera=replace(CAMERA, model="TW-9"))
    made.make("lens.dng", camera=replace(CAMERA, lens="Tarnwick 55 mm f/2.8"))
    made.make("iso.dng", -2.0, camera=CAMERA, iso=400.0)
    made.make("aperture.dng", camera=CAMERA, f_number=22.0)
    made.planned("other_meter.toml", METERED.replace("bench meter", "second meter"))
    made.planned("dome.toml", METERED + 'receptor = "dome"\naimed = "camera"\n')
    made.planned("nameless.toml", METERED.replace('meter = "bench meter"\n', ""))
    card = made.plan.read_text(encoding="utf-8").replace("studio card", "travel card")
    (made.folder / "other_card.toml").write_text(card, encoding="utf-8")
    return made


@pytest.fixture
def store(tmp_path: Path) -> OffsetStore:
    return OffsetStore(tmp_path / "kept.sqlite3")


def checked(
    capsys: Capture,
    bench: Studio,
    store: OffsetStore,
    *more: str,
    plan: str = "plan.toml",
    frame: str = "good.dng",
) -> dict[str, Any]:
    """The one frame of a check."""
    ran = check(capsys, bench.folder / plan, bench.folder / frame, "--store", store.path, *more)
    (found,) = ran.report["frames"]
    return dict(found)


def test_the_one_that_fits_is_used_and_named(
    bench: Studio, store: OffsetStore, capsys: Capture
) -> None:
    store.save_all((fitting(), fitting("travel", {"card": "travel card"})))
    frame = checked(capsys, bench, store)
    assert (frame["offset"], frame["offset_stops"]) == ("bench", OFF)
    assert frame["rest_stops"] == pytest.approx(0, abs=NEAR)
    assert "card" not in frame["budget"]
    assert frame["budget"]["offset"] == 0.04
    assert not {name for name in frame["warnings"] if "offset" in name}
    words = run(capsys, "check", bench.plan, bench.folder / "good.dng", "--store", store.path)
    assert 'offset "bench": −0.37 stop' in words.out


@pytest.mark.parametrize(
    ("plan", "frame", "differs"),
    [
        ("plan.toml", "body.dng", 'camera differs (fitted with "Tarnwick TW-14 0047", here '),
        ("plan.toml", "model.dng", 'camera differs (fitted with "Tarnwick TW-14 0047", here '),
        ("plan.toml", "lens.dng", 'lens differs (fitted with "Tarnwick 90 mm f/4 Copy", here '),
        ("other_meter.toml", "good.dng", 'meter differs (fitted with "bench meter", here "second'),
        ("nameless.toml", "good.dng", 'meter differs (fitted with "bench meter", here an unknown'),
        (
            "dome.toml",
            "good.dng",
            'receptor differs (fitted with "flat", here "dome"), the aim',
        ),
        ("other_card.toml", "good.dng", 'card differs (fitted with "studio card", here "travel'),
    ],
)
def test_none_fits_and_it_says_why(
    bench: Studio, store: OffsetStore, capsys: Capture, plan: str, frame: str, differs: str
) -> None:
    store.save(fitting())
    found = checked(capsys, bench, store, plan=plan, frame=frame)
    assert found["offset"] is found["offset_stops"] is None
    assert "no-offset" in found["warnings"]
    (note,) = [note for note in found["notes"] if "offset" in note]
    assert note.startswith('no saved offset fits: of the nearest, "bench", the ')
    assert differs in note
    words = run(capsys, "check", bench.folder / plan, bench.folder / frame, "--store", store.path)
    assert note in words.out


def test_two_fit_and_neither_is_used_until_one_is_named(
    bench: Studio, store: OffsetStore, capsys: Capture
) -> None:
    store.save_all((fitting(), fitting("later")))
    frame = checked(capsys, bench, store)
    assert frame["offset"] is None
    told = 'no offset is used: 2 fit, "bench" and "later"; say which with --offset NAME'
    assert told in frame["notes"]
    assert checked(capsys, bench, store, "--offset", "later")["offset"] == "later"


def test_none_is_kept(bench: Studio, store: OffsetStore, capsys: Capture) -> None:
    frame = checked(capsys, bench, store)
    assert "no offset is used: none is saved" in frame["notes"]
    assert "no-offset" in frame["warnings"]
    assert not store.path.exists()


@pytest.mark.parametrize(
    ("plan", "frame", "warning"),
    [
        ("plan.toml", "body.dng", "offset-other-body"),
        ("plan.toml", "model.dng", "offset-other-body"),
        ("plan.toml", "lens.dng", "offset-other-lens"),
        ("other_meter.toml", "good.dng", "offset-other-meter"),
        ("dome.toml", "good.dng", "offset-other-meter"),
        ("other_card.toml", "good.dng", "offset-other-card"),
        ("plan.toml", "iso.dng", "offset-out-of-range"),
        ("plan.toml", "aperture.dng", "offset-out-of-range"),
    ],
)
def test_one_that_is_named_is_used_anywhere_with_a_warning(
    bench: Studio, store: OffsetStore, capsys: Capture, plan: str, frame: str, warning: str
) -> None:
    store.save_all((fitting(), fitting("later")))
    found = checked(capsys, bench, store, "--offset", "bench", plan=plan, frame=frame)
    assert found["offset"] == "bench"
    assert [name for name in found["warnings"] if "offset" in name] == [warning]
    assert ("card" in found["budget"]) == (warning == "offset-other-card")
    words = run(
        capsys, "check", bench.folder / plan, bench.folder / frame, "--store", store.path,
        "--offset", "bench",
    )  # fmt: skip
    assert WARNINGS[warning] in words.out


@pytest.mark.parametrize("frame", ["iso.dng", "aperture.dng"])
def test_one_that_fits_by_itself_is_warned_of_out_of_its_range(
    bench: Studio, store: OffsetStore, capsys: Capture, frame: str
) -> None:
    store.save(fitting())
    found = checked(capsys, bench, store, frame=frame)
    assert found["offset"] == "bench"
    assert "offset-out-of-range" in found["warnings"]
    assert "offset-out-of-range" not in checked(capsys, bench, store)["warnings"]


@pytest.mark.parametrize(
    ("kept", "name", "says"),
    [
        ((), "bench", 'no offset "bench" is saved: none is saved yet'),
        (("bench",), "bnech", 'no offset "bnech" is saved (did you mean "bench"?)'),
        (("bench",), "zzz", 'no offset "zzz" is saved: there is "bench"'),
    ],
)
def test_a_name_that_is_not_kept_is_refused_before_anything_is_measured(
    bench: Studio,
    store: OffsetStore,
    capsys: Capture,
    kept: tuple[str, ...],
    name: str,
    says: str,
) -> None:
    for one in kept:
        store.save(fitting(one))
    words = ("--store", store.path, "--offset", name, "--quiet")
    with mock.patch("verify.cli.check.run") as measured:
        ran = run(capsys, "check", bench.plan, bench.folder / "good.dng", *words)
    assert refused(ran) == says
    measured.assert_not_called()


@pytest.fixture
def damaged(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The user's own store, which is none any more."""
    path = tmp_path / "data" / "offsets.sqlite3"
    path.parent.mkdir()
    path.write_bytes(NOT_A_STORE)
    monkeypatch.setattr(offset_store, "default_store", lambda: path)
    return path


def test_a_damaged_store_that_nobody_named_stops_no_check_and_is_told(
    bench: Studio, damaged: Path, capsys: Capture
) -> None:
    before = listing(damaged.parent)
    ran = check(capsys, bench.plan, bench.folder / "good.dng")
    assert ran.status == 0
    assert rests(ran) == pytest.approx([OFF], abs=NEAR)
    (line,) = [line for line in ran.err.splitlines() if line.startswith("greyproof: ")]
    assert line.startswith(f"greyproof: {damaged}: this is no store of offsets")
    assert listing(damaged.parent) == before


def test_a_damaged_store_is_refused_where_an_offset_or_a_store_is_named(
    bench: Studio, damaged: Path, capsys: Capture
) -> None:
    before = listing(damaged.parent)
    frame = bench.folder / "good.dng"
    runs: list[Ran] = [
        run(capsys, "check", bench.plan, frame, "--quiet", "--offset", "bench"),
        run(capsys, "check", bench.plan, frame, "--quiet", "--store", damaged),
        run(capsys, "calibrate", bench.plan, frame, "--save", "bench"),
        run(capsys, "calibrate", bench.plan, frame, "--save", "bench", "--replace"),
        run(capsys, "offsets"),
    ]
    for ran in runs:
        assert refused(ran).startswith(f"{damaged}: this is no store of offsets")
    assert listing(damaged.parent) == before


def test_the_users_own_store_is_used_where_none_is_named(
    bench: Studio, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Capture
) -> None:
    path = tmp_path / "deep" / "data" / "offsets.sqlite3"
    monkeypatch.setattr(offset_store, "default_store", lambda: path)
    frame = bench.folder / "good.dng"
    assert run(capsys, "calibrate", bench.plan, frame, "--save", "own").status == 0
    (found,) = check(capsys, bench.plan, frame).report["frames"]
    assert found["offset"] == "own"
    assert found["rest_stops"] == pytest.approx(0, abs=NEAR)
