"""The rules of the house, read from the imports and calls of every module under verify/.

Each rule is a function from a source tree to the sentences in which that tree breaks it. The
project's own tree must give none, and made-up bad trees show that each rule can fail.
"""

import ast
import graphlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import pytest

# What each stage knows, in the order in which data flows; it may import these and what they know.
# A new stage gets a row here, below all the stages that it knows.
KNOWS: dict[str, set[str]] = {
    "exposure": set(),
    "errors": set(),
    "warnings": set(),
    "workers": {"errors"},
    "evenness": set(),
    "times": set(),
    "place": {"errors"},
    "notation": {"exposure", "errors"},
    "frames": {"exposure", "errors"},
    "linearity": {"exposure"},
    "target": {"frames", "place", "linearity"},
    "measure": {"frames", "target", "evenness"},
    "neutrals": {"measure", "linearity"},
    "plan": {"exposure", "errors", "notation", "place"},
    "offsets": {"plan", "frames"},
    "ambient": {"exposure", "errors", "place", "target", "measure"},
    "trace": {"errors"},
    "pulse": {"trace", "exposure", "errors"},
    "motion": {"exposure", "times", "pulse", "plan", "frames"},
    "compare": {"exposure", "measure", "neutrals", "plan", "ambient", "motion"},
    "rows": {"frames", "exposure"},
    "scene": {"frames", "exposure", "errors"},
    "checking": {"ambient", "compare", "target", "scene", "plan", "offsets", "workers"},
    "judge": {"compare"},
    "frame_motion": {"compare", "motion", "plan"},
    "calibrate": {"checking", "compare", "plan", "offsets"},
    "pops": {"measure", "exposure", "plan", "compare", "checking", "errors", "warnings"},
    "lamps": {"measure", "exposure"},
    "diagnose": {"compare", "scene", "pops", "rows", "warnings"},
    "carried": {"diagnose", "judge", "compare", "notation"},
    "shoot": {
        "carried",
        "checking",
        "judge",
        "frame_motion",
        "calibrate",
        "diagnose",
        "lamps",
        "motion",
        "rows",
        "workers",
    },
    "store": {"shoot"},
    "report": {"shoot", "warnings"},
    "watch": {"shoot", "report"},
    "simulate": {"exposure", "errors"},
    "cli": {"shoot", "calibrate", "offsets", "store", "report", "watch", "simulate", "errors"},
}
DECODERS = {
    "rawpy": {"frames"},
    "exifread": {"frames"},
    "tifffile": {"frames", "simulate"},
    "imagecodecs": {"frames", "simulate"},
    "cv2": {"frames", "target", "simulate"},  # arithmetic on pictures; its decoders see below
    "PIL": {"simulate", "report"},  # to draw and to write
}
DECODING = {"cv2.imread", "cv2.imreadmulti", "cv2.imdecode", "Image.open", "ImageFile.Parser"}
SPEAKERS = {"cli"}  # stages that print and choose the exit status
SPEAKING_NAMES = {"print", "input", "exit", "quit", "SystemExit"}
SPEAKING_ATTRIBUTES = {
    f"sys.{name}" for name in ("stdout", "stderr", "__stdout__", "__stderr__", "exit")
}
NO_SUBJECT = {"util", "utils", "common", "helper", "helpers", "misc"}


@dataclass(frozen=True, slots=True)
class Module:
    """One source file under verify/."""

    name: str  # dotted; a package's __init__.py has the package's name
    package: str  # dotted name of the package that its relative imports start from
    tree: ast.Module  # its syntax tree


def stage_of(name: str) -> str:
    """The stage that a module belongs to: "" for the root of the package."""
    return name.split(".")[1] if "." in name else ""


@cache  # several rules read the same tree
def modules_in(root: Path) -> dict[str, Module]:
    """Every module of the tree at ``root``, by its dotted name."""
    found = {}
    for path in sorted((root / "verify").rglob("*.py")):
        parts = path.relative_to(root).with_suffix("").parts
        is_package = parts[-1] == "__init__"
        package = ".".join(parts[:-1])
        name = package if is_package else ".".join(parts)
        found[name] = Module(name, package, ast.parse(path.read_text(encoding="utf-8")))
    return found


