"""scripts/fuzz.py: a small run, replays, and that each thing it looks for is found."""

import json
import os
import struct
import sys
import tomllib
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from random import Random
from typing import Any

import fuzz
import pytest
from fuzz_makers import Deadly
from fuzzing.cases import GENTLE, KINDS, Case, Maker
from fuzzing.inputs import CARD, Input, real_inputs
from fuzzing.oracle import Measured, Oracle, Outcome, measured
from fuzzing.patient import Patient
from fuzzing.plans import HOSTILE_TEXT, PLANS, mutated_plan, toml_of
from fuzzing.raw_bytes import BYTES
from fuzzing.runs import Runner, Told, run_here
from fuzzing.same_meaning import SAME
from fuzzing.structure import (
    Structure,
    free_in_raw,
    free_of_meaning,
    meaning_of,
    structure_of,
    unclear_meaning,
    with_text,
)

from verify.cli import check
from verify.frames import open as opening
from verify.workers import Lost

SMALL_RUN = 70  # cases: a second or two


@pytest.fixture(scope="module")
def maker(tmp_path_factory: pytest.TempPathFactory) -> Maker:
    return fuzz.maker_of(1, tmp_path_factory.mktemp("fuzz") / "inputs")


def input_of(maker: Maker, name: str) -> Input:
    return next(one for one in maker.inputs if one.name == name)


def test_a_small_run_finds_nothing(maker: Maker, tmp_path: Path) -> None:
    runner = Runner(maker, tmp_path)
    told = [runner(number) for number in range(SMALL_RUN)]
    assert {one.what: one.faults for one in told if one.faults} == {}
    assert {one.kind for one in told if one.kind} == set(KINDS)
    assert {one.status for one in told} == {0, 2, 3}
    assert sum(one.compared for one in told) > 10
    assert list(tmp_path.iterdir()) == []  # no run took long


