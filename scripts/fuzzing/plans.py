"""Damage to plans: to their text, and to what is written in them."""

import math
import re
from collections.abc import Callable
from copy import deepcopy
from datetime import date, datetime, time
from random import Random
from typing import Any

PLANS: tuple[dict[str, Any], ...] = (
    {"reading": {"aperture": "f/11"}},
    {
        "reading": {
            "aperture": "f/11 + 0.3", "iso": 100, "step": 0.1, "light": "flash", "pops": 2,
            "method": "incident", "receptor": "dome", "aimed": "lamp", "constant": 330.0,
            "meter": "Quill 2", "correction": 0.1,
        },
        "camera": {
            "aperture": "f/13", "iso": 100, "shutter": "1/125", "sync": "1/200", "step": "1/3",
            "shutter_kind": "leaf", "pops": 1, "over": 0.3, "filters": 0.6, "magnification": 0.5,
            "pupil_magnification": 1.1, "f_number_written": "effective",
        },
        "card": {"name": "grey 18", "reflectance": 0.18, "box": [0.5, 0.25, 0.375, 0.5]},
        "tolerance": {"absolute": 0.17, "between_frames": 0.1},
        "uncertainty": {"card": 0.08, "placing": 0.1, "meter": 0.03, "lens": 0.05},
        "setup": [
            {"name": "low", "frames": "0001-0010, 0012", "camera": {"aperture": "f/8"}},
            {"name": "second body", "serial": "0047", "tolerance": {"absolute": 0.3}},
            {"name": "rest", "from": "0020", "reading": {"aperture": "f/8", "iso": 200}},
        ],
    },
    {
        "reading": {"aperture": "f/5.6", "light": "continuous", "shutter": "1/60", "step": "1/3",
                    "method": "reflected"},
        "camera": {"shutter": "1/125", "extension_mm": 40, "focal_mm": 120.0},
        "card": {"box": "72,24,54,48"},
    },
    {"card": {"box": "find"}},
    {
        "reading": {"aperture": "f/8"},
        "camera": {"shutter": "1/160", "sync": "1/200", "travel": "3 ms", "delay": "0.5 ms"},
        "flash": [
            {"lamp": "key", "share": 0.7, "power": 7.0, "quoted_at": 6.0, "t_half": "1/800",
             "t_tenth": "1/250", "kind": "decaying"},
            {"share": 0.3, "power": "1/4", "t_tenth": "1/2000", "kind": "cut"},
        ],
        "subject": {"speed": 2.0, "direction": "along", "size_m": 0.3, "focal_mm": 80,
                    "distance_m": 1.5, "against": "black"},
        "sensor": {"pixel_pitch_um": 4.0, "width_mm": 36.0, "height_mm": 24.0,
                   "covered_first": "top"},
        "ambient": {"aperture": "f/2.8"},
        "limits": {"sharp_px": 1.5, "slight_px": 3.0},
        "setup": [
            {"name": "print", "frames": "0001", "limits": {"print_mm": 400, "viewing_mm": 600},
             "ambient": {"stops_under_flash": 4.0}, "subject": {"field_width_m": 1.2}},
            {"name": "leaf", "from": "0002", "camera": {"shutter_kind": "leaf", "opening": "1 ms",
             "closing": "1 ms"}, "flash": [{"t_half": "1/500"}]},
        ],
    },
)  # fmt: skip
HOSTILE_TEXT = (
    "", " ", "=1+1", "+1", "-1", "@now", "a,b;c\td", 'say "so"', "it's", "two\nlines",
    "return\rhere", "\r\n", "\0", "\x1b[31mred\x1b[0m", "\x07", "\x7f", "\u202egnp.exe", "\u200b",
    "\ufeff", "\u2028", "e\u0301\u0301\u0301", "日本", "🙂", "ß", "½", "١٢٣", "²", "\U000e0001",
    "[bold]x[/bold]", "%s%n", "{0}", "../../x", "/dev/null", "~", "C:\\x", "main", "nan", "inf",
    "1e999", "0x10", "1_000", "9" * 30, "9" * 5000, "0123-" + "9" * 5000, "x" * 300,
    "x" * 100_000, "f/" + "1" * 400, "1/" + "9" * 5000, "f/11 + 0." + "3" * 5000, "1e5000",
    "exact " + "9" * 400, "72,24,54", "1e308,1e308,1e308,1e308", "nan,nan,nan,nan",
    "0,0,1,1e-320", ",,,", "5,5,5,5", "0.5,0.5,0.1,0.1",
)  # fmt: skip
HOSTILE: tuple[Any, ...] = (
    *HOSTILE_TEXT, 0, 1, -1, 2**31, 2**63 - 1, -(2**63), 10**30, 0.0, -0.0, 1e-320, 1e308, -1e308,
    5e-324, math.nan, math.inf, -math.inf, True, False, [], [[]], {}, [1, "x"], {"": 1}, [None],
    {"aperture": {"aperture": "f/11"}}, [{"name": "x"}], date(2026, 5, 12), time(14, 3),
    datetime(2026, 5, 12, 14, 3), [0.1] * 4, [10**400] * 4, [1] * 5000, ["5", "5", "5", "5"],
)  # fmt: skip
MILD: tuple[Any, ...] = (  # what may well be allowed, though not everywhere
    0.01, 0.05, 0.1, 0.18, 0.5, 1, 1.0, 2, 3, 5, 10, 18, 64, 100, 400, 3200, "f/8", "f/5.6", "8",
    "f/11 + 0.5", "exact 10.9", "T5.6", "1/60", "1/125", "0.3 s", "4 s", "bulb", "ISO 400", "1/3",
    "1/2", "flash", "continuous", "incident", "reflected", "dome", "flat", "lamp", "camera", "0047",
    "0001", "0001-0004", "72,24,54,48", "0.5,0.25,0.375,0.5", [72, 24, 54, 48], "chart", "find",
)  # fmt: skip
PIECES = (
    '"', "'", '"""', "'''", "[", "]", "[[", "]]", "{", "}", "=", ",", "#", ".", "\\", "\\u", "\\x",
    "\n", "\r", "\0", "\x0b", "\ufeff", "é", "🙂", "nan", "-inf", "0x", "1e999999999", "9" * 5000,
    "-" + "9" * 20, "true", "[reading]", "[reading]\n", "[[reading]]", "[setup]", "[[setup]]",
    "reading = 1\n", "a.b.c = 1\n", 'aperture = "f/8"\n', "1979-05-27T07:32:00Z", "25:61:61",
)  # fmt: skip
LISTS = ("setup", "flash")  # sections in double brackets
DEPTHS = (50, 500, 3000, 50_000)


