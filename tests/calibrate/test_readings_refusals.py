"""What a readings file is refused for: every mistake in a line, with its place."""

import os
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from reading_files import HEADER, folder_of_frames, readings_of

from verify.calibrate.cells import LARGEST, LONGEST_LINE, MOST_ROWS
from verify.calibrate.readings import COLUMNS, read_readings
from verify.errors import PlanError
from verify.plan.file import MOST_TOLD

ALLOWED = (
    "allowed: frame, aperture, iso, shutter, light, method, receptor, aimed, pops, over, "
    "correction, meter, card, step, constant"
)
QUOTES = (
    "its quotation marks do not fit together: they stand round a whole cell, and one inside such "
    "a cell is doubled"
)
UTF_8 = "save the readings as CSV in UTF-8"

# A file, and its one line of refusal after the file's name.
FILES: list[tuple[str | bytes, str]] = [
    ("", f": nothing is in it; its first line names the columns: {ALLOWED[9:]}"),
    (" \n\n# a note\n", ": nothing is in it; its first line names the columns: "),
    (HEADER, ": there is no row below the header: write one for each frame"),
    (HEADER + ",\n , \n", ": there is no row below the header: write one for each frame"),
    ("aperture\nf/11\n", ' line 1: the column "frame" is missing; needed: frame, aperture'),
    ("\n#\nframe;iso\n", ' line 3: the column "aperture" is missing; needed: frame, aperture'),
    (
        "frame,aperture,corection\n",
        f' line 1: there is no column "corection" (did you mean "correction"?); {ALLOWED}',
    ),
    ("frame\taperture\tx\n", f' line 1: there is no column "x"; {ALLOWED}'),
    ("frame;aperture;x,y,z,u\n", f' line 1: there is no column "x,y,z,u"; {ALLOWED}'),
    ("frame,aperture,ISO,iso\n", ' line 1: two columns are named "iso": keep one'),
    ("frame,,aperture\n", f" line 1: column 2 has no name; {ALLOWED}"),
    ('frame,"aperture\na.dng,f/11\n', f" line 1: {QUOTES}"),
    (HEADER + 'a.dng,"f/11\n', f" line 2: {QUOTES}"),
    (HEADER + 'a.dng,"f/"11\n', f" line 2: {QUOTES}"),
    (
        HEADER + "a.dng,f/11 + 0,3\n",
        " line 2: 3 cells, and the header names 2 columns: put quotation marks round a value that "
        "has a comma in it",
    ),
    (
        "frame;aperture\na.dng;f/11;100\n",
        " line 2: 3 cells, and the header names 2 columns: put quotation marks round a value that "
        "has a semicolon in it",
    ),
    (
        HEADER + "a.dng," + "1" * LONGEST_LINE,
        " line 2: it has more than 10,000 characters: it is no row of readings",
    ),
    (
        "frame," * LONGEST_LINE,
        " line 1: it has more than 10,000 characters: it is no row of readings",
    ),
    (HEADER + ",f/11\n", " line 2: frame: it is needed, and this cell is empty"),
    (HEADER + "a.dng\n", " line 2: aperture: it is needed, and this cell is empty"),
    (
        HEADER.encode() + "a.dng,f/11\nM\u00fcller.dng,f/11\n".encode("latin-1"),
        f" line 3: this is not text in UTF-8: {UTF_8}",
    ),
    (
        b"\xef\xbb\xbf" + HEADER.encode() + b"\xe4\xb8\xad.dng,f/11\n\xff",
        f" line 3: this is not text in UTF-8: {UTF_8}",
    ),
    (b"\xff\xfef\x00r", f": this is not text in UTF-16, as it begins: {UTF_8}"),
    (HEADER.encode("utf-16-le"), f" line 1: a NUL is in it, as in no text: {UTF_8}"),
    (HEADER.encode("utf-32"), f" line 1: a NUL is in it, as in no text: {UTF_8}"),
    (HEADER + "a.dng,f/11\nb\0.dng,f/11\n", f" line 3: a NUL is in it, as in no text: {UTF_8}"),
    (
        b"x" * (LARGEST + 1),
        ": it is too large for a readings file: one has up to 1,000,000 bytes",
    ),
    (
        HEADER + "a.dng,f/11\n" * (MOST_ROWS + 1),
        ": 2,001 rows are too many: it may have up to 2,000",
    ),
]
# A column, what stands in it, and what is said of it: mostly the words of the plan's own tables.
CELLS = [
    (
        "aperture",
        "11.3",
        'aperture: "11.3" could be f/11 and 3 tenths, or the f-number 11.3: write "f/11 + 0.3" or '
        '"exact 11.3"',
    ),
    ("aperture", "8,7", 'aperture: "8,7" could be f/8 and 7 tenths, or the f-number 8.7: '),
    ("aperture", "0", 'aperture: "0" is out of range for an aperture: write it as "f/11", '),
    ("aperture", "-8", 'aperture: "-8" is not an aperture: write it as "f/11", "f/11 + 0.3" or '),
    ("aperture", "f/300", 'aperture: "f/300" is out of range for an aperture: '),
    ("aperture", "nan", 'aperture: "nan" is not an aperture: '),
    ("aperture", "T5.6", 'aperture: "T5.6" is a T-stop; a meter shows f-numbers: '),
    ("iso", "0", 'iso: "0" is out of range for an ISO speed: '),
    ("iso", "fast", 'iso: "fast" is not an ISO speed: '),
    ("shutter", "125", 'shutter: "125" could be 1/125 s or 125 s: write "1/125" or "125 s"'),
    ("light", "Sun", 'light: "sun" is not "flash", "continuous" or "high-speed-sync"'),
    (
        "light",
        "continuous",
        'light = "continuous" needs the shutter time of the reading: shutter = "1/125"',
    ),
    ("method", "spot", 'method: "spot" is not "incident" or "reflected"'),
    ("receptor", "disc", 'receptor: "disc" is not "flat" or "dome"'),
    ("aimed", "up", 'aimed: "up" is not "as-card", "camera" or "lamp"'),
    ("pops", "0", "pops: 0 is not a whole number from 1 to 1000"),
    ("pops", "1.5", 'pops: "1.5" is not a whole number from 1 to 1000'),
    ("over", "11", "over: 11.0 is not a number of stops from -10 to 10"),
    ("over", "a bit", 'over: "a bit" is not a number of stops from -10 to 10'),
    ("correction", "inf", 'correction: "inf" is not a number of stops from -10 to 10'),
    ("correction", "9" * 400, "correction: Infinity is not a number of stops from -10 to 10"),
    (
        "correction",
        f"{'9' * 400}/{'9' * 400}",
        "correction: NaN is not a number of stops from -10 to 10",
    ),
    ("correction", "1/0", 'correction: "1/0" is not a number of stops from -10 to 10'),
    ("step", "0.2", 'step: "0.2" is not a step of a meter or a camera: '),
    ("constant", "2", "constant = 2 cannot be C, the calibration constant of a reading with "),
    ("card", "x" * 201, 'card: "xxxx'),
    ("over", "9", "[camera] aperture: f/"),
]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder of frames, a.dng to f.dng."""
    return folder_of_frames(tmp_path)


def refusal(folder: Path, text: str | bytes, plan: str | None = None) -> list[str]:
    """The lines of a refusal, without the folder."""
    with pytest.raises(PlanError) as refused:
        readings_of(folder, text, plan)
    lines = str(refused.value).split("\n")
    assert all(line.isprintable() for line in lines)
    assert all(line.startswith(str(folder)) for line in lines)
    return [line.removeprefix(f"{folder}{os.sep}") for line in lines]


@pytest.mark.parametrize(("text", "message"), FILES)
def test_a_file_is_refused_in_one_line(folder: Path, text: str | bytes, message: str) -> None:
    (line,) = refusal(folder, text)
    assert line.startswith(f"readings.csv{message}")


@pytest.mark.parametrize(("column", "cell", "message"), CELLS)
def test_a_cell_is_refused_under_its_line_and_column(
    folder: Path, column: str, cell: str, message: str
) -> None:
    row = {"frame": "b.dng", "aperture": "f/1" if column == "over" else "f/11", column: cell}
    text = ";".join(row) + "\n# a note\na.dng;f/11\n" + ";".join(row.values()) + "\n"
    (line,) = refusal(folder, text)
    assert line.startswith(f"readings.csv line 4: {message}")
    assert len(line) < 300


def test_every_mistake_has_its_line_up_to_twenty(folder: Path) -> None:
    text = "frame,aperture,iso\na.dng,11.3,0\n,f/11,100\nb.dng,f/11,100,7\nc.dng,,\n"
    lines = refusal(folder, text)
    assert [line.split(": ")[:2] for line in lines[:2]] == [
        ["readings.csv line 2", "aperture"],
        ["readings.csv line 2", "iso"],
    ]
    assert [line.split(": ")[0] for line in lines[2:]] == [
        "readings.csv line 3",
        "readings.csv line 4",
        "readings.csv line 5",
    ]
    many = refusal(folder, HEADER + "".join(f"{n}.dng,11.3\n" for n in range(MOST_TOLD)))
    assert len(many) == MOST_TOLD
    more = refusal(folder, HEADER + "".join(f"{n}.dng,11.3\n" for n in range(MOST_TOLD + 3)))
    assert more[:-1] == many
    assert more[-1] == "readings.csv: and 3 more"


def test_every_mistake_of_the_header_has_its_line(folder: Path) -> None:
    lines = refusal(folder, "frames,f-number\n")
    assert lines == [
        'readings.csv line 1: the column "frame" is missing; needed: frame, aperture',
        'readings.csv line 1: the column "aperture" is missing; needed: frame, aperture',
        f'readings.csv line 1: there is no column "frames" (did you mean "frame"?); {ALLOWED}',
        f'readings.csv line 1: there is no column "f-number"; {ALLOWED}',
    ]


@pytest.mark.parametrize(
    ("plan", "message"),
    [
        ("[reading]\niso = 0", "plan.toml: [reading] iso: 0 is out of range for an ISO speed: "),
        (
            "[reading]\nisoo = 100",
            'plan.toml: [reading] isoo: there is no such key (did you mean "',
        ),
        ('reading = "f/11"', 'plan.toml: [reading]: "f/11" is not a section: write [reading] on a'),
        ("[card]\nreflectance = 2", "plan.toml: [card] reflectance: 2 is not a share of the light"),
        ("[cards]", "plan.toml: [cards]: there is no such section (did you mean"),
        (
            '[[setup]]\nname = "jug"\nframes = "1"',
            "plan.toml: [[setup]]: beside a readings file a plan has no set-ups: a row says what "
            "is different for its frame",
        ),
        ("[reading", "plan.toml: this is not TOML: "),
        (
            "[reading]\nconstant = 12.5",
            "readings.csv line 2: constant = 12.5 cannot be C, the calibration constant of a ",
        ),
    ],
)
def test_a_mistake_of_the_plan_is_told_once_and_as_such(
    folder: Path, plan: str, message: str
) -> None:
    found = refusal(folder, "frame,aperture,pops\na.dng,f/11,1\nb.dng,f/8,2\n", plan)
    assert found[0].startswith(message)
    assert len(found) == (2 if message.startswith("readings") else 1)


def test_a_cell_over_a_mistake_of_the_plan_puts_it_right(folder: Path) -> None:
    read = readings_of(folder, "frame,aperture,iso\na.dng,f/11,100\n", "[reading]\niso = 0")
    assert read.plan.main.reading is not None
    assert read.plan.main.reading.iso == 100


def test_what_was_typed_is_told_as_typed(folder: Path) -> None:
    with pytest.raises(PlanError) as refused:
        readings_of(folder, "frame,aperture,iso\na.dng,f/11,100\n", None, {"reading": {"iso": "x"}})
    assert str(refused.value).startswith('[reading] iso: "x" is not an ISO speed: ')


def test_no_row_is_left(folder: Path) -> None:
    lines = refusal(folder, HEADER + "gone.dng,f/11\na.dng,f/11\na.dng,f/8\n")
    assert lines == [
        "readings.csv: no row is left that counts:",
        "gone.dng: there is no such file (line 2)",
        "a.dng: it is listed twice, with different readings (lines 3 and 4)",
    ]


def test_a_file_that_is_not_there_a_folder_or_no_file(folder: Path) -> None:
    with pytest.raises(PlanError, match=r"none\.csv: there is no such readings file$"):
        read_readings(folder / "none.csv", None)
    with pytest.raises(PlanError, match="the readings file cannot be read"):
        read_readings(folder, None)
    with pytest.raises(PlanError, match="the readings file cannot be read"):
        read_readings(Path("a\0b.csv"), None)
    with pytest.raises(PlanError, match=r"none\.toml: there is no such plan"):
        read_readings(folder / "readings.csv", folder / "none.toml")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_a_pipe_is_not_waited_for(folder: Path) -> None:
    os.mkfifo(folder / "pipe.csv")
    with pytest.raises(PlanError, match=r"pipe\.csv: the readings file is not a regular file$"):
        read_readings(folder / "pipe.csv", None)


CHARACTERS = st.characters() | st.sampled_from(',;\t"\n\r#/+. 0123456789\0\ufeff\u2028\x85')
JUNK = st.text(CHARACTERS, max_size=30)
LINES = st.lists(
    st.lists(
        JUNK | st.sampled_from(["a.dng", "b.dng", "f/11", "f/8 + 0.7", "", "1/3"]), max_size=7
    ),
    max_size=6,
)
HEADERS = st.lists(st.sampled_from(COLUMNS) | JUNK, max_size=6)
BARE = [HealthCheck.function_scoped_fixture]


def ends_well(folder: Path, written: bytes) -> None:
    """Reads, or is refused in lines that a terminal can show."""
    try:
        read = readings_of(folder, written)
    except PlanError as error:
        lines = str(error).split("\n")
        assert len(lines) <= MOST_TOLD + 1
        assert all(line.isprintable() for line in lines)
    else:
        assert read.files
        assert len(read.files) == len(read.lines) == len(read.reading_of)
        named = [file for setup in read.plan.setups for file in setup.selection.files]
        assert sorted(named) == sorted(read.files)


@settings(suppress_health_check=BARE, max_examples=200)
@given(header=HEADERS, lines=LINES, delimiter=st.sampled_from(",;\t"), sound=st.booleans())
def test_any_table_reads_or_is_refused(
    folder: Path, header: list[str], lines: list[list[str]], delimiter: str, sound: bool
) -> None:
    names = [*dict.fromkeys(["frame", "aperture", *(set(header) & set(COLUMNS))])]
    text = "\n".join(delimiter.join(row) for row in [names if sound else header, *lines])
    ends_well(folder, text.encode("utf-8", "surrogatepass"))


@settings(suppress_health_check=BARE, max_examples=200)
@given(
    before=st.sampled_from([b"", b"\xef\xbb\xbf", b"\xff\xfe", b"\xfe\xff", HEADER.encode()]),
    written=st.binary(max_size=200) | st.text(CHARACTERS, max_size=100).map(str.encode),
)
def test_any_bytes_read_or_are_refused(folder: Path, before: bytes, written: bytes) -> None:
    ends_well(folder, before + written)


@pytest.mark.parametrize(
    "written",
    [
        HEADER + "".join(f"{n}.dng,f/11 + {n}\n" for n in range(MOST_ROWS)),
        HEADER + "".join(f"a.dng,exact {8 + n / 1000}\n" for n in range(MOST_ROWS)),
        ",".join(f"x{n}" for n in range(1500)),
        HEADER.replace("\n", ",iso" * 2000 + "\n"),
        "\n" * LARGEST,
        HEADER + "a.dng,f/11\n" + "," * (LONGEST_LINE - 1) + "\n" + '"' * (LONGEST_LINE - 1),
    ],
    ids=["mistakes", "one frame", "columns", "same columns", "blank lines", "delimiters"],
)
def test_the_largest_files_end_well(folder: Path, written: str) -> None:
    ends_well(folder, written.encode())
