"""Records to what JSON can hold."""

import math
from typing import Any


def plain_values(value: Any) -> Any:
    """Plain values only; what is no finite number becomes null."""
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, dict):
        return {key: plain_values(inner) for key, inner in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain_values(inner) for inner in value]
    return value
