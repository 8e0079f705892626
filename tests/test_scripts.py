"""scripts/: when an environment is made, what is said when it cannot be, what the demo deletes."""

import ast
import importlib.util
import json
import platform
import runpy
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import demo
import environment
import pytest


class Commands:
    """Stands in for subprocess.run: keeps what was to be run and answers with a set status."""

    def __init__(self) -> None:
        self.run: list[list[str]] = []
        self.threads: list[str | None] = []  # that each command was allowed
        self.status: dict[str, int] = {}  # by a word of the command; 0 for all others
        self.output = ""

    def __call__(self, command: Sequence[str], **options: Any) -> subprocess.CompletedProcess[str]:
        self.run.append(list(command))
        self.threads.append(options.get("env", {}).get("OMP_NUM_THREADS"))
        status = next((self.status[word] for word in command if word in self.status), 0)
        if status and options.get("check"):
            raise subprocess.CalledProcessError(status, command)
        return subprocess.CompletedProcess(command, status, stdout=self.output)

    def words(self) -> list[str]:
        return [" ".join(command[1:]) for command in self.run]


@pytest.fixture
def commands(monkeypatch: pytest.MonkeyPatch) -> Commands:
    stand_in = Commands()
    monkeypatch.setattr(subprocess, "run", stand_in)
    return stand_in


