"""verify/trace/read.py on tables: one trace, however it is written."""

from pathlib import Path

import numpy as np
import pytest
from recordings import STEP_S, pulse_times_s, pulse_volts, table

from verify.errors import PlanError
from verify.trace.read import read_trace

DIGITS_S = 1e-12  # times are written to nine digits or to whole microseconds: rounding only


def written(folder: Path, text: str | bytes) -> Path:
    path = folder / "flash.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


SCOPE = ["Model,X-1", "Record Length,60", "Sample Interval,4e-6", "Vertical Units,V", "Source,CH1"]
TIMED = {
    "bare": table(),
    "header": table(above=["time,light"]),
    "units in the header": table(above=["Time (s),Light (V)"]),
    "milliseconds": table(scale=1e3, above=["time [ms],light [V]"]),
    "microseconds": table(scale=1e6, above=["t/us,U/mV"]),
    "micro sign": table(scale=1e6, above=["time (\u00b5s),light"]),
    "Greek mu": table(scale=1e6, above=["time (\u03bcs),light"]),
    "nanoseconds": table(scale=1e9, above=["time_ns,light"]),
    "row of units": table(scale=1e3, above=["Time,Channel A", "(ms),(V)"]),
    "words in brackets": table(scale=1e3, above=["Time (from trigger),Light (raw)", "ms,V"]),
    "row of units alone": table(scale=1e6, above=["us,V"]),
    "blank line below the units": table(scale=1e3, above=["Time,Channel A", "(ms),(V)", ""]),
    "semicolon": table(";", above=["time (s);light (V)"]),
    "semicolon, decimal comma": table(";", ",", above=["time (s);light (V)"]),
    "tab": table("\t", above=["time (s)\tlight (V)"]),
    "tab, decimal comma": table("\t", ",", 1e6, ["time (us)\tlight (V)"]),
    "comma and blank": table(", ", above=["time (s), light (V)"]),
    "blanks": table("   "),
    "blanks with header": table("  ", scale=1e6, above=["time (us)  light (V)"]),
    "blanks, decimal comma": table(" ", ","),
    "comments": table(above=["# a flash at full power", "; noon", "% 2 m", "! low", "time,light"]),
    "header in a comment": table(scale=1e6, above=["# time (us), light (V)"]),
    "preamble": table(above=[*SCOPE, "TIME,CH1"]),
    "keys that only look alike": table(above=["Resolution,0.004", "Level,0.5 V", "time,light"]),
    "preamble with its unit of time": table(scale=1e3, above=["Horizontal Units,ms", "a,b"]),
    "trailing delimiter": table(above=["time,light,"]).replace("\n-", ",\n-"),
    "all trailing": table().replace("\n", ",\n"),
    "Windows ends": table(above=["time,light"], end="\r\n"),
    "old ends": table(above=["time,light"], end="\r"),
    "blank lines at the end": table() + "\n\n",
    "no end of line": table().rstrip("\n"),
    "byte order mark": "\ufeff" + table(),
    "long preamble": table(above=[f"Setting {n},{n}" for n in range(90)]),
    "empty cells before decimal commas": "".join(
        f"{note}\t\t{line}\n"
        for note, line in zip(["", "on"] * 30, table("\t", ",").splitlines(), strict=True)
    ),
    "UTF-16": table(above=["time (\u00b5s),light"], scale=1e6).encode("utf-16"),
    "one-byte encoding": table(above=["time (\u00b5s),light"], scale=1e6).encode("cp1252"),
    "minus sign": table().replace("-", "\u2212").replace("e\u2212", "e-"),
    "quotation marks": '"' + table('","').rstrip().replace("\n", '"\n"') + '"',
    "quoted decimal commas": '"' + table('","', ",").rstrip().replace("\n", '"\n"') + '"\n',
    "a note between rows": table().replace("\n", "\n# trigger\n", 1),
    "blank lines between rows": table().replace("\n", "\n  \n", 5),
    "text beside the numbers": "".join(f"a,,{line}\n" for line in table().splitlines()),
    "count, time, light": "n,time,light\n"
    + "".join(f"{n},{line}\n" for n, line in enumerate(table().splitlines())),
    "light before time": "light,time (s)\n"
    + "".join(",".join(reversed(line.split(","))) + "\n" for line in table().splitlines()),
}
COUNTED = list(enumerate(table(timed=False).splitlines()))
UNTIMED = {
    "interval": table(timed=False, above=["Sample Interval,4e-6"]),
    "interval with its unit": table(timed=False, above=["Sampling interval: 4 us"]),
    "unit in the key": table(timed=False, above=["Sample Interval (us),4", "light"]),
    "unit in a cell of its own": table(timed=False, above=["Sample Interval,4,us", "light"]),
    "rate": table(timed=False, above=["# sample rate = 250 kHz"]),
    "rate in samples": table(timed=False, above=["Sample Rate;250000 Sa/s", "Volt"]),
    "rate in megasamples": table(timed=False, above=["Sample Rate,0.25 MS/s", "Volt"]),
    "interval and rate": table(timed=False, above=["Rate,250000", "Interval,0.000004", "light"]),
    "decimal comma": table(";", ",", timed=False, above=["Sample Interval;0,000004"]),
    "count and increment": "X,CH1,Start,Increment\nSequence,Volt,-3.2e-5,4e-6\n"
    + "".join(f"{n},{line},,\n" for n, line in COUNTED),
    "count": "Sample Interval,4e-6\nSample,Light\n" + "".join(f"{n},{v}\n" for n, v in COUNTED),
    "unnamed count": "Sample Interval,4e-6\n" + "".join(f"{n}\t{v}\n" for n, v in COUNTED),
}