def imports_of(module: Module) -> Iterator[tuple[str, str]]:
    """Every import, at any depth of the file, as (module, name taken from it or "")."""
    for node in ast.walk(module.tree):
        if isinstance(node, ast.Import):
            yield from ((alias.name, "") for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                start = module.package.split(".")
                start = start[: len(start) - node.level + 1]
                base = ".".join([*start, *base.split(".")] if base else start)
            yield from ((base, alias.name) for alias in node.names)


def edges(modules: dict[str, Module]) -> dict[str, set[str]]:
    """Each module's imports among ``modules``; `from package import module` leads to the module."""
    graph: dict[str, set[str]] = {}
    for module in modules.values():
        targets = {
            full if (full := f"{base}.{name}") in modules else base
            for base, name in imports_of(module)
        }
        graph[module.name] = {to for to in targets if to.split(".")[0] == "verify"}
    return graph


def known_to(stage: str) -> set[str]:
    """The stages that ``stage`` may import from: those it knows, and what they know."""
    return KNOWS[stage].union(*(known_to(known) for known in KNOWS[stage]))


def stages_out_of_order(root: Path) -> list[str]:
    modules = modules_in(root)
    no_row = set(map(stage_of, modules)) - KNOWS.keys() - {""}
    broken = [f"the stage {stage} is not in the table" for stage in sorted(no_row)]
    for name, targets in edges(modules).items():
        here = stage_of(name)
        if here in no_row:
            continue
        allowed = {"", here} | (known_to(here) if here else set())
        broken += [f"{name} imports {to}" for to in sorted(targets) if stage_of(to) not in allowed]
    return broken


def circles(root: Path) -> list[str]:
    try:
        graphlib.TopologicalSorter(edges(modules_in(root))).prepare()
    except graphlib.CycleError as error:
        return [" is imported by ".join(error.args[1])]
    return []


def decoders_elsewhere(root: Path) -> list[str]:
    return [
        f"{module.name} imports {base}"
        for module in modules_in(root).values()
        for base, _ in imports_of(module)
        if (library := base.split(".")[0]) in DECODERS
        and stage_of(module.name) not in DECODERS[library]
    ] + [
        f"{module.name} calls {ast.unparse(node)}"
        for module in modules_in(root).values()
        if stage_of(module.name) != "frames"
        for node in ast.walk(module.tree)
        if isinstance(node, ast.Attribute) and ast.unparse(node) in DECODING
    ]


def speaking_elsewhere(root: Path) -> list[str]:
    broken = []
    for module in modules_in(root).values():
        if stage_of(module.name) in SPEAKERS:
            continue
        said = [ast.unparse(node) for node in ast.walk(module.tree) if speaks(node)]
        said += [
            f"import of {base}.{name}"
            for base, name in imports_of(module)
            if f"{base}.{name}" in SPEAKING_ATTRIBUTES | {"rich.print"} or base == "typer"
        ]
        broken += [f"{module.name}: {text}" for text in said]
    return broken


def speaks(node: ast.AST) -> bool:
    """Whether ``node`` prints or ends the run; a rich Console with a file of its own does not."""
    match node:
        case ast.Name(id=name):
            return name in SPEAKING_NAMES
        case ast.Attribute():
            return ast.unparse(node) in SPEAKING_ATTRIBUTES
        case ast.Call(func=ast.Name(id="Console") | ast.Attribute(attr="Console")):
            return all(keyword.arg != "file" for keyword in node.keywords)
    return False


def names_without_subject(root: Path) -> list[str]:
    return [
        f"{name} says nothing about what is in it"
        for name in modules_in(root)
        if NO_SUBJECT.intersection(name.split("."))
    ]


def values_from_root(root: Path) -> list[str]:
    modules = modules_in(root)
    return [
        f"{module.name} takes {name or 'the package'} from the root"
        for module in modules.values()
        for base, name in imports_of(module)
        if base == "verify" and name != "__version__" and f"verify.{name}" not in modules
    ]


def folders_not_packages(root: Path) -> list[str]:
    folders = {path.parent for path in (root / "verify").rglob("*.py")}
    return [
        f"{folder.relative_to(root).as_posix()} has no __init__.py"
        for folder in sorted(folders)
        if not (folder / "__init__.py").is_file()
    ]


Rule = Callable[[Path], list[str]]
RULES: list[Rule] = [
    stages_out_of_order,
    circles,
    decoders_elsewhere,
    speaking_elsewhere,
    names_without_subject,
    values_from_root,
    folders_not_packages,
]


def grow(root: Path, files: dict[str, str]) -> Path:
    """Write a made-up source tree, its packages complete but for those named in ``files``."""
    for name, text in {"__init__.py": "__version__ = '1'", **files}.items():
        path = root / "verify" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    return root


@pytest.mark.parametrize("rule", RULES)
def test_the_project_keeps_the_rule(rule: Rule, project_root: Path) -> None:
    assert len(modules_in(project_root)) > 2
    assert rule(project_root) == []


@pytest.mark.parametrize("rule", RULES)
def test_a_good_tree_keeps_the_rule(rule: Rule, tmp_path: Path) -> None:
    good = {
        "exposure.py": "import numpy as np",
        "errors.py": "class FrameError(Exception): ...",
        "frames/__init__.py": "from verify.frames.raw import open_raw",
        "frames/raw.py": "import rawpy\nfrom ..errors import X\nfrom verify import exposure",
        "target.py": "from verify.frames.raw import open_raw",
        "measure.py": "'print'\nimport math\nfrom verify.errors import FrameError",
        "report/__init__.py": "import rich.console\nrich.console.Console(file=page).print(table)",
        "simulate.py": "import tifffile, imagecodecs.imagecodecs",
        "cli.py": "from verify import __version__, simulate\nprint(1)\nraise SystemExit(2)",
    }
    assert rule(grow(tmp_path, good)) == []


BAD_TREES: list[tuple[Rule, dict[str, str], str]] = [
    (
        stages_out_of_order,
        {"measure.py": "from verify.compare import check", "compare.py": ""},
        "verify.measure imports verify.compare",
    ),
    (
        stages_out_of_order,
        {"measure.py": "def f():\n    from . import shoot", "shoot.py": ""},
        "verify.measure imports verify.shoot",
    ),
    (
        stages_out_of_order,
        {"frames/__init__.py": "", "frames/raw.py": "from ..plan import Plan"},
        "verify.frames.raw imports verify.plan",
    ),
    (
        stages_out_of_order,
        {"shoot.py": "import verify.simulate.scene"},
        "verify.shoot imports verify.simulate.scene",
    ),
    (
        stages_out_of_order,
        {"__init__.py": "from verify import errors", "errors.py": ""},
        "verify imports verify.errors",
    ),
    (stages_out_of_order, {"tint.py": ""}, "the stage tint is not in the table"),
    (
        circles,
        {"plan/toml.py": "from verify.plan import words", "plan/words.py": "from . import toml"},
        "verify.plan.toml is imported by verify.plan.words is imported by verify.plan.toml",
    ),
    (
        circles,
        {"plan/__init__.py": "from .toml import read", "plan/toml.py": "from verify.plan import x"},
        "verify.plan",
    ),
    (decoders_elsewhere, {"measure.py": "import rawpy"}, "verify.measure imports rawpy"),
    (decoders_elsewhere, {"simulate.py": "import exifread"}, "verify.simulate imports exifread"),
    (
        decoders_elsewhere,
        {"target.py": "from tifffile.tifffile import imread"},
        "verify.target imports tifffile.tifffile",
    ),
    (decoders_elsewhere, {"cli.py": "import imagecodecs"}, "verify.cli imports imagecodecs"),
    (decoders_elsewhere, {"measure.py": "import cv2"}, "verify.measure imports cv2"),
    (decoders_elsewhere, {"target.py": "from PIL import Image"}, "verify.target imports PIL"),
    (
        decoders_elsewhere,
        {"target.py": "import cv2\nimage = cv2.imread(path)"},
        "verify.target calls cv2.imread",
    ),
    (
        decoders_elsewhere,
        {"report.py": "from PIL import Image\nwith Image.open(path) as image: ..."},
        "verify.report calls Image.open",
    ),
    (speaking_elsewhere, {"measure.py": "def f():\n    print(1)"}, "verify.measure: print"),
    (speaking_elsewhere, {"plan.py": "def f(say=print): ..."}, "verify.plan: print"),
    (
        speaking_elsewhere,
        {"plan.py": "from rich import print"},
        "verify.plan: import of rich.print",
    ),
    (
        speaking_elsewhere,
        {"plan.py": "from sys import stderr"},
        "verify.plan: import of sys.stderr",
    ),
    (speaking_elsewhere, {"report.py": "sys.stdout.write('')"}, "verify.report: sys.stdout"),
    (speaking_elsewhere, {"report.py": "Console().print(1)"}, "verify.report: Console()"),
    (speaking_elsewhere, {"shoot.py": "raise SystemExit(2)"}, "verify.shoot: SystemExit"),
    (speaking_elsewhere, {"shoot.py": "import sys\nsys.exit(2)"}, "verify.shoot: sys.exit"),
    (speaking_elsewhere, {"shoot.py": "import typer"}, "verify.shoot: import of typer."),
    (names_without_subject, {"utils.py": ""}, "verify.utils says nothing"),
    (names_without_subject, {"frames/helpers.py": ""}, "verify.frames.helpers says nothing"),
    (names_without_subject, {"common/raw.py": ""}, "verify.common.raw says nothing"),
    (names_without_subject, {"misc/__init__.py": ""}, "verify.misc says nothing"),
    (values_from_root, {"plan.py": "import verify"}, "verify.plan takes the package from the root"),
    (values_from_root, {"plan.py": "from verify import Plan"}, "verify.plan takes Plan"),
    (values_from_root, {"plan.py": "from . import C"}, "verify.plan takes C"),
    (values_from_root, {"plan.py": "from verify import *"}, "verify.plan takes *"),
    (folders_not_packages, {"frames/raw.py": ""}, "verify/frames has no __init__.py"),
]


@pytest.mark.parametrize(("rule", "files", "sentence"), BAD_TREES)
def test_a_bad_tree_breaks_the_rule(
    rule: Rule, files: dict[str, str], sentence: str, tmp_path: Path
) -> None:
    broken = rule(grow(tmp_path, files))
    assert len(broken) >= 1
    assert broken[0].startswith(sentence)


def test_every_rule_has_a_bad_tree() -> None:
    assert {rule for rule, _, _ in BAD_TREES} == set(RULES)


def test_the_table_is_one_way() -> None:
    above: set[str] = set()
    for stage, known in KNOWS.items():
        assert known <= above, f"{stage} stands above what it knows"
        above.add(stage)