def test_the_command_of_the_script(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sys, "argv", ["fuzz.py", "--cases", "3"])
    assert fuzz.main() == 0
    *_, compared, faults = capsys.readouterr().out.splitlines()
    assert compared.startswith("signal held against that of the undamaged file: ")
    assert faults == "cases with faults: 0"


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no such signal")
def test_a_case_that_takes_its_process_down_is_told_of(
    maker: Maker, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(fuzz, "PATIENCE_S", 2.0)
    monkeypatch.setattr(fuzz, "run_as_command", run_here)
    deadly = Deadly(1, maker.inputs, [])
    told = list(fuzz.run_all(deadly, range(1, 4), 1, tmp_path))
    assert [one.number for one in told] == [1, 2, 3]
    assert [one.kind for one in told[:2]] == ["died", "lost"]
    assert told[0].faults == told[2].faults == ()  # the command bore it
    assert "lost: took longer than 2 s" in told[1].faults[0]


def test_a_death_that_the_command_does_not_bear_is_a_fault(
    maker: Maker, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def crashed(case: Case, place: Path) -> Outcome:
        return replace(run_here(case, place), status=-11)

    monkeypatch.setattr(fuzz, "run_as_command", crashed)
    told = fuzz.lost(maker, 1, Lost("its decoder died (signal 11)"), tmp_path / "none")
    assert (told.kind, told.faults) == ("died", ("exit status -11",))


def files_of(maker: Maker, number: int, folder: Path) -> dict[str, bytes]:
    folder.mkdir()
    maker.case(number, folder)
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file() and path.stat().st_size < 10**8
    }


def test_a_case_follows_from_the_seed_and_its_number(maker: Maker, tmp_path: Path) -> None:
    other = replace(maker, seed=2)
    differing = 0
    for number in range(20):
        first = files_of(maker, number, tmp_path / f"a{number}")
        assert files_of(maker, number, tmp_path / f"b{number}") == first
        differing += files_of(other, number, tmp_path / f"c{number}") != first
    assert differing > 15


def test_without_the_real_files_the_other_cases_are_the_same(maker: Maker, tmp_path: Path) -> None:
    gone = [replace(one, path=tmp_path / "nowhere" / one.name) for one in real_inputs()]
    alone = replace(maker, real=gone)
    missing = 0
    for number in range(40):
        mine = files_of(alone, number, tmp_path / f"a{number}")
        missing += not mine
        assert mine in ({}, files_of(maker, number, tmp_path / f"b{number}"))
    assert 0 < missing < 20


def test_a_fault_says_how_to_see_it_again(capsys: pytest.CaptureFixture[str]) -> None:
    told = Told(417, "frame", "a.dng: cut", 3, faults=("a fault",))
    assert fuzz.report([told], 9) == 1
    out = capsys.readouterr().out
    assert "    a fault\n    again: python3 scripts/fuzz.py --seed 9 --case 417\n" in out
    assert out.endswith("cases with faults: 1\n")


# What a run must hold


@pytest.fixture(scope="module")
def turned(maker: Maker) -> Input:
    return input_of(maker, "turned_6.dng")


def case_of(given: Input) -> Case:
    path = given.path
    arguments = ("check", "--reading", "f/11", "--card", given.card, str(path))
    return Case(0, "frame", "as it is", arguments, (path,), given)


@pytest.fixture
def good(turned: Input, tmp_path: Path) -> Outcome:
    return run_here(case_of(turned), tmp_path)


@pytest.fixture
def refused(turned: Input, tmp_path: Path) -> tuple[Case, Outcome]:
    path = tmp_path / "cut.dng"
    path.write_bytes(turned.path.read_bytes()[:9000])
    case = case_of(replace(turned, path=path))
    return case, run_here(case, tmp_path)


def test_good_runs_have_no_faults(
    turned: Input, good: Outcome, refused: tuple[Case, Outcome]
) -> None:
    assert good.status == 0
    assert Oracle().faults(case_of(turned), good, measured(good)) == []
    assert refused[1].status == 3
    assert Oracle().faults(*refused) == []


def reported(outcome: Outcome, change: Callable[[dict[str, Any]], None]) -> Outcome:
    """The outcome with its only frame changed in the report."""
    assert outcome.report is not None
    report = json.loads(outcome.report)
    change(report["frames"][0])
    return replace(outcome, report=json.dumps(report).encode())


BAD: dict[str, tuple[Callable[[Outcome], Outcome], str]] = {
    "a traceback": (
        lambda o: replace(o, err=b"Traceback (most recent call last):\n"), "tells of the inside",
    ),
    "a class of ours": (lambda o: replace(o, out=o.out + b"KeyError: 274\n"), "KeyError"),
    "a library": (lambda o: replace(o, err=b"<tifffile.TiffTag 274> invalid\n"), "tifffile"),
    "no UTF-8": (lambda o: replace(o, err=b"\xff\xfe"), "is not UTF-8"),
    "a colour": (lambda o: replace(o, out=o.out + b"\x1b[31mred\n"), "characters that are not pr"),
    "a long line": (lambda o: replace(o, out=o.out + b"x" * 5000), "has a line of 5000"),
    "much time": (lambda o: replace(o, seconds=11.0), "took 11 s of processor time"),
    "a status of a crash": (lambda o: replace(o, status=-11), "exit status -11"),
    "another status": (lambda o: replace(o, status=1), "exit status 1 with verdicts ['within']"),
    "the command for wrong": (lambda o: replace(o, status=2), "taken for wrong"),
    "no report": (lambda o: replace(o, report=None), "without its reports"),
    "half a report": (lambda o: replace(o, report=(o.report or b"")[:99]), "cannot be read back"),
    "NaN in it": (
        lambda o: replace(o, report=(o.report or b"").replace(b'"u_stops": ', b'"u_stops": NaN,"')),
        "cannot be read back",
    ),
    "a table of less": (
        lambda o: replace(o, table=(o.table or b"").split(b"\n")[0] + b"\n"), "0 rows for 1 frames",
    ),
    "a table of other values": (
        lambda o: replace(o, table=(o.table or b"").replace(b"within", b"without")),
        "CSV has 'without' under verdict",
    ),
    "a key too many": (lambda o: reported(o, lambda f: f.update(more=1)), "schema: "),
    "no signal": (
        lambda o: reported(o, lambda f: f["card"].update(signal=None)), "signal",
    ),
    "a sum that is none": (
        lambda o: reported(o, lambda f: f.update(error_stops=1.0)), "is not settings",
    ),
    "settings without a warning": (
        lambda o: reported(
            o, lambda f: f.update(settings_stops=1.0, error_stops=1.0, rest_stops=0.0)
        ),
        "settings differ by 1.0 stop without a warning",
    ),
    "a problem and a card": (
        lambda o: reported(o, lambda f: f.update(problem="it is empty, so to say")), "schema: ",
    ),
    "another signal": (
        lambda o: reported(o, lambda f: f["card"].update(signal=0.2)), "with the same pixels",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", BAD)
def test_a_bad_run_has_a_fault(name: str, turned: Input, good: Outcome) -> None:
    spoil, says = BAD[name]
    faults = Oracle().faults(case_of(turned), spoil(good), measured(good))
    assert any(says in fault for fault in faults), faults


def test_a_file_that_is_refused_needs_its_one_line(refused: tuple[Case, Outcome]) -> None:
    case, outcome = refused
    twice = replace(outcome, err=outcome.out)
    silent = replace(outcome, out=b"")
    unclear = reported(outcome, lambda f: f.update(problem="cut"))
    assert any("2 lines tell of it" in fault for fault in Oracle().faults(case, twice))
    assert any("0 lines tell of it" in fault for fault in Oracle().faults(case, silent))
    assert any("not one clear line" in fault for fault in Oracle().faults(case, unclear))


def test_another_signal_is_no_fault_where_a_warning_says_so(turned: Input, good: Outcome) -> None:
    def doubtful(frame: dict[str, Any]) -> None:
        frame["card"]["signal"] = 0.2
        frame["warnings"].append("black-unsure")

    faults = Oracle().faults(case_of(turned), reported(good, doubtful), measured(good))
    assert not any("same pixels" in fault for fault in faults)


def test_what_could_not_be_measured_may_not_be_measured_later(turned: Input, good: Outcome) -> None:
    faults = Oracle().faults(case_of(turned), good, Measured(None, frozenset()))
    assert any("could not be measured undamaged" in fault for fault in faults)


# Defects put into the program


def test_a_lost_orientation_would_be_found(
    turned: Input, good: Outcome, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(opening, "stored_orientation", lambda _: 1)
    case = case_of(turned)
    faults = Oracle().faults(case, run_here(case, tmp_path), measured(good))
    assert any("with the same pixels" in fault for fault in faults)


def test_an_error_of_the_program_would_be_found(
    turned: Input, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(check, "as_json", lambda _: str(1 // 0))
    faults = Oracle().faults(case_of(turned), run_here(case_of(turned), tmp_path))
    assert any("Traceback" in fault for fault in faults)
    assert "exit status -1" in faults


def test_what_native_code_prints_would_be_found(
    turned: Input, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def noisy(_: object) -> str:
        os.write(2, b"data corrupted at \x1b 88384\n")
        return "{}"

    monkeypatch.setattr(check, "as_json", noisy)
    outcome = run_here(case_of(turned), tmp_path)
    assert b"data corrupted" in outcome.err
    assert any("not printed" in f for f in Oracle().faults(case_of(turned), outcome))


# What is damaged


def structured(data: bytes | bytearray) -> Structure:
    structure = structure_of(data)
    assert structure is not None
    return structure


@pytest.mark.parametrize("name", ["turned_6.dng", "masked.dng", "opcodes.dng", "plain_big.tif"])
def test_gentle_mutations_leave_the_meaning_of_most_files(maker: Maker, name: str) -> None:
    whole = input_of(maker, name).path.read_bytes()
    meaning = meaning_of(whole, free_of_meaning)
    done = same = changed = 0
    for number in range(200):
        patient = Patient(bytearray(whole), Random(number), free_of_meaning, gentle=True)
        if patient.random.choice((*GENTLE, *SAME))(patient) is not None:
            done += 1
            same += meaning_of(patient.data, free_of_meaning) == meaning
            changed += patient.data != whole
    assert done > 100
    assert same > 0.9 * done
    assert changed > 0.8 * done


@pytest.mark.parametrize("code", [256, 258, 259, 262, 274, 33422, 50714, 50717, 50829])
def test_other_values_of_these_tags_are_another_meaning(maker: Maker, code: int) -> None:
    whole = input_of(maker, "masked.dng").path.read_bytes()
    meaning = meaning_of(whole, free_of_meaning)
    entry = next(e for e in structured(whole).entries()[::-1] if e.code == code)
    data = bytearray(whole)
    data[entry.value_at] ^= 1
    assert meaning_of(data, free_of_meaning) != meaning
    data = bytearray(whole)
    struct.pack_into("<H", data, entry.at + 2, 99)
    assert unclear_meaning(data, free_of_meaning)
    assert not unclear_meaning(whole, free_of_meaning)


def test_pixels_are_part_of_the_meaning_and_those_of_a_preview_are_not(maker: Maker) -> None:
    whole = input_of(maker, "turned_6.dng").path.read_bytes()
    meaning = meaning_of(whole, free_of_meaning)
    pixels = bytearray(whole)
    pixels[-1] ^= 1
    assert meaning_of(pixels, free_of_meaning) != meaning
    preview = bytearray(whole)
    at = whole.index(b"\xff\xd8\xff")  # a JPEG, ahead of the raw picture
    preview[at + 100] ^= 1
    assert meaning_of(preview, free_of_meaning) == meaning
    assert meaning_of(bytes(preview) + b"behind", free_of_meaning) == meaning


def test_in_a_camera_raw_only_settings_are_free() -> None:
    assert free_in_raw(33437, "exif")
    assert not free_in_raw(33437, "image")
    assert not free_in_raw(37500, "exif")  # a maker's note tells a decoder of levels
    assert free_of_meaning(37500, "exif")
    assert not free_of_meaning(50714, "sub")


def test_other_text_under_a_tag(maker: Maker) -> None:
    data = bytearray(input_of(maker, "turned_6.dng").path.read_bytes())
    changed = with_text(data, 272, b"=1+1, with more\0")
    entry = next(e for e in structured(changed).entries() if e.code == 272)
    assert changed[entry.value_at : entry.value_at + entry.length] == b"=1+1, with more\0"


@pytest.mark.parametrize("mutation", BYTES, ids=lambda m: m.__name__)
def test_bytes_of_any_file_are_damaged(mutation: Callable[[bytearray, Random], str]) -> None:
    for whole in (b"", b"x", bytes(range(256)) * 8):
        changed = 0
        for number in range(20):
            data = bytearray(whole)
            assert mutation(data, Random(number))
            changed += data != whole
        assert changed > 0 or len(whole) < 2


def test_plans_are_written_as_they_are() -> None:
    for plan in PLANS:
        assert tomllib.loads(toml_of(plan)) == plan
    hostile = {"reading": {f"k{n}": text for n, text in enumerate(HOSTILE_TEXT)}}
    assert tomllib.loads(toml_of(hostile)) == hostile


def test_most_damaged_plans_are_other_plans() -> None:
    whole = {toml_of(plan).encode() for plan in PLANS}
    made = [mutated_plan(Random(number))[0] for number in range(100)]
    assert sum(data not in whole for data in made) > 80
    assert len(set(made)) > 80


def test_the_box_of_the_card_is_where_all_inputs_have_it(maker: Maker, tmp_path: Path) -> None:
    signals = {}
    for name in ("bayer_rggb.dng", "masked.dng", "turned_5.dng", "plain_rgb_8.tif"):
        given = input_of(maker, name)
        assert given.card == CARD or "turned" in name
        transfer = () if given.transfer is None else ("--transfer", given.transfer)
        case = case_of(given)
        outcome = run_here(replace(case, arguments=(*case.arguments, *transfer)), tmp_path)
        signals[name] = measured(outcome).signal
    assert all(signal == pytest.approx(0.1194, rel=0.01) for signal in signals.values()), signals