@pytest.fixture
def project(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A project folder that holds nothing but a pyproject.toml."""
    root = tmp_path / "project"
    root.mkdir()
    (root / "pyproject.toml").write_text("one")
    monkeypatch.setattr(environment, "ROOT", root)
    monkeypatch.delenv("GREYPROOF_VENV", raising=False)
    return root


def pretend_venv(folder: Path, minor: str = "{}.{}".format(*sys.version_info[:2])) -> None:
    """Write what the standard library's venv leaves, as far as the scripts look at it."""
    python = environment.program(folder, "python")
    python.parent.mkdir(parents=True)
    python.touch()
    (folder / "pyvenv.cfg").write_text(f"home = somewhere\nversion = {minor}.0\n")


@pytest.fixture
def installed(project: Path, commands: Commands) -> Path:
    """An environment that was just made with the tools for the tests."""
    pretend_venv(project / ".venv")
    environment.ensure("dev")
    commands.run.clear()
    return project / ".venv"


def test_first_run_makes_and_installs(project: Path, commands: Commands) -> None:
    python = environment.ensure("dev")
    assert python == environment.program(project / ".venv", "python")
    folder = str(project / ".venv")
    pip = "-m pip install --quiet --no-input --disable-pip-version-check --editable .[dev]"
    assert commands.words() == [f"-m venv {folder}", pip]


@pytest.mark.parametrize("extras", ["dev", ""])
def test_second_run_runs_nothing(installed: Path, commands: Commands, extras: str) -> None:
    environment.ensure(extras)
    assert commands.run == []


def test_without_the_test_tools_they_are_still_to_come(project: Path, commands: Commands) -> None:
    pretend_venv(project / ".venv")
    environment.ensure()
    assert not environment.is_current(project / ".venv", "dev")
    environment.ensure("dev")
    assert commands.words()[-1].endswith(" .[dev]")


def test_a_change_of_what_it_depends_on_asks_for_another(
    installed: Path, project: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert environment.is_current(installed, "dev")
    (project / "pyproject.toml").write_text("two")
    assert not environment.is_current(installed, "dev")
    (project / "pyproject.toml").write_text("one")
    assert environment.is_current(installed, "dev")
    with monkeypatch.context() as patch:
        patch.setattr(platform, "python_version", lambda: "3.99.0")
        assert not environment.is_current(installed, "dev")
    moved = project.rename(project.parent / "moved")
    monkeypatch.setattr(environment, "ROOT", moved)
    assert not environment.is_current(moved / ".venv", "dev")


def test_without_its_python_it_is_not_current(installed: Path) -> None:
    environment.program(installed, "python").unlink()
    assert not environment.is_current(installed, "dev")


def test_a_failed_installation_shows_its_end_and_leaves_no_stamp(
    installed: Path, project: Path, commands: Commands
) -> None:
    (project / "pyproject.toml").write_text("two")
    commands.status["pip"] = 1
    commands.output = "\n".join(f"line {n}" for n in range(50))
    with pytest.raises(SystemExit, match=r"(?s)^line 30\n.*line 49\n\nStopped while installing"):
        environment.ensure("dev")
    (project / "pyproject.toml").write_text("one")  # what had been installed before
    assert not environment.is_current(installed, "dev")


def test_a_run_cut_short_is_taken_up_again(
    project: Path, commands: Commands, monkeypatch: pytest.MonkeyPatch
) -> None:
    def interrupted(*_: Any, **__: Any) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(subprocess, "run", interrupted)
        with pytest.raises(KeyboardInterrupt):
            environment.ensure("dev")
    environment.ensure("dev")
    assert commands.words()[0] == f"-m venv --clear {project / '.venv'}"


def test_another_pythons_environment_is_cleared_only_if_made_here(
    project: Path, commands: Commands
) -> None:
    folder = project / ".venv"
    pretend_venv(folder, minor="3.1")
    with pytest.raises(SystemExit, match=r"\.venv is in the way.*GREYPROOF_VENV"):
        environment.ensure()
    assert commands.run == []
    (folder / environment.STAMP).touch()
    environment.ensure()
    assert commands.words()[0] == f"-m venv --clear {folder}"


def test_another_folder_is_honoured_and_never_cleared(
    project: Path, commands: Commands, monkeypatch: pytest.MonkeyPatch
) -> None:
    elsewhere = project.parent / "holiday pictures"
    elsewhere.mkdir()
    monkeypatch.setenv("GREYPROOF_VENV", str(elsewhere))
    assert environment.ensure() == environment.program(elsewhere, "python")
    (elsewhere / environment.STAMP).unlink()
    (elsewhere / "beach.dng").touch()
    with pytest.raises(SystemExit, match="holiday pictures is in the way"):
        environment.ensure()
    monkeypatch.setenv("GREYPROOF_VENV", str(elsewhere / "beach.dng"))
    with pytest.raises(SystemExit, match=r"beach\.dng is in the way"):
        environment.ensure()
    assert [path.name for path in elsewhere.iterdir()] == ["beach.dng"]


def test_a_folder_that_cannot_be_written_is_one_line(
    project: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (project / "file").touch()
    monkeypatch.setenv("GREYPROOF_VENV", str(project / "file" / "venv"))
    with pytest.raises(SystemExit, match=r"(?s)^[^\n]*venv: no environment could be made there"):
        environment.ensure()


def test_too_old_a_python_is_told_so(
    project: Path, commands: Commands, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(environment, "OLDEST", (99, 1))
    with pytest.raises(SystemExit, match=r"^greyproof needs Python 99\.1 or newer; this is [\d.]+"):
        environment.ensure()
    assert commands.run == []
    assert [path.name for path in project.iterdir()] == ["pyproject.toml"]


@pytest.mark.parametrize("missing", ["venv", "ensurepip"])
def test_a_python_without_environments_is_told_so(
    monkeypatch: pytest.MonkeyPatch, missing: str
) -> None:
    monkeypatch.setattr(importlib.util, "find_spec", lambda name: None if name == missing else name)
    with pytest.raises(SystemExit, match=rf"module {missing};.*apt-get install python3-venv"):
        environment.check_python()


@pytest.mark.parametrize("name", ["environment", "demo", "test"])
def test_an_old_python_gets_as_far_as_the_message(project_root: Path, name: str) -> None:
    tree = ast.parse(
        (project_root / "scripts" / f"{name}.py").read_text(encoding="utf-8"),
        feature_version=(3, 7),
    )
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef):
            hints = [argument.annotation for argument in node.args.args] + [node.returns]
            assert all(isinstance(hint, ast.Name | ast.Constant) for hint in hints), node.name


def run_stages(
    project_root: Path, monkeypatch: pytest.MonkeyPatch, *arguments: str
) -> int | str | None:
    """Run scripts/test.py with these arguments; return its exit status."""
    monkeypatch.setattr(environment, "ensure", lambda extras: Path("python"))
    monkeypatch.setattr(sys, "argv", ["test.py", *arguments])
    with pytest.raises(SystemExit) as ended:
        runpy.run_path(str(project_root / "scripts" / "test.py"), run_name="__main__")
    return ended.value.code


def test_all_stages_run_and_the_first_failure_counts(
    project_root: Path,
    commands: Commands,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert run_stages(project_root, monkeypatch) == 0
    stages = ["ruff check", "ruff format --check", "mypy", "pytest --numprocesses auto"]
    assert commands.words() == [f"-m {stage}" for stage in stages]
    assert commands.threads[-1] == "1"
    commands.status = {"mypy": 2, "pytest": 1}
    assert run_stages(project_root, monkeypatch) == 2
    assert commands.words()[4:] == commands.words()[:4]
    assert capsys.readouterr().out.endswith("\nmypy\n\npytest (failed so far: mypy)\n")


def test_arguments_go_to_pytest_alone(
    project_root: Path, commands: Commands, monkeypatch: pytest.MonkeyPatch
) -> None:
    commands.status = {"pytest": 5}
    assert run_stages(project_root, monkeypatch, "tests/test_x.py", "-k", "name") == 5
    assert commands.words() == ["-m pytest --numprocesses auto tests/test_x.py -k name"]


@pytest.fixture
def shoot(tmp_path: Path) -> Path:
    """A folder as a run of the demo leaves it."""
    folder = tmp_path / "demo-shoot"
    (folder / "frames").mkdir(parents=True)
    (folder / "plan.toml").write_text("plan")
    (folder / "frames" / "0001.dng").write_bytes(b"frame")
    demo.list_own(folder)
    return folder


def test_the_demo_removes_its_own_shoot(shoot: Path) -> None:
    (shoot / ".DS_Store").touch()  # the folder was looked at, nothing else
    demo.remove_own(shoot)
    assert not shoot.exists()
    demo.remove_own(shoot)  # nothing there is nothing to say


@pytest.mark.parametrize("name", ["mine.dng", "frames/mine.dng", "plan.toml", "frames/0001.dng"])
def test_the_demo_deletes_nothing_it_did_not_write(shoot: Path, name: str) -> None:
    (shoot / name).write_text("mine")
    with pytest.raises(SystemExit, match=rf"did not write \({name}\); nothing was deleted"):
        demo.remove_own(shoot)
    assert {path.name for path in shoot.rglob("*.*")} >= {"plan.toml", "0001.dng", demo.LIST}


def test_the_demo_leaves_a_folder_that_it_has_no_list_of(shoot: Path) -> None:
    (shoot / demo.LIST).unlink()
    with pytest.raises(SystemExit, match="did not write"):
        demo.remove_own(shoot)
    assert (shoot / "plan.toml").exists()


def test_the_demo_follows_no_link(shoot: Path, tmp_path: Path) -> None:
    link = shoot / "mine"
    try:
        link.symlink_to(tmp_path / "nowhere")
    except OSError:
        pytest.skip("this system lets no ordinary user make links")
    with pytest.raises(SystemExit, match=r"did not write \(mine\)"):
        demo.remove_own(shoot)
    assert link.is_symlink()


def test_the_demo_leaves_a_file_in_the_place_of_its_folder(tmp_path: Path) -> None:
    (tmp_path / "demo-shoot").write_text("mine")
    with pytest.raises(SystemExit, match="did not write"):
        demo.remove_own(tmp_path / "demo-shoot")
    assert (tmp_path / "demo-shoot").read_text() == "mine"


@pytest.mark.parametrize(("check_ends_with", "demo_ends_with"), [(3, 0), (0, 1), (1, 1), (2, 2)])
def test_the_demo_is_right_when_the_check_ends_with_3(
    shoot: Path,
    commands: Commands,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    check_ends_with: int,
    demo_ends_with: int,
) -> None:
    monkeypatch.setattr(demo, "FOLDER", shoot)
    monkeypatch.setattr(environment, "ensure", lambda: environment.program(shoot.parent, "python"))
    commands.status = {"check": check_ends_with}
    assert demo.main() == demo_ends_with
    assert commands.words() == [f"demo {shoot}", f"check {shoot / 'plan.toml'} {shoot}"]
    assert (str(shoot) in capsys.readouterr().out) == (demo_ends_with == 0)


def test_a_demo_that_fails_halfway_can_be_run_again(
    shoot: Path, commands: Commands, monkeypatch: pytest.MonkeyPatch
) -> None:
    def writes_one_frame(command: list[str], check: bool) -> None:
        shoot.mkdir()
        (shoot / "0001.dng").write_bytes(b"half")
        if check:
            raise subprocess.CalledProcessError(4, command)

    monkeypatch.setattr(demo, "FOLDER", shoot)
    monkeypatch.setattr(environment, "ensure", lambda: environment.program(shoot.parent, "python"))
    monkeypatch.setattr(subprocess, "run", writes_one_frame)
    assert demo.main() == 4
    assert json.loads((shoot / demo.LIST).read_text()).keys() == {"0001.dng"}
    assert demo.main() == 4


def test_no_script_names_a_host(project_root: Path) -> None:
    for path in [*project_root.glob("scripts/*"), project_root / ".ci" / "run"]:
        if path.is_file():
            assert "://" not in path.read_text(encoding="utf-8"), path.name
