"""verify/trace/read.py on what is no recording: one clear line each, and never another error."""

import io
import os
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image
from recordings import codes, pulse_volts, table, wav

from verify.errors import PlanError
from verify.trace import read
from verify.trace.read import read_trace

ASK = r"--time COLUMN --value COLUMN"
ROWS = table().splitlines()


def saved(folder: Path, data: str | bytes) -> Path:
    path = folder / "flash.csv"
    path.write_bytes(data if isinstance(data, bytes) else data.encode())
    return path


def changed(row: int, text: str) -> str:
    """The table with another text for one of its rows, which are lines 2 to 61."""
    rows = [*ROWS]
    rows[row] = text
    return "\n".join(["time (s),light (V)", *rows]) + "\n"


def picture() -> bytes:
    file = io.BytesIO()
    Image.fromarray(np.zeros((8, 8), np.uint8)).save(file, "PNG")
    return file.getvalue()


three = "\n".join(["time (s),CH1 (V),CH2 (V)", *(f"{row},0.5" for row in ROWS)])
REFUSED = {
    "empty": ("", "nothing is in it"),
    "blank": (" \n\n\t\n", "nothing is in it"),
    "prose": ("The key light was\nset to full power.\n" * 30, "no rows of numbers in this text"),
    "a plan": ('[subject]\ndirection = "across"\n', "no rows of numbers"),
    "comments only": ("# 1,2\n" * 30, "no rows of numbers"),
    "header only": ("time (s),light (V)\n", "no rows of numbers"),
    "binary": (bytes(range(256)) * 9, "this is not text and no WAV file"),
    "NUL later": (table().encode() + b"\0", "this is not text and no WAV file"),
    "a picture": (picture(), "this is a picture"),
    "a workbook": (b"PK\x03\x04" + b"\0" * 90, "a spreadsheet's own file or an archive"),
    "compressed sound": (b"fLaC" + b"\0" * 90, "this is compressed sound"),
    "half of UTF-16": (table().encode("utf-16")[:-1], "not text in UTF-16, as it begins"),
    "units in cells": ("0 ms,1 V\n1 ms,2 V\n" * 20, "units in the cells, maybe mixed"),
    "one unit in a cell": (changed(30, "1e-4,700 mV"), 'line 32: "700 mV" in column 2 is no num'),
    "two units of a column": (
        "\n".join(["time (ms),light", "s,V", *ROWS]),
        "mixed units in column 1: ms in its name, s below it",
    ),
    "units against the preamble": (
        "\n".join(["Horizontal Units,ms", "time (s),light", *ROWS]),
        "mixed units: time is in s by its name, in ms above it",
    ),
    "interval of another unit": (
        "\n".join(["Sample Interval,4e-6", *table(scale=1e3).splitlines()]),
        "mixed units: 4e-06 s between samples by the lines above, and 0.004 s by column 1",
    ),
    "two intervals": (
        "\n".join(["Sample Interval,4e-6", "Sample Rate,250", "light", "0.1", "0.2"]),
        "mixed units: .* 4e-06 s in one place and 0.004 s in another",
    ),
    "no unit": (table(scale=1e6, above=["time,light"]), "has no unit and steps by 4, too much"),
    "not a unit of time": (table(above=["time (V),light (V)"]), '"V" is no unit of time'),
    "backwards": (changed(30, "1e-6,0.7"), "line 32: time runs backwards, from 8.4e-05 to 1e-06"),
    "standing still": (changed(30, f"{ROWS[29]}"), "line 32: time stands still at 8.4e-05"),
    "a gap": (changed(-1, "1,0.7"), "line 61: a gap of .* where samples are 4e-06 s apart"),
    "no time": ("1.5e300,2\n" * 20 + "1.7e300,2\n", ASK),
    "too late": (
        "time (s),v\n" + "".join(f"{n}e300,1\n" for n in range(1, 40)),
        "is no time of a recording",
    ),
    "NaN": (changed(30, "8.8e-5,NaN"), "line 32: NaN in column 2"),
    "NaN in time": (changed(30, "nan,0.7"), "line 32: NaN in column 1"),
    "NaN without a header": ("\n".join(["nan,1", *ROWS]), "line 1: NaN in column 1"),
    "infinity": (changed(30, "8.8e-5,-inf"), "line 32: infinity in column 2"),
    "an empty cell": (changed(30, "8.8e-5,"), "line 32: column 2 is empty"),
    "a cut row": (changed(59, "2.04e-4"), "line 61: column 2 is empty.* cut short"),
    "a word": (changed(30, "8.8e-5,over"), 'line 32: "over" in column 2 is no number'),
    "a word at the top": (changed(1, "oops,1"), 'line 3: "oops" in column 1 is no number'),
    "swapped": (
        table(above=["light (V),time (s)"]),
        "columns look swapped: column 1 rises .* say --time 1 --value 2",
    ),
    "one column": (table(timed=False), "one column of numbers only, and nothing states the time"),
    "two channels": (
        three,
        f'apart: 1 "time \\(s\\)", 2 "CH1 \\(V\\)", 3 "CH2 \\(V\\)": say {ASK}',
    ),
    "nothing rises": ("3,4\n2,5\n3,4\n" * 10, f"no column rises .* as time does: 1, 2: say {ASK}"),
    "both rise": ("".join(f"{n}.5,{n + 7}.5\n" for n in range(30)), f"told apart: 1, 2: say {ASK}"),
    "two times": (three.replace("CH2 (V)", "time (us)"), ASK),
    "too few": ("\n".join(ROWS[:19]), "19 samples are too few: a pulse needs at least 20"),
    "one row": ("time (s),light\n0,1\n", "1 samples are too few"),
    "commas for both": (
        table(decimal=","),
        "commas seem to separate columns and decimals both",
    ),
}


