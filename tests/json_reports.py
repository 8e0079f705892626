"""A shoot's report in JSON as another program gets it, held against its schema."""

import json
from importlib import resources
from typing import Any

import jsonschema

from verify.report.as_json import as_json
from verify.shoot import Shoot


def reread(shoot: Shoot) -> dict[str, Any]:
    """The report as another program gets it; NaN and infinity are no JSON."""

    def refuse(word: str) -> float:
        raise AssertionError(f"{word} in the report")

    report: dict[str, Any] = json.loads(as_json(shoot), parse_constant=refuse)
    return report


def complaints(report: dict[str, Any], schema: dict[str, Any]) -> list[str]:
    """What the schema finds wrong."""
    validator = jsonschema.Draft202012Validator(schema)
    return [f"{error.json_path}: {error.message}" for error in validator.iter_errors(report)]


def shipped_schema(command: str = "check") -> dict[str, Any]:
    """The schema of a command's report as it is in the package."""
    file = resources.files("verify.report") / f"{command}.schema.json"
    loaded: dict[str, Any] = json.loads(file.read_text(encoding="utf-8"))
    return loaded