def toml_of(value: Any, top: bool = True) -> str:
    """A plan as TOML; what TOML has not (None) is left out."""
    if isinstance(value, dict):
        pairs = [(_key(k), v) for k, v in value.items() if v is not None]
        if not top:
            return "{" + ", ".join(f"{k} = {toml_of(v, False)}" for k, v in pairs) + "}"
        tables = [(k, v) for k, v in pairs if isinstance(v, dict)]
        arrays = [(k, v) for k, v in pairs if k in LISTS and _tables(v)]
        lines = [f"{k} = {toml_of(v, False)}" for k, v in pairs if (k, v) not in tables + arrays]
        for key, table in tables:
            lines += [f"[{key}]", *(f"{_key(k)} = {toml_of(v, False)}" for k, v in table.items())]
        for key, tables_in in arrays:
            for table in tables_in:
                lines += [f"[[{key}]]"]
                lines += [f"{_key(k)} = {toml_of(v, False)}" for k, v in table.items()]
        return "\n".join(lines) + "\n"
    if isinstance(value, list):
        return "[" + ", ".join(toml_of(v, False) for v in value if v is not None) + "]"
    return _scalar(value)


def _tables(value: Any) -> bool:
    """Whether a value is written with double brackets."""
    return isinstance(value, list) and bool(value) and all(isinstance(v, dict) for v in value)


def _key(key: str) -> str:
    """A key, in quotation marks where it needs them."""
    return key if re.fullmatch(r"[A-Za-z0-9_-]+", key) else _scalar(key)


def _scalar(value: Any) -> str:
    """Text, a number, a date or a truth value."""
    if isinstance(value, str):
        escaped = value.replace("\\", "\\\\").replace('"', '\\"')
        return '"' + re.sub(r"[\x00-\x1f\x7f]", lambda c: f"\\u{ord(c[0]):04x}", escaped) + '"'
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, date | time | datetime):
        return value.isoformat()
    return str(value)


