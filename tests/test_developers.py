"""DEVELOPERS.md: its table of files is that of the package, and its scripts are there."""

import re
from pathlib import Path, PurePosixPath

import pytest

NAMED_BY_FOLDER = ("verify/simulate/",)  # what is in it is named only where it helps


@pytest.fixture(scope="module")
def page(project_root: Path) -> str:
    """The page's text."""
    return (project_root / "DEVELOPERS.md").read_text(encoding="utf-8")


def modules_named(page: str) -> set[str]:
    """Paths of the modules in the table of files; a row gives a folder once, by its first path."""
    found = set()
    for row in re.findall(r"^\| `verify/.*$", page, re.MULTILINE):
        first, *others = re.findall(r"`([\w/]+/|[\w/]+\.py)`", row)
        folder = PurePosixPath(first if first.endswith("/") else PurePosixPath(first).parent)
        found |= {str(folder / name) for name in others if name.endswith(".py")}
        if first.endswith(".py"):
            found.add(first)
    return found


def test_every_module_is_in_the_table_and_no_other(page: str, project_root: Path) -> None:
    there = {
        path.relative_to(project_root).as_posix()
        for path in (project_root / "verify").rglob("*.py")
        if path.name != "__init__.py"
    }
    named = modules_named(page)
    assert sorted(named - there) == []
    assert sorted(p for p in there - named if not p.startswith(NAMED_BY_FOLDER)) == []


def test_scripts_and_what_they_are_made_of_are_there(page: str, project_root: Path) -> None:
    scripts = {path.name for path in (project_root / "scripts").glob("*.py")}
    assert sorted(name for name in scripts if f"scripts/{name}" not in page) == []
    assert set(re.findall(r"scripts/(\w+\.py)", page)) <= scripts
    parts = {path.name for path in (project_root / "scripts" / "fuzzing").glob("*.py")}
    paragraph = page.split("`scripts/fuzzing/`", 1)[1].split("\n\n", 1)[0]
    assert set(re.findall(r"`(\w+\.py)`", paragraph)) == parts - {"__init__.py"}
