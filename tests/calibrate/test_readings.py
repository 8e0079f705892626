"""verify/calibrate/readings.py: a row for each frame to set-ups that name their frames."""

import csv
import io
import string
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from reading_files import HEADER, NAMES, folder_of_frames, readings_of

from verify.calibrate.readings import COLUMNS, Readings
from verify.plan.file import read_plan
from verify.plan.records import Reading, Selection, SetUp

# Every column, with values other than the defaults.
EVERY = {
    "frame": "a.dng",
    "aperture": "f/11 + 0.3",
    "iso": "200",
    "shutter": "1/60",
    "light": "continuous",
    "method": "incident",
    "receptor": "dome",
    "aimed": "camera",
    "pops": "2",
    "over": "-0.5",
    "correction": "0.3",
    "meter": "Ostrel L2",
    "card": "big card",
    "step": "1/3",
    "constant": "320",
}
PLAN = """
[reading]
aperture = "f/8"
iso = 400
receptor = "dome"
meter = "Ostrel L2"
[camera]
over = 0.5
iso = 800
[card]
name = "small card"
reflectance = 0.2
box = [0.3, 0.3, 0.2, 0.2]
flat = "flat.tif"
[tolerance]
absolute = 0.3
[uncertainty]
card = 0.02
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder of frames, a.dng to f.dng."""
    return folder_of_frames(tmp_path)


def reading_of(setup: SetUp) -> Reading:
    """The reading of a set-up that has one."""
    assert setup.reading is not None
    return setup.reading


def over_of(setup: SetUp) -> float:
    """How far over the reading a set-up is meant to be."""
    assert setup.camera is not None
    return setup.camera.over


def names_of(readings: Readings) -> list[list[str]]:
    """The frames of each set-up, by name."""
    return [[file.name for file in setup.selection.files] for setup in readings.plan.setups]


def test_two_columns_and_the_defaults_of_a_plan(folder: Path) -> None:
    read = readings_of(folder, HEADER + "a.dng,f/11\nb.dng,f/8 + 0.7\n")
    assert read.files == (folder / "a.dng", folder / "b.dng")
    assert read.lines == (2, 3)
    assert read.reading_of == (0, 1)
    assert read.excluded == ()
    assert read.plan.source == str(folder / "readings.csv")
    for setup, aperture, n in zip(
        read.plan.setups, ("f/11", "f/8 + 0.7"), (2**3.5, 2 ** (6.7 / 2)), strict=True
    ):
        alone = read_plan(None, {"reading": {"aperture": aperture}}).main
        assert reading_of(setup).aperture.n == pytest.approx(n, rel=1e-12)
        as_alone = replace(setup, name="main", selection=Selection(), framing=None)
        assert as_alone == alone
    assert [setup.name for setup in read.plan.setups] == ["line 2", "line 3"]
    assert {setup.framing for setup in read.plan.setups} == {"calibration"}


def test_every_column_stands_for_its_key_of_a_plan(folder: Path) -> None:
    text = ",".join(EVERY) + "\n" + ",".join(EVERY.values()) + "\n"
    read = readings_of(folder, text)
    in_a_plan = {
        "reading": {
            "aperture": "f/11 + 0.3",
            "iso": 200,
            "shutter": "1/60",
            "light": "continuous",
            "method": "incident",
            "receptor": "dome",
            "aimed": "camera",
            "pops": 2,
            "correction": 0.3,
            "meter": "Ostrel L2",
            "step": "1/3",
            "constant": 320.0,
        },
        "camera": {"over": -0.5},
        "card": {"name": "big card"},
    }
    wanted = read_plan(None, in_a_plan).main
    found = read.plan.main
    assert replace(found, name="main", selection=Selection(), framing=None) == wanted
    assert tuple(EVERY) == COLUMNS  # no column is left out of this test


@pytest.mark.parametrize(
    ("column", "cell", "value"),
    [
        ("correction", "-0.3", -0.3),
        ("correction", "+0,3", 0.3),
        ("correction", "\u22120.3", -0.3),  # the sign that is set in print
        ("correction", "+ 1/3", 1 / 3),
        ("correction", "-\u00bd", -0.5),
        ("correction", "-1 1/3", -4 / 3),
        ("over", ".5", 0.5),
        ("pops", " 3 ", 3),
        ("constant", "330", 330.0),
        ("light", "Flash", "flash"),  # as spreadsheets begin a cell
        ("receptor", "Dome", "dome"),
        ("meter", "0047", "0047"),  # a name, not a number
        ("iso", "ISO 160", 100 * 2 ** (2 / 3)),  # two thirds of a stop above 100: 158.74
    ],
)
def test_how_a_cell_is_written(folder: Path, column: str, cell: str, value: object) -> None:
    read = readings_of(folder, f'frame,aperture,{column}\na.dng,f/11,"{cell}"\n')
    found = read.plan.main
    got = over_of(found) if column == "over" else getattr(reading_of(found), column)
    assert got == (pytest.approx(value, abs=1e-12) if isinstance(value, float) else value)