@pytest.mark.parametrize(("data", "message"), REFUSED.values(), ids=REFUSED.keys())
def test_no_recording_is_refused_in_one_line(
    data: str | bytes, message: str, tmp_path: Path
) -> None:
    with pytest.raises(PlanError, match=message) as refused:
        read_trace(saved(tmp_path, data))
    assert str(refused.value).startswith(str(tmp_path))
    assert "\n" not in str(refused.value)


def test_the_tables_that_are_spoilt_here_are_read_when_whole(tmp_path: Path) -> None:
    assert read_trace(saved(tmp_path, changed(0, ROWS[0]))).value.tolist() == pulse_volts().tolist()


@pytest.mark.parametrize(
    ("time", "value", "message"),
    [
        ("watch", None, '--time: there is no column "watch"; the columns are 1 "time'),
        (None, "5", '--value: there is no column "5"'),
        (None, "", '--value: there is no column ""'),
        ("1", "time", "--time and --value name the same column"),
        (None, "note", '--value: column 4 "note" does not hold numbers'),
        (None, "CH", "--value: several columns have this name: say its number"),
        ("CH\n\x1b", "2", "--time: there is no column"),
    ],
)
def test_columns_that_are_not_there(
    time: str | None, value: str | None, message: str, tmp_path: Path
) -> None:
    text = "\n".join(["time,CH,CH,note", *(f"{row},0.5,dim" for row in ROWS)])
    with pytest.raises(PlanError, match=message) as refused:
        read_trace(saved(tmp_path, text), time, value)
    assert "\n" not in str(refused.value)


def test_files_that_are_not_there(tmp_path: Path) -> None:
    with pytest.raises(PlanError, match="there is no such recording"):
        read_trace(tmp_path / "none.csv")
    with pytest.raises(PlanError, match="this is a folder"):
        read_trace(tmp_path)
    with pytest.raises(PlanError, match="cannot be read"):
        read_trace(tmp_path / "a\0b")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no pipes with names")
def test_a_pipe_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(PlanError, match="not a regular file"):
        read_trace(tmp_path / "pipe")


def test_a_file_that_is_too_large(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = saved(tmp_path, table())
    monkeypatch.setattr(read, "LARGEST", path.stat().st_size)
    assert read_trace(path).value.size == 60
    path.write_bytes(path.read_bytes() + b"\n")
    with pytest.raises(PlanError, match="are too large: a recording may have up to"):
        read_trace(path)


def only_ours(path: Path, data: bytes) -> None:
    """Whatever the bytes are: a trace that keeps its promises, or a PlanError of one line."""
    path.write_bytes(data)
    refusal = ""
    try:
        trace = read_trace(path)
    except PlanError as error:
        refusal = str(error)
    else:
        assert trace.time_s.shape == trace.value.shape
        assert np.isfinite(trace.value).all()
        assert (np.diff(trace.time_s) > 0).all()
    assert "\n" not in refusal


CELLS = ["0", "1", "2", "-1", "0.5", "1e-6", "1e308", "nan", "x", "t", "3,5", "09"]
MANY = settings(max_examples=300, suppress_health_check=[HealthCheck.function_scoped_fixture])
SEEDS = [
    table().encode(),
    table(";", ",", 1e6, ["# a", "time (us);light (V)"]).encode(),
    table(timed=False, above=["Sample Rate,250 kHz", "light"]).encode(),
    three.encode(),
    wav(codes(np.linspace(-1, 0.5, 60), 24), bits=24),
    wav(np.linspace(-1, 1, 60).astype("<f8").tobytes(), kind=3, channels=2, bits=64),
]


@MANY
@given(data=st.binary(max_size=300))
def test_any_bytes(data: bytes, tmp_path: Path) -> None:
    only_ours(tmp_path / "any", data)


@MANY
@given(text=st.text(st.sampled_from('0123456789.,;\t -+eE\n\r"#%!nainfts()µV'), max_size=300))
def test_any_text_of_the_signs_of_tables(text: str, tmp_path: Path) -> None:
    only_ours(tmp_path / "text", text.encode())


@MANY
@given(
    rows=st.lists(
        st.lists(st.sampled_from(CELLS), max_size=4),
        max_size=30,
    ),
    delimiter=st.sampled_from([",", ";", "\t", " "]),
)
def test_any_cells(rows: list[list[str]], delimiter: str, tmp_path: Path) -> None:
    only_ours(tmp_path / "cells", "\n".join(map(delimiter.join, rows)).encode())


@MANY
@given(
    seed=st.sampled_from(SEEDS),
    at=st.integers(0, 3000),
    length=st.integers(0, 8),
    other=st.binary(max_size=8),
)
def test_damaged_recordings(
    seed: bytes, at: int, length: int, other: bytes, tmp_path: Path
) -> None:
    at %= len(seed)
    only_ours(tmp_path / "damaged", seed[:at] + other + seed[at + length :])