def mutated_plan(random: Random) -> tuple[bytes, str]:
    """The bytes of a plan file that was damaged, and what was done to it."""
    plan = deepcopy(random.choice(PLANS))
    did = []
    if random.random() < 0.4:
        table = random.choice(
            [t for t in (*plan.values(), *_in_lists(plan)) if isinstance(t, dict)]
        )
        key = random.choice(list(table))
        table[key] = deepcopy(random.choice(MILD))
        did.append(f"{key} = {table[key]!r}")
    elif random.random() < 0.7:
        for _ in range(random.choice((1, 1, 2, 4))):
            did.append(_change(plan, random))
    text = toml_of(plan)
    if not did or random.random() < 0.2:
        for _ in range(random.choice((1, 1, 2, 5))):
            change = random.choice(TEXT_CHANGES)
            text = change(text, random)
            did.append(change.__name__.strip("_"))
    encoding = random.choice(("utf-8",) * 40 + ("utf-8-sig", "utf-16", "latin-1", "utf-32"))
    data = text.encode(encoding, "surrogatepass" if encoding.startswith("utf") else "replace")
    if random.random() < 0.05:
        at = random.randrange(len(data) + 1)
        data = data[:at] + random.randbytes(3) + data[at:]
        did.append("bytes that are no text")
    return data, f"{', '.join(did)}; {encoding}"


def _change(plan: dict[str, Any], random: Random) -> str:
    """One value, key or table of a plan changed."""
    tables = [plan, *(v for v in plan.values() if isinstance(v, dict)), *_in_lists(plan)]
    table = random.choice(tables)
    how = random.choice(("value", "value", "value", "key", "delete", "add", "move", "deep"))
    if how == "add" or not table:
        key = random.choice(
            ("box", "flat", "serial", "frames", "from", "name", "", "a b", "é", "x.y")
        )
        table[key] = deepcopy(random.choice(HOSTILE))
        return f"key {key!r} added"
    key = random.choice(list(table))
    if how == "value":
        table[key] = deepcopy(random.choice(HOSTILE))
        return f"{key} = {str(table[key])[:40]!r}"
    value = table.pop(key)
    if how == "key":
        table[
            random.choice((key.upper(), key[:-1], f"{key} ", "", random.choice(HOSTILE_TEXT)))
        ] = value
    elif how == "move":
        random.choice(tables)[key] = value
    elif how == "deep":
        depth = random.choice((2, 20, 80))
        for _ in range(depth):
            value = [value] if random.random() < 0.5 else {"x": value}
        table[key] = value
    return f"{key}: {how}"


def _in_lists(plan: dict[str, Any]) -> list[dict[str, Any]]:
    """The set-ups and lamps of a plan, where they still are tables."""
    lists = [plan[name] for name in LISTS if isinstance(plan.get(name), list)]
    return [table for tables in lists for table in tables if isinstance(table, dict)]


def _piece(text: str, random: Random) -> str:
    at = random.randrange(len(text) + 1)
    return text[:at] + random.choice(PIECES) + text[at:]


def _without(text: str, random: Random) -> str:
    at = random.randrange(len(text) + 1)
    return text[:at] + text[at + random.choice((1, 1, 5, 50)) :]


def _cut(text: str, random: Random) -> str:
    return text[: random.randrange(len(text) + 1)]


def _line_twice(text: str, random: Random) -> str:
    lines = text.splitlines(keepends=True)
    if lines:
        lines.insert(random.randrange(len(lines) + 1), random.choice(lines))
    return "".join(lines)


def _lines_mixed(text: str, random: Random) -> str:
    lines = text.splitlines(keepends=True)
    random.shuffle(lines)
    return "".join(lines)


def _unquoted(text: str, random: Random) -> str:
    at = [found.start() for found in re.finditer('"', text)]
    return (
        text
        if not at
        else "".join(c for i, c in enumerate(text) if i != random.choice(at[:1] + at))
    )


def _nested(text: str, random: Random) -> str:
    depth = random.choice(DEPTHS)
    open_, close = random.choice((("[", "]"), ("{a=", "}"), ("[", ""), ("{a.b=[", "]}")))
    return text + f"\ndeep = {open_ * depth}1{close * depth}\n"


def _dotted(text: str, random: Random) -> str:
    depth = random.choice(DEPTHS)
    keys = ".".join("k" * depth)
    return random.choice((f"{keys} = 1\n", f"[{keys}]\n")) + text


def _many(text: str, random: Random) -> str:
    number = random.choice((100, 3000))
    form = random.choice(
        ('[[setup]]\nname = "n{}"\nframes = "{}"\n', "k{} = 1\n", "[t{}]\nx = 1\n")
    )
    return text + "\n" + "".join(form.format(n, n) for n in range(number))


def _long(text: str, random: Random) -> str:
    return (
        text
        + random.choice(("#", '\nlong = "', "\nlong = ", " "))
        + "1" * random.choice((5000, 10**6))
    )


TextChange = Callable[[str, Random], str]
TEXT_CHANGES: tuple[TextChange, ...] = (
    _piece, _piece, _piece, _without, _without, _cut, _line_twice, _lines_mixed, _unquoted, _nested,
    _dotted, _many, _long,
)  # fmt: skip