def test_rows_stand_over_the_plan_and_empty_cells_do_not(folder: Path) -> None:
    (folder / "sub").mkdir()
    text = (
        "frame;aperture;iso;over;card\n"
        "a.dng;;;;\n"
        "b.dng;f/16;100;0;big card\n"
        "c.dng;f/16; \u00a0 ;\u200b;\n"
    )
    read = readings_of(folder, text, PLAN)
    plain = read_plan(folder / "plan.toml").main
    first, second, third = read.plan.setups
    assert replace(first, name="main", selection=Selection(), framing=None) == plain
    assert (reading_of(second).aperture.text, reading_of(second).iso) == ("f/16", 100)
    assert (over_of(second), second.card.name) == (0, "big card")
    assert (reading_of(third).aperture.text, reading_of(third).iso) == ("f/16", 400)
    assert (over_of(third), third.card.name) == (0.5, "small card")
    for setup in read.plan.setups:
        assert reading_of(setup).receptor == "dome"
        assert setup.camera is not None
        assert setup.camera.iso == 800
        assert setup.card.reflectance == 0.2
        assert setup.card.flat == folder / "flat.tif"
        assert (setup.tolerance.absolute, setup.scatter.card) == (0.3, 0.02)


def test_what_is_typed_stands_over_rows_and_plan(folder: Path) -> None:
    typed = {"reading": {"iso": "50"}, "card": {"box": [0.1, 0.1, 0.1, 0.1]}}
    read = readings_of(folder, "frame,aperture,iso\na.dng,f/11,100\n", PLAN, typed)
    assert reading_of(read.plan.main).iso == 50
    assert (
        read.plan.main.card.place
        == read_plan(None, typed | {"reading": {"aperture": 8}}).main.card.place
    )


@pytest.mark.parametrize(
    "text",
    [
        'frame, aperture\na.dng, "f/11 + 0,3"\n',  # a space before the quotation mark
        "frame,aperture,,\na.dng,f/11 + 0.3,,\n",  # columns that a spreadsheet kept, empty
        "frame,aperture\na.dng,f/11 + 0.3,,,\n",
        "aperture,frame,iso\nf/11 + 0.3,a.dng\n",
    ],
)
def test_as_people_and_spreadsheets_write_it(folder: Path, text: str) -> None:
    read = readings_of(folder, text)
    assert read.files == (folder / "a.dng",)
    assert reading_of(read.plan.main).aperture.text == "f/11 + 0.3"


def test_rows_of_the_same_values_share_a_set_up(folder: Path) -> None:
    text = "frame,aperture,card\na.dng,f/11,x\nb.dng,f/8,x\nc.dng,11,x\nd.dng,f/11,y\ne.dng,8,x\n"
    read = readings_of(folder, text)
    assert names_of(read) == [["a.dng", "c.dng"], ["b.dng", "e.dng"], ["d.dng"]]
    assert [setup.name for setup in read.plan.setups] == ["line 2", "line 3", "line 5"]
    assert [file.name for file in read.files] == ["a.dng", "b.dng", "c.dng", "d.dng", "e.dng"]


def test_a_bracket_round_one_reading_has_one_number(folder: Path) -> None:
    text = (
        "frame,aperture,over,card\n"
        "a.dng,f/11,-1,\n"
        "b.dng,f/11,0,\n"
        "# the other card\n"
        "\n"
        "c.dng,f/11,1,other\n"
        "d.dng,f/8,,\n"
        "gone.dng,f/16,,\n"
        "e.dng,f/8,,\n"
        "f.dng,f/11,-1,\n"
    )
    read = readings_of(folder, text)
    # a, b and c are of one reading. gone.dng does not count, and parts d from e all the same: the
    # meter was read between them. f has the values of a, and is another reading of them.
    assert read.reading_of == (0, 0, 0, 1, 2, 3)
    assert read.lines == (2, 3, 6, 7, 9, 10)
    assert names_of(read)[0] == ["a.dng", "f.dng"]


