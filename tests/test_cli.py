"""verify/cli: commands, options and exit statuses."""

import importlib
import json
import re
import tomllib
from pathlib import Path

import pytest
from commands import PLAN_IN_WORDS, Ran, listing, run, run_process

from verify import __version__
from verify.cli.main import main
from verify.simulate.demo import write_demo

OPTIONS = (
    "--card", "--reference", "--reading", "--iso", "--shutter", "--transfer", "--json", "--csv",
    "--show", "--jobs", "--quiet",
)  # fmt: skip
CARD = "0.42,0.40,0.12,0.16"  # within the demo's card
IMAGE_CARD = "72,24,54,48"  # of every test image
Capture = pytest.CaptureFixture[str]


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo shoot. No test may change it."""
    folder = tmp_path_factory.mktemp("shoot") / "demo"
    write_demo(folder)
    return folder


@pytest.fixture
def images(project_root: Path) -> Path:
    return project_root / "test_images"


def frames(demo: Path, *numbers: int) -> list[Path]:
    return [demo / f"table_{number:04d}.dng" for number in numbers]


STATUSES = [
    ((101, 102, 104, 106), 0),  # as planned, and with other settings
    ((101, 108), 1),  # under
    ((101, 110), 1),  # over
    ((101, 112), 3),  # clipped
    ((101, 108, 113), 3),  # cut short: 3 wins over 1
    ((113,), 3),
    ((), 0),
]


@pytest.mark.parametrize(("numbers", "status"), STATUSES)
def test_exit_status(demo: Path, capsys: Capture, numbers: tuple[int, ...], status: int) -> None:
    ran = run(capsys, "check", demo / "plan.toml", *frames(demo, *numbers))
    assert ran.status == status
    assert ran.err == ""
    assert ran.out.splitlines()[0] == PLAN_IN_WORDS


@pytest.mark.parametrize(("numbers", "status"), [(STATUSES[at]) for at in (0, 1, 4)])
def test_exit_status_of_a_process(demo: Path, numbers: tuple[int, ...], status: int) -> None:
    ran = run_process("check", demo / "plan.toml", *frames(demo, *numbers))
    assert (ran.status, ran.err) == (status, "")
    assert ran.out.splitlines()[0] == PLAN_IN_WORDS
    assert "\x1b" not in ran.out  # no colour in a pipe


def test_a_wrong_plan_or_command_is_status_2(demo: Path) -> None:
    for arguments in (["check", demo / "gone.toml"], ["check", "--card", "fnd", demo], ["chek"]):
        ran = run_process(*arguments)
        assert ran.status == 2
        assert ran.out == ""
        assert "Traceback" not in ran.err
        assert len(ran.err.splitlines()[-1]) > 20


def test_the_console_script_starts_main(project_root: Path) -> None:
    with (project_root / "pyproject.toml").open("rb") as file:
        module, name = tomllib.load(file)["project"]["scripts"]["greyproof"].split(":")
    assert getattr(importlib.import_module(module), name) is main


def test_without_frames_the_plan_is_read_back_and_that_is_all(demo: Path, capsys: Capture) -> None:
    for arguments in ([demo / "plan.toml"], ["--reading", "f/11 + 0.3"]):
        ran = run(capsys, "check", *arguments)
        assert ran == Ran(0, PLAN_IN_WORDS + "\n", "")


def test_several_set_ups_are_read_back_by_name(tmp_path: Path, capsys: Capture) -> None:
    plan = tmp_path / "plan.toml"
    plan.write_text(
        '[reading]\naperture = "f/11"\n'
        '[[setup]]\nname = "[rim] :light:"\nfrom = "5"\nreading = {aperture = "f/16"}\n',
        encoding="utf-8",
    )
    first, second = run(capsys, "check", plan).out.splitlines()
    assert first.startswith("main: Meter f/11 at ISO 100, 1 pop → camera f/11,")
    assert second.startswith("[rim] :light:: Meter f/16 at ISO 100, 1 pop → camera f/16,")


def test_a_report_asked_for_without_frames_has_the_plan(demo: Path, capsys: Capture) -> None:
    ran = run(capsys, "check", demo / "plan.toml", "--json", "-")
    assert ran.report["frames"] == ran.report["setups"] == []
    assert ran.report["plan"]["setups"][0]["words"] == PLAN_IN_WORDS
    assert (ran.status, ran.err) == (0, PLAN_IN_WORDS + "\n")


def test_a_folder_stands_for_its_pictures(demo: Path, capsys: Capture) -> None:
    ran = run(capsys, "check", demo / "plan.toml", demo, "--json", "-")
    assert list(ran.frames()) == [path.name for path in frames(demo, *range(101, 114))]
    assert ran.report["skipped"] == 2
    assert "\n2 other files in the folders are not raw or TIFF: skipped.\n" in ran.err
    assert ran.err.splitlines()[-1].startswith("13 frames: 7 within, 1 over, 3 under, 2 not usable")


def test_the_card_in_pixels_or_in_fractions(demo: Path, tmp_path: Path, capsys: Capture) -> None:
    (frame,), plan = frames(demo, 101), tmp_path / "plan.toml"
    plan.write_text(f"[card]\nbox = [{CARD}]\n", encoding="utf-8")
    by_plan = run(capsys, "check", plan, frame, "--json", "-").frames()
    for card in (CARD, "202,128,57,51", " 202, 128, 57, 51"):
        ran = run(capsys, "check", "--card", card, frame, "--json", "-")
        assert ran.status == 0
        assert ran.frames()[frame.name]["card"] == by_plan[frame.name]["card"]
    ran = run(capsys, "check", plan, "--card", "210,130,40,40", frame, "--json", "-")
    assert ran.frames()[frame.name]["card"]["box"] == [210, 130, 40, 40]


@pytest.mark.parametrize(
    ("card", "says"),
    [
        ("finds", '--card "finds" is no place for the card: give four numbers'),
        ("1,2,3", '--card "1,2,3" is no place for the card: give four numbers'),
        ("0.5,0.5,0.6,0.1", "reaches outside the picture"),
        ("-5,0,10,10", "outside the picture"),
        ("nan,0,1,1", "--card the card's box nan,0,1,1 "),
    ],
)
def test_a_card_that_cannot_be(demo: Path, capsys: Capture, card: str, says: str) -> None:
    ran = run(capsys, "check", f"--card={card}", *frames(demo, 101))
    assert (ran.status, ran.out) == (2, "")
    assert says in ran.err
    assert len(ran.err.splitlines()) == 1


def test_a_reference_among_the_frames(demo: Path, capsys: Capture) -> None:
    plan, files = demo / "plan.toml", frames(demo, 101, 108, 109)
    first = run(capsys, "check", plan, *files, "--json", "-")
    ran = run(capsys, "check", plan, *files, "--reference", files[1], "--json", "-")
    assert list(ran.frames()) == list(first.frames())
    rest = {name: frame["rest_stops"] for name, frame in first.frames().items()}
    for name, frame in ran.frames().items():
        assert frame["difference_stops"] == pytest.approx(rest[name] - rest["table_0108.dng"])
    assert [frame["verdict"] for frame in ran.frames().values()] == ["over", "within", "under"]


def test_a_reference_beside_the_frames_is_measured_first(demo: Path, capsys: Capture) -> None:
    ran = run(
        capsys, "check", demo / "plan.toml", *frames(demo, 101, 102), "--json", "-",
        "--reference", frames(demo, 108)[0],
    )  # fmt: skip
    assert list(ran.frames()) == ["table_0108.dng", "table_0101.dng", "table_0102.dng"]
    assert [frame["verdict"] for frame in ran.frames().values()] == ["within", "over", "over"]
    assert ran.status == 1


@pytest.mark.parametrize("spelling", ["table_0108.dng", "./demo/../demo/table_0108.dng", "whole"])
def test_a_reference_is_known_however_it_is_written(
    demo: Path, capsys: Capture, monkeypatch: pytest.MonkeyPatch, spelling: str
) -> None:
    monkeypatch.chdir(demo.parent)
    written = spelling if spelling != "whole" else str(demo.resolve() / "table_0108.dng")
    ran = run(capsys, "check", "demo/plan.toml", "demo", "--reference", written, "--json", "-")
    assert len(ran.report["frames"]) == 13
    assert ran.frames()["table_0108.dng"]["difference_stops"] == 0


def test_a_reference_that_is_not_there(demo: Path, capsys: Capture) -> None:
    plan, files = demo / "plan.toml", frames(demo, 101, 102)
    ran = run(capsys, "check", plan, *files, "--reference", demo / "gone.dng", "--json", "-")
    assert ran.status == 3
    assert ran.frames()["gone.dng"]["problem"] == "there is no such file"
    assert ran.frames()["table_0101.dng"]["difference_stops"] == 0
    assert all("no-reference" in ran.frames()[file.name]["warnings"] for file in files)


def test_a_reading_instead_of_a_plan_and_over_it(demo: Path, capsys: Capture) -> None:
    (frame,) = frames(demo, 101)
    plan = demo / "plan.toml"

    def error(*arguments: str | Path) -> float:
        ran = run(capsys, "check", *arguments, frame, "--json", "-")
        return float(ran.frames()[frame.name]["error_stops"])

    planned = error(plan)
    # the same reading, the camera's f/13 now derived from it and the same: the same error
    assert error("--reading", "f/11 + 0.3", "--iso", "100") == planned
    assert error("--reading", "f/11 + 0.3") == planned
    # f/16 at the meter is seven tenths more light, so the frame lies that much under
    assert error(plan, "--reading", "f/16") == pytest.approx(planned - 0.7, abs=1e-9)
    # metered at ISO 200, half the light showed the same f-number
    assert error(plan, "--iso", "200") == pytest.approx(planned + 1, abs=1e-9)
    # with flash the shutter time is no part of it
    assert error(plan, "--shutter", "1/60") == planned


def test_a_shutter_time_counts_with_continuous_light(
    demo: Path, tmp_path: Path, capsys: Capture
) -> None:
    plan = tmp_path / "plan.toml"
    plan.write_text(
        '[reading]\naperture = "f/11"\nlight = "continuous"\nshutter = "1/125"\n'
        f'[camera]\naperture = "f/11"\nshutter = "1/125"\n[card]\nbox = [{CARD}]\n',
        encoding="utf-8",
    )
    (frame,) = frames(demo, 101)
    errors = [
        run(capsys, "check", plan, frame, *more, "--json", "-").frames()[frame.name]["error_stops"]
        for more in ([], ["--shutter", "1/60"])
    ]
    assert errors[1] == pytest.approx(errors[0] + 1, abs=1e-9)


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--reading", "8.7"], '--reading "8.7" could be f/8 and 7 tenths, or the f-number 8.7'),
        (["--reading", "f/11", "--iso", "abc"], '--iso "abc" is not an ISO speed'),
        (["--reading", "f/11", "--shutter", "x"], '--shutter "x" is not a shutter time'),
    ],
)
def test_what_was_typed_wrong_is_told_under_its_option(
    demo: Path, capsys: Capture, arguments: list[str], says: str
) -> None:
    for plan in ([], [demo / "plan.toml"]):
        ran = run(capsys, "check", *plan, *arguments)
        assert (ran.status, ran.out) == (2, "")
        assert ran.err.startswith(f"greyproof: {says}")
        assert len(ran.err.splitlines()) == 1


def test_a_mistake_of_the_plan_stays_the_plans(tmp_path: Path, capsys: Capture) -> None:
    plan = tmp_path / "plan.toml"
    plan.write_text('[reading]\naperture = "8.7"\n', encoding="utf-8")
    ran = run(capsys, "check", plan, "--iso", "200")
    assert ran.err.startswith(f'greyproof: {plan}: [reading] aperture: "8.7" could be f/8 and 7')


def test_part_of_a_reading_is_none(demo: Path, capsys: Capture) -> None:
    ran = run(capsys, "check", "--iso", "200", *frames(demo, 101))
    says = "--iso and --shutter are parts of a reading: give --reading too, or a plan"
    assert ran == Ran(2, "", f"greyproof: {says}\n")


@pytest.mark.parametrize(
    ("name", "transfer"),
    [
        ("gamma_16_no_profile.tif", "2.2"),
        ("gamma_16_no_profile.tif", "gamma 2.2"),
        ("srgb_8_no_profile.tif", "sRGB"),
        ("srgb_16_profile.tif", "icc"),
        ("srgb_16_profile.tif", "ICC"),
        ("grey_16.tif", "linear"),
        ("bayer_rggb.dng", "2.2"),  # a raw file says so itself
    ],
)
def test_a_stated_transfer(images: Path, capsys: Capture, name: str, transfer: str) -> None:
    ran = run(
        capsys, "check", images / name, "--card", IMAGE_CARD, "--transfer", transfer, "--json", "-"
    )
    assert ran.status == 0
    # 18 % at the metered setting, check-values 2.5; 8 bits and noise cost less than 1 %
    assert ran.frames()[name]["card"]["signal"] == pytest.approx(0.11937, rel=0.01)


@pytest.mark.parametrize(
    ("transfer", "says"),
    [("log", "icc, linear, srgb or a gamma from 1 to 4"), ("0.45", "write 2.22 to undo that")],
)
def test_a_transfer_that_is_none(images: Path, capsys: Capture, transfer: str, says: str) -> None:
    ran = run(capsys, "check", images, "--card", IMAGE_CARD, "--transfer", transfer)
    assert (ran.status, ran.out) == (2, "")
    assert says in ran.err


def test_as_many_jobs_as_one_likes(demo: Path, images: Path, capsys: Capture) -> None:
    arguments = ["check", "--card", CARD, "--reading", "f/11", demo, images, "--json", "-"]
    one, four = (run(capsys, *map(str, arguments), "--jobs", jobs) for jobs in "14")
    assert len(one.report["frames"]) > 60
    assert one == four
    none = run(capsys, "check", demo, "--card", CARD, "--jobs", "0")
    assert none == Ran(2, "", "greyproof: --jobs 0: give 1 or more\n")


def test_quiet_prints_problems_only(demo: Path, capsys: Capture) -> None:
    plan = demo / "plan.toml"
    assert run(capsys, "check", plan, *frames(demo, 101, 108), "--quiet") == Ran(1, "", "")
    assert run(capsys, "check", plan, "--quiet") == Ran(0, "", "")
    ran = run(capsys, "check", plan, demo, "--quiet")
    clipped, cut = ran.err.splitlines()
    assert (ran.status, ran.out) == (3, "")
    assert clipped.startswith(f"{frames(demo, 112)[0]}: Part of the card is clipped")
    assert cut.startswith(f"{frames(demo, 113)[0]}: the file is cut short")


def test_version_and_help(capsys: Capture) -> None:
    assert run(capsys, "--version") == Ran(0, f"greyproof {__version__}\n", "")
    for arguments in (["--help"], ["check", "--help"], ["demo", "--help"]):
        ran = run(capsys, *arguments)
        assert ran.status == 0
        assert ran.out.startswith("Usage: greyproof ")
        assert max(map(len, ran.out.splitlines())) <= 80
        assert not re.search(r"<\w+>|\\\[|\[/|Annotated|None", ran.out)
    told = " ".join(run(capsys, "check", "--help").out.split())
    for option in OPTIONS:
        assert re.search(rf" {option} (\S+ )?[A-Z][A-Za-z]+ [a-z]+ ", told), option
    assert "Exit status: 0 all frames within tolerance, 1 some out of it, 2 the plan" in told


def test_the_demo_command(tmp_path: Path, capsys: Capture) -> None:
    folder = tmp_path / "my demo"
    ran = run(capsys, "demo", folder)
    assert ran.status == 0
    assert ran.out == (
        f"13 frames, plan.toml and truth.json are in {folder}\n"
        f'Check them:        greyproof check "{folder / "plan.toml"}" "{folder}"\n'
        f'Fit the offset:    greyproof calibrate "{folder / "plan.toml"}" '
        f'--readings "{folder / "calibration" / "readings.csv"}" --save bench\n'
        f'See what moves:    greyproof motion "{folder / "pour" / "plan.toml"}" '
        f'--pulse "{folder / "pour" / "flash.csv"}"\n'
    )
    assert run(capsys, "check", folder / "plan.toml", folder).status == 3
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    assert len(truth["frames"]) == 13


def test_the_demo_goes_into_no_folder_that_is_in_use(tmp_path: Path, capsys: Capture) -> None:
    used = tmp_path / "used"
    used.mkdir()
    (used / "mine.txt").write_text("mine", encoding="utf-8")
    before = listing(tmp_path)
    for target in (used, used / "mine.txt", used / "mine.txt" / "below"):
        ran = run(capsys, "demo", target)
        assert (ran.status, ran.out) == (2, "")
        assert ran.err.startswith(f"greyproof: {target}: the demo ")
        assert len(ran.err.splitlines()) == 1
    assert listing(tmp_path) == before
