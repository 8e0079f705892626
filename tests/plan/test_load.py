"""verify/plan/load.py: what no plan is, told in one line; and no message runs out of its line."""

import os
from pathlib import Path

import pytest
from readings import METERED

from verify.errors import PlanError, in_one_line
from verify.plan.file import MOST_TOLD, read_plan
from verify.plan.load import LARGEST_PLAN, MOST_DOTS, load_tables

NO_PLANS = {
    "lists in lists": ("a = " + "[" * 5000 + "]" * 5000, "nested too deeply"),
    "tables in tables": ("a = " + "{a = " * 5000 + "1" + "}" * 5000, "nested too deeply"),
    "lists that never close": ("a = " + "[" * 5000, "nested too deeply"),
    "more digits than Python reads": ("a = " + "9" * 5000, "more digits than any plan needs"),
    "more digits than Python writes": ("a = 0x" + "f" * 5000, "more digits than any plan needs"),
    "such digits in a list": ("a = [1, [0x" + "f" * 5000 + "]]", "more digits than any plan needs"),
    "keys in keys": (".".join("k" * 50_000) + " = 1", f"line 1 has more than {MOST_DOTS} dots"),
    "tables of keys in keys": ("\n[" + ".".join("k" * 5000) + "]", "line 2 has more than"),
    "a whole disk": ("#" * (LARGEST_PLAN + 1), "250,001 bytes are no plan: one has up to 250,000"),
    "a long key twice": (("k" * 5000 + " = 1\n") * 2, "this is not TOML: "),
}


@pytest.mark.parametrize("name", NO_PLANS)
def test_no_plan(name: str, tmp_path: Path) -> None:
    text, says = NO_PLANS[name]
    path = tmp_path / "plan.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(PlanError) as refused:
        load_tables(path)
    message = str(refused.value)
    assert message.startswith(f"{path}: ")
    assert says in message
    assert message.isprintable()
    assert len(message) < len(str(path)) + 250


def test_what_is_much_and_still_a_plan(tmp_path: Path) -> None:
    path = tmp_path / "plan.toml"
    rulers = f"# {'.' * 500}\n"
    numbers = f"a = [{', '.join(['0.5'] * MOST_DOTS)}]\nb = {2**64}\nc = {'[' * 50}{']' * 50}\n"
    path.write_text(rulers + numbers, encoding="utf-8")
    assert load_tables(path)["b"] == 2**64


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no pipes with names")
def test_a_pipe_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "plan.toml")
    with pytest.raises(PlanError, match="the plan is not a regular file"):
        load_tables(tmp_path / "plan.toml")


LONG = "x" * 5000
ONE_LINE_EACH = {
    "a key of two lines": f'{METERED}"two\\nlines" = 1\n',
    "a long key": f"{METERED}{LONG} = 1\n",
    "a long section": f"[{LONG}]\na = 1\n",
    "a separator of lines": f'{METERED}method = "a\\u2028b"\n',
    "a long value": f'{METERED}method = "{LONG}"\n',
    "frames on two lines": f'{METERED}[[setup]]\nname = "a"\nframes = "1\\n2"\n',
    "long frames": f'{METERED}[[setup]]\nname = "a"\nframes = "{LONG}"\n',
    "frames that run backwards over lines": (
        f'{METERED}[[setup]]\nname = "a"\nframes = "9\\n-\\n3"\n'
    ),
    "a long number of a frame": f'{METERED}[[setup]]\nname = "a"\nframes = "1-{"9" * 5000}"\n',
    "a long first frame": f'{METERED}[[setup]]\nname = "a"\nfrom = "{"9" * 5000}"\n',
    "a long name": f'{METERED}meter = "{LONG}"\n',
    "a box on two lines": f'{METERED}[card]\nbox = "1\\n2"\n',
    "a long box": f'{METERED}[card]\nbox = "{LONG}"\n',
    "a box of long numbers": f"{METERED}[card]\nbox = [{', '.join(['1e300'] * 4)}]\n",
}


@pytest.mark.parametrize("name", ONE_LINE_EACH)
def test_what_a_message_quotes_stays_in_its_line(name: str, tmp_path: Path) -> None:
    path = tmp_path / "plan.toml"
    path.write_text(ONE_LINE_EACH[name], encoding="utf-8")
    with pytest.raises(PlanError) as refused:
        read_plan(path)
    message = str(refused.value)
    assert message.startswith(f"{path}: ")
    assert message.isprintable()
    assert len(message) < len(str(path)) + 400


@pytest.mark.parametrize("text", ["[reading]\n", "setup = 1\n", "a = [\n", "\x00"])
def test_a_plan_with_a_name_of_two_lines(text: str, tmp_path: Path) -> None:
    path = tmp_path / "two\nlines.toml"
    try:
        path.write_text(text, encoding="utf-8")
    except OSError:
        pytest.skip("this system has no such names")
    with pytest.raises(PlanError) as refused:
        read_plan(path)
    assert str(refused.value).isprintable()
    assert str(refused.value).startswith(in_one_line(str(path)))


def test_of_many_mistakes_the_first_are_told(tmp_path: Path) -> None:
    path = tmp_path / "plan.toml"
    path.write_text("".join(f"k{n} = 1\n" for n in range(1000)), encoding="utf-8")
    with pytest.raises(PlanError) as refused:
        read_plan(path)
    *told, last = str(refused.value).splitlines()
    assert len(told) == MOST_TOLD
    assert last == f"{path}: and {1000 - MOST_TOLD} more mistakes"


def test_a_thousand_set_ups(tmp_path: Path) -> None:
    path = tmp_path / "plan.toml"
    setups = (f'[[setup]]\nname = "n{n}"\nframes = "{n}"\n' for n in range(1000))
    path.write_text(f"{METERED}{''.join(setups)}", encoding="utf-8")
    assert len(read_plan(path).setups) == 1001


def test_in_one_line() -> None:
    assert in_one_line("a\r\n\x1b[31m\u2028b") == "a\N{REPLACEMENT CHARACTER}" + (
        "\N{REPLACEMENT CHARACTER}" * 2 + "[31m\N{REPLACEMENT CHARACTER}b"
    )
    assert in_one_line("x" * 9, 9) == "x" * 9
    assert in_one_line("x" * 10, 9) == "xxxxxx..."
    assert in_one_line("日本 🙂") == "日本 🙂"
