"""One file through the checker, and who answers where the card was before."""

from collections.abc import Hashable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from readings import plan_of
from small_shoots import METER_ONLY

from verify.checking import Checked, Checker, Wanted
from verify.target.records import Target


@dataclass(slots=True)
class Told:
    """Answers questions at once, or only when they are waited for; keeps them."""

    answer: Target | None = None
    at_once: bool = True
    asked: list[Hashable] = field(default_factory=list)
    waited: int = 0

    def __call__(self, question: Hashable, /) -> "Told":
        self.asked.append(question)
        return self

    def ready(self) -> bool:
        return self.at_once

    def wait(self) -> Target | None:
        self.waited += 1
        return self.answer


def done(
    folder: Path, file: Path, told: Told | None = None, text: str = METER_ONLY, **wanted: Any
) -> Checked:
    """One file checked against a plan."""
    return Checker(plan_of(folder, text), Wanted(**wanted))(file, told or Told())
