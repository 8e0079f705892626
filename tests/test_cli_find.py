"""verify/cli: a card that is looked for, and pictures of what was measured."""

from pathlib import Path

import pytest
from commands import Ran, run
from small_shoots import NO_CARD, TWO_CARDS, writer

from verify.simulate.demo import write_demo

CARD = "0.42,0.40,0.12,0.16"  # within the demo's card
# of the demo's card, which verify/simulate/demo.py sets up at 0.40, 0.36 and 0.16 x 0.24
CARD_CORNERS = ((192, 115.2), (268.8, 115.2), (268.8, 192), (192, 192))
Capture = pytest.CaptureFixture[str]


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo shoot. No test may change it."""
    folder = tmp_path_factory.mktemp("shoot") / "demo"
    write_demo(folder)
    return folder


def frames(demo: Path, *numbers: int) -> list[Path]:
    return [demo / f"table_{number:04d}.dng" for number in numbers]


def test_without_a_place_the_card_is_looked_for(
    demo: Path, tmp_path: Path, capsys: Capture
) -> None:
    (frame,) = frames(demo, 101)
    arguments: list[str | Path] = ["check", "--reading", "f/11 + 0.3", frame, "--json", "-"]
    ran = run(capsys, *arguments)
    assert ran.status == 0
    found = ran.frames()[frame.name]
    given = run(capsys, *arguments, "--card", CARD).frames()[frame.name]
    assert (found["card"]["found_by"], given["card"]["found_by"]) == ("shape", "given")
    assert found["error_stops"] == pytest.approx(given["error_stops"], abs=0.03)
    (candidate,) = found["candidates"]
    assert candidate == {key: found["card"][key] for key in ("box", "corners")}
    for seen, true in zip(found["card"]["corners"], CARD_CORNERS, strict=True):
        assert seen == pytest.approx(true, abs=1.5)
    # in words, and over the plan's box
    plan = tmp_path / "plan.toml"
    plan.write_text(f"[card]\nbox = [{CARD}]\n", encoding="utf-8")
    over = run(capsys, "check", plan, "--card", " Find ", frame, "--json", "-")
    assert over.frames()[frame.name]["card"] == found["card"]


def test_a_frame_without_a_card_is_told_of_and_is_no_failure(
    demo: Path, tmp_path: Path, capsys: Capture
) -> None:
    make = writer(tmp_path)
    bare, (with_card,) = make("bare.dng", scene=NO_CARD), frames(demo, 101)
    arguments: list[str | Path] = ["check", bare, with_card, "--reading", "f/11"]
    ran = run(capsys, *arguments, "--json", "-")
    assert ran.status == 0
    assert [frame["verdict"] for frame in ran.frames().values()] == ["no-card", "within"]
    assert ran.frames()["bare.dng"]["card"] is None
    says = "no card was found in it. If there is one, say where with --card COL,ROW,WIDTH,HEIGHT"
    assert f"{bare}: {says}" in ran.err
    assert run(capsys, *arguments, "--quiet").err.startswith(f"{bare}: {says}")


def test_a_doubtful_card_is_status_3(tmp_path: Path, capsys: Capture) -> None:
    ran = run(capsys, "check", writer(tmp_path)("two.dng", scene=TWO_CARDS))
    assert ran.status == 3
    assert " card-doubtful " in ran.out
    assert "several-cards (two.dng): More than one thing in the picture looks like" in ran.out


def test_a_doubtful_card_is_a_problem_to_be_told_of(tmp_path: Path, capsys: Capture) -> None:
    two = writer(tmp_path)("two.dng", scene=TWO_CARDS)
    ran = run(capsys, "check", two, "--quiet")
    assert (ran.status, ran.out) == (3, "")
    assert ran.err.startswith(f"{two}: ")
    assert "--card" in ran.err


def test_pictures_of_what_was_measured(demo: Path, tmp_path: Path, capsys: Capture) -> None:
    folder = tmp_path / "looked at"
    files = frames(demo, 101, 108, 113)
    plain = run(capsys, "check", demo / "plan.toml", *files, "--json", "-")
    ran = run(capsys, "check", demo / "plan.toml", *files, "--json", "-", "--show", folder)
    assert ran == plain
    names = ["table_0101_card.jpg", "table_0108_card.jpg"]  # 0113 is cut short
    assert sorted(path.name for path in folder.iterdir()) == names
    assert all(path.read_bytes().startswith(b"\xff\xd8\xff") for path in folder.iterdir())
    file = folder / names[0]
    refused = run(capsys, "check", demo / "plan.toml", *files, "--show", file)
    says = f"greyproof: --show {file}: there is a file of that name: name a folder\n"
    assert refused == Ran(2, "", says)