@pytest.mark.parametrize("text", TIMED.values(), ids=TIMED.keys())
def test_a_column_of_time_reads_the_same_in_every_layout(text: str, tmp_path: Path) -> None:
    trace = read_trace(written(tmp_path, text))
    assert trace.form == "table"
    assert (trace.least, trace.most) == (None, None)
    assert trace.value.tolist() == pulse_volts().tolist()
    np.testing.assert_allclose(trace.time_s, pulse_times_s(), rtol=0, atol=DIGITS_S)


@pytest.mark.parametrize("text", UNTIMED.values(), ids=UNTIMED.keys())
def test_a_stated_interval_reads_the_same_in_every_layout(text: str, tmp_path: Path) -> None:
    trace = read_trace(written(tmp_path, text))
    assert trace.value.tolist() == pulse_volts().tolist()
    expected_s = pulse_times_s() - pulse_times_s()[0]
    np.testing.assert_allclose(trace.time_s, expected_s, rtol=0, atol=DIGITS_S)


def test_numbers_beside_the_preamble(tmp_path: Path) -> None:
    """Some instruments write keys in the first columns of the first rows of numbers."""
    beside = ["Record Length,60,Points", "Sample Interval,4e-6,s", "Trigger Point,8,Samples"]
    rows = table().splitlines()
    text = "\n".join(f"{key},{row}" for key, row in zip(beside, rows, strict=False))
    text += "\n" + "\n".join(f",,,{row}" for row in rows[3:])
    trace = read_trace(written(tmp_path, text))
    assert trace.value.tolist() == pulse_volts().tolist()
    np.testing.assert_allclose(trace.time_s, pulse_times_s(), rtol=0, atol=DIGITS_S)


def channels(header: str = "time (us),CH1 (V),CH2 (V)") -> str:
    rows = table(scale=1e6).splitlines()
    return "\n".join([header, *(f"{row},{n % 7}.25" for n, row in enumerate(rows))])


@pytest.mark.parametrize("value", ["CH1", "ch1", "CH1 (V)", "2"])
def test_the_channel_asked_for_is_read(value: str, tmp_path: Path) -> None:
    path = written(tmp_path, channels())
    assert read_trace(path, value=value).value.tolist() == pulse_volts().tolist()
    assert read_trace(path, value="3").value[:3].tolist() == [0.25, 1.25, 2.25]


def test_columns_asked_for_stand_over_guesses(tmp_path: Path) -> None:
    rows = [f"{n}e-6,{n * 2}e-6,{n % 5}" for n in range(30)]
    path = written(tmp_path, "\n".join(["time (s),other (s),light", *rows]))
    trace = read_trace(path, "other", "time")
    assert trace.time_s[1] == pytest.approx(2e-6)
    assert trace.value[1] == pytest.approx(1e-6)


def test_whole_numbers_between_commas_are_two_columns(tmp_path: Path) -> None:
    rows = [f"{n},{512 + n % 3}" for n in range(30)]
    text = "\n".join(["Sample Interval,4e-6", "n,code", *rows])
    read = read_trace(written(tmp_path, text))
    assert read.value[:3].tolist() == [512, 513, 514]
    assert read.time_s[1] == pytest.approx(STEP_S)


def test_one_column_with_decimal_commas(tmp_path: Path) -> None:
    """Beside an interval, "0,512" below "0,511" cannot be two columns with samples counted."""
    rows = [f"0,{512 + n % 3}" for n in range(30)]
    read = read_trace(written(tmp_path, "\n".join(["Sample Interval;0,000004", *rows])))
    assert read.value[:3].tolist() == [0.512, 0.513, 0.514]


def test_uneven_steps_are_read_as_they_are(tmp_path: Path) -> None:
    times_s = np.cumsum(np.where(np.arange(40) % 2, 1e-6, 2e-6))
    rows = [f"{t:.9g},{n % 5}" for n, t in enumerate(times_s)]
    read = read_trace(written(tmp_path, "\n".join(rows)))
    np.testing.assert_allclose(read.time_s, times_s, rtol=0, atol=DIGITS_S)


def test_a_long_table_is_read_to_its_end(tmp_path: Path) -> None:
    """Longer than what the layout is told from."""
    rows = [f"{n * 1e-6:.6f};{n % 11},5" for n in range(20_000)]
    text = "\n".join(rows).replace(".", ",")
    read = read_trace(written(tmp_path, text))
    assert read.value.size == 20_000
    assert read.value[-1] == (19_999 % 11) + 0.5
    assert read.time_s[-1] == pytest.approx(0.019999)


def test_samples_left_out_of_an_export_keep_the_stated_unit(tmp_path: Path) -> None:
    text = table(scale=1e6, above=["Sample Interval,4e-7", "time (us),light"])
    np.testing.assert_allclose(
        read_trace(written(tmp_path, text)).time_s, pulse_times_s(), rtol=0, atol=DIGITS_S
    )
    with pytest.raises(PlanError, match="mixed units"):
        read_trace(written(tmp_path, text.replace("(us)", "(ms)").replace("4e-7", "4e-6")))
