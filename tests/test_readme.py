"""The README's commands, word for word, and the output that it shows."""

import re
import shlex
from pathlib import Path

import pytest

from verify.cli.main import main
from verify.simulate.demo import write_demo

CHECKED = {0, 1, 3}  # exit status of a check that ran; 2 is a mistake in the command


@pytest.fixture(scope="module")
def readme(project_root: Path) -> str:
    """The README's text."""
    return (project_root / "README.md").read_text(encoding="utf-8")


def blocks(text: str, kind: str) -> list[str]:
    """Fenced blocks of one kind."""
    return re.findall(rf"^```{kind}\n(.*?)^```$", text, re.MULTILINE | re.DOTALL)


def run(command: str) -> int:
    """Run a `greyproof` command in this process; its exit status."""
    words = shlex.split(command)
    assert words[0] == "greyproof"
    with pytest.raises(SystemExit) as left:
        main(words[1:])
    return int(left.value.code or 0)


def test_first_two_commands_are_scripts_that_ci_runs(readme: str, project_root: Path) -> None:
    commands = blocks(readme, "shell")[0].splitlines()
    assert commands == ["python3 scripts/demo.py", "python3 scripts/test.py"]
    ci = (project_root / ".ci" / "run").read_text(encoding="utf-8")
    assert all(command in ci for command in commands)


def test_commands_of_the_readme_run(
    readme: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    first, *checks = blocks(readme, "shell")[1].splitlines()
    assert run(first) == 0
    assert {run(check) for check in checks} <= CHECKED
    written = {path.name for path in tmp_path.iterdir()}
    assert written == {"first-look", "first-look.json", "first-look.csv", "first-look-cards"}
    assert (tmp_path / "first-look-cards" / "table_0101_card.jpg").is_file()


def test_worked_example_of_a_calibration_runs(
    readme: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Five lines from frames to advice; what the README quotes of it is what was printed."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.setenv("HOME", str(tmp_path / "data"))
    monkeypatch.delenv("COLUMNS", raising=False)
    commands = blocks(readme, "shell")[2].splitlines()
    assert len(commands) == 5
    assert run(commands[0]) == 0
    capsys.readouterr()
    assert run(commands[1]) == 0
    printed = capsys.readouterr().out
    shown = re.findall(r"^> ?(.*)$", readme, re.MULTILINE)
    for paragraph in " ".join(shown).split("  "):
        assert paragraph in printed
    assert [run(command) for command in commands[2:4]] == [0, 0]
    assert run(commands[4]) in CHECKED
    assert 'offset "bench": ' in capsys.readouterr().out
    assert (tmp_path / "offset.png").read_bytes().startswith(b"\x89PNG")


def test_commands_about_what_moves_run(
    readme: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    first, *others = blocks(readme, "shell")[3].splitlines()
    assert [command.split()[1] for command in others] == ["pulse", "motion", "check", "rows"]
    assert run(first) == 0
    assert {run(command) for command in others} <= CHECKED
    for name in ("flash.png", "motion.png"):
        assert (tmp_path / name).read_bytes().startswith(b"\x89PNG")


def test_commands_about_a_whole_shoot_run(
    readme: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    first, *others = blocks(readme, "shell")[4].splitlines()
    assert [line.split()[1] for line in others] == ["diagnose", "diagnose", "check", "pops"]
    assert run(first) == 0
    assert {run(command) for command in others} <= CHECKED
    assert (tmp_path / "shoot.png").read_bytes().startswith(b"\x89PNG")
    assert (tmp_path / "shoot.json").is_file()


def test_shown_run_is_a_real_one(
    readme: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("COLUMNS", raising=False)
    write_demo(Path("demo-shoot"))
    (block,) = blocks(readme, "console")
    prompt, *shown = block.splitlines()
    assert prompt.startswith("$ ")
    assert run(prompt[2:]) in CHECKED
    printed = [line.rstrip() for line in capsys.readouterr().out.splitlines()]
    assert printed == shown


def test_plan_of_the_readme_is_valid(readme: str, tmp_path: Path) -> None:
    plan = tmp_path / "plan.toml"
    plan.write_text(blocks(readme, "toml")[0], encoding="utf-8")
    assert run(f"greyproof check {shlex.quote(str(plan))}") == 0