def test_paths_are_relative_to_the_file_or_absolute(folder: Path) -> None:
    inner = folder / "day 1"
    inner.mkdir()
    (inner / "x, y.dng").touch()
    text = HEADER + f'"day 1/x, y.dng",f/11\n{folder / "a.dng"},f/11\nday 1/../b.dng,f/11\n'
    read = readings_of(folder, text)
    assert read.files == (inner / "x, y.dng", folder / "a.dng", inner / ".." / "b.dng")


def test_frames_that_do_not_count_are_told_and_the_others_go_on(folder: Path) -> None:
    text = (
        "Frame , APERTURE,over\n"
        "a.dng,f/11,\n"
        "b.dng,f/11,\n"
        "./a.dng,f/11,\n"
        "b.dng,f/8,\n"
        "c.dng,f/11,\n"
        "gone.dng,f/11,\n"
        ".,f/11,\n"
        "d.dng,f/11,\n"
        "d.dng,f/11,1\n"
        "b.dng,f/8,\n"
    )
    read = readings_of(folder, text)
    assert [file.name for file in read.files] == ["a.dng", "c.dng"]
    assert read.excluded == (
        (
            folder / "a.dng",
            "it is listed twice with the same values, and counted once (lines 2 and 4)",
        ),
        (folder / "b.dng", "it is listed 3 times, with different readings (lines 3, 5 and 11)"),
        (folder / "gone.dng", "there is no such file (line 7)"),
        (folder, "it is a folder, not a frame (line 8)"),
        (
            folder / "d.dng",
            "it is listed twice, with different values of over or card (lines 9 and 10)",
        ),
    )


def test_a_link_to_a_frame_is_that_frame(folder: Path) -> None:
    link = folder / "link.dng"
    try:
        link.symlink_to(folder / "a.dng")
    except OSError:
        pytest.skip("this system lets nobody make a link")
    read = readings_of(folder, HEADER + "a.dng,f/11\nlink.dng,f/11\n")
    assert read.files == (folder / "a.dng",)
    assert "(lines 2 and 3)" in read.excluded[0][1]


TEXTS = st.text(string.ascii_letters + string.digits + ' .,;"\u00e4\u4e2d', max_size=12)
APERTURES = st.sampled_from(["f/11", "11 + 0,3", "f/8 + 0.7", "exact 10,9", "22"])


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=60)
@given(
    rows=st.lists(st.tuples(APERTURES, TEXTS, TEXTS), min_size=1, max_size=6),
    end=st.sampled_from(["\n", "\r\n", "\r"]),
    order=st.permutations(["frame", "aperture", "meter", "card"]),
)
def test_however_it_is_written_it_reads_the_same(
    folder: Path, rows: list[tuple[str, str, str]], end: str, order: list[str]
) -> None:
    table = [
        dict(zip(("frame", "aperture", "meter", "card"), (name, *row), strict=True))
        for name, row in zip(NAMES, rows, strict=False)
    ]
    seen = set()
    for delimiter in ",;\t":
        out = io.StringIO()
        writer = csv.DictWriter(out, order, delimiter=delimiter, lineterminator=end)
        writer.writeheader()
        writer.writerows(table)
        for encoding in ("utf-8", "utf-8-sig", "utf-16"):
            seen.add(readings_of(folder, out.getvalue().encode(encoding)))
        text = out.getvalue().replace(end, f"{end} {end}  # a note{end}").encode("utf-16-be")
        read = readings_of(folder, b"\xfe\xff" + text)
        assert read.lines == tuple(3 * at + 4 for at in range(len(rows)))
        assert {replace_lines(read)} == set(map(replace_lines, seen))
    assert len(seen) == 1
    (read,) = seen
    assert [file.name for file in read.files] == NAMES[: len(rows)]
    for row, file in zip(table, read.files, strict=True):
        (setup,) = (s for s in read.plan.setups if file in s.selection.files)
        assert reading_of(setup).meter == (row["meter"].strip() or None)
        assert setup.card.name == (row["card"].strip() or None)


def replace_lines(read: Readings) -> Readings:
    """The same readings without the numbers of their lines."""
    setups = tuple(replace(setup, name="") for setup in read.plan.setups)
    return replace(read, lines=(), plan=replace(read.plan, setups=setups))
