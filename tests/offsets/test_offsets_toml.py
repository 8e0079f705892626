"""Offsets as TOML: what is written reads back, and every mistake is named with its place."""

import tomllib
from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from saved_offsets import SEVERAL, STUDIO, bits, studio

from verify.errors import PlanError
from verify.offsets.as_toml import LARGEST_FILE, from_toml, to_toml
from verify.offsets.records import SavedOffset
from verify.plan.records import OffsetPart

TOP = 'format = "greyproof.offsets/1"\n'
# Written by hand, so that reading does not only agree with writing.
BY_HAND = """\
format = "greyproof.offsets/1"
[[offset]]
name = "studio A"
offset_stops = -0.21
u_stops = 0.09
u_same_card_stops = 0.04
interval_stops = [-0.4, -0.02]
meter = "Lumen 3"
light = "flash"
method = "incident"
receptor = "flat"
aimed = "as-card"
card = "Grauwald 18"
make = "Halde"
model = "Halde 45"
serial = "007"
lens = "Planor 80"
iso = [100, 400]
aperture = [8, 16]
frames = 12
saved = 2026-03-01T10:30:00.000250Z
greyproof = "0.4.0"
"""


@given(offsets=SEVERAL)
def test_any_offsets_come_back_bit_for_bit(offsets: list[SavedOffset]) -> None:
    found = from_toml(to_toml(offsets), "copy.toml")
    assert list(found) == offsets
    assert list(map(bits, found)) == list(map(bits, offsets))


def test_a_file_written_by_hand_is_the_offset_it_says() -> None:
    assert from_toml(BY_HAND, "mine.toml") == (STUDIO,)
    assert from_toml("\ufeff" + BY_HAND.replace("\n", "\r\n"), "mine.toml") == (STUDIO,)


def test_what_is_written_can_be_read_by_a_person() -> None:
    one = studio(parts=(OffsetPart("aperture", 16.0, 0.2), OffsetPart("iso", 400.0, -0.05)))
    lines = to_toml([one]).splitlines()
    written = [line for line in lines if not line.startswith("#")]
    assert written[:2] == ["", 'format = "greyproof.offsets/1"']
    assert "[[offset]]" in written
    assert 'name = "studio A"' in written
    assert "interval_stops = [-0.4, -0.02]" in written
    assert "saved = 2026-03-01T10:30:00.000250+00:00" in written
    end = written.index("[[offset.part]]")
    assert written[end : end + 4] == [
        "[[offset.part]]",
        'by = "aperture"',
        "value = 16.0",
        "stops = 0.2",
    ]
    told = " ".join(line.removeprefix("# ") for line in lines if line.startswith("#"))
    assert "The two have opposite signs: an offset of -0.3 is made good by a correction of" in told


def test_no_offsets_are_a_file_too() -> None:
    assert from_toml(to_toml([]), "none.toml") == ()
    assert from_toml(TOP, "none.toml") == ()


@pytest.mark.parametrize(
    ("name", "written"),
    [
        ('the "big" one', r'name = "the \"big\" one"'),
        ("C:\\new\\table", r'name = "C:\\new\\table"'),
        ("two\nlines\r\tand a tab", r'name = "two\nlines\r\tand a tab"'),
        ("\0\x1f\x7f\x85\u2028", r'name = "\u0000\u001F\u007F\u0085\u2028"'),
        ("\u202egnitirw", r'name = "\u202Egnitirw"'),
        ("Stra\u00dfe \u5199\u771f \U0001f4f7", 'name = "Stra\u00dfe \u5199\u771f \U0001f4f7"'),
        ("\U000e0001", r'name = "\U000E0001"'),
        ("'''", "name = \"'''\""),
        ("# no comment", 'name = "# no comment"'),
    ],
)
def test_any_name_is_written_so_that_it_reads_back(name: str, written: str) -> None:
    text = to_toml([studio(name)])
    assert written in text.splitlines()
    assert tomllib.loads(text)["offset"][0]["name"] == name
    assert from_toml(text, "copy.toml")[0].name == name


@pytest.mark.parametrize(
    ("found", "instead", "line"),
    [
        ('name = "studio A"\n', "", "[[offset]] 1: name: this key is needed and is not there"),
        (
            '"studio A"',
            "5",
            "[[offset]] 1: name: 5 is not text in quotation marks, of up to 200 characters",
        ),
        (
            "offset_stops = -0.21",
            "offset_stops = nan",
            '[[offset]] 1 "studio A": offset_stops: NaN is not a number of stops from -20 to 20',
        ),
        (
            "u_stops = 0.09",
            "u_stops = inf",
            '[[offset]] 1 "studio A": u_stops: Infinity is not a standard uncertainty in stops '
            "from 0 to 1000",
        ),
        (
            "offset_stops = -0.21",
            "offset_stops = true",
            '[[offset]] 1 "studio A": offset_stops: true is not a number of stops from -20 to 20',
        ),
        (
            "[-0.4, -0.02]",
            "[-0.4]",
            '[[offset]] 1 "studio A": interval_stops: [-0.4] is not a list of two numbers, the '
            "lower end and the upper",
        ),
        (
            "[-0.4, -0.02]",
            "[-0.2, 0.1]",
            '[[offset]] 1 "studio A": the offset -0.21 is not within its interval -0.2 to 0.1',
        ),
        (
            "iso = [100, 400]",
            "iso = [400, 100]",
            '[[offset]] 1 "studio A": iso runs backwards: write the lowest first',
        ),
        (
            "iso = [100, 400]",
            "iso = 100",
            '[[offset]] 1 "studio A": iso: 100 is not a list of two ISO speeds from 0.01 to 1e+08',
        ),
        (
            'receptor = "flat"',
            'receptor = "disc"',
            '[[offset]] 1 "studio A": receptor: "disc" is not "flat" or "dome"',
        ),
        (
            'meter = "Lumen 3"',
            'meter = ""',
            '[[offset]] 1 "studio A": meter: "" is not text in quotation marks, of up to 200 '
            "characters",
        ),
        (
            "2026-03-01T10:30:00.000250Z",
            "2026-03-01T10:30:00",
            '[[offset]] 1 "studio A": saved needs its distance from UTC in hours and minutes, such '
            "as +01:00",
        ),
        (
            "2026-03-01T10:30:00.000250Z",
            "2026-03-01",
            '[[offset]] 1 "studio A": saved: "2026-03-01" is not a date, a time and their distance '
            "from UTC",
        ),
        ("frames = 12", "frames = 0", '[[offset]] 1 "studio A": frames: 0 is not a whole number'),
        (
            "serial =",
            "serial_number =",
            '[[offset]] 1 "studio A": serial_number: there is no such key (did you mean "serial"?)'
            "; allowed: name, offset_stops, u_stops, ",
        ),
        (
            "[[offset]]",
            "[offset]",
            "an offset is written [[offset]], with double brackets",
        ),
        (TOP, TOP + "offsets = 1\n", '"offsets": there is no such key; allowed: format, offset'),
        (
            TOP,
            "",
            'this is no file of offsets: format = "greyproof.offsets/1" is not at its top',
        ),
        (
            "offsets/1",
            "offsets/2",
            'format: "greyproof.offsets/2" is of a newer greyproof; this one reads '
            '"greyproof.offsets/1": update greyproof',
        ),
        (
            "offsets/1",
            "check/1",
            'format: "greyproof.check/1" is not "greyproof.offsets/1"',
        ),
        ('"greyproof.offsets/1"', "1", 'format: 1 is not "greyproof.offsets/1"'),
        ('"studio A"', '"studio', "this is not TOML: "),
        ('"studio A"', "[" * 5000 + "]" * 5000, "its values are nested too deeply for a file of"),
        ("frames = 12", f"frames = {'9' * 6000}", "a number in it has more digits than any file"),
        ("frames = 12", f"a{'.a' * 300} = 12", "line 20 has more than 200 dots"),
    ],
)
def test_a_mistake_is_named_with_its_place_and_what_is_allowed(
    found: str, instead: str, line: str
) -> None:
    assert BY_HAND.count(found) >= 1
    with pytest.raises(PlanError) as refusal:
        from_toml(BY_HAND.replace(found, instead, 1), "mine.toml")
    assert str(refusal.value).splitlines()[0].startswith(f"mine.toml: {line}")


PART = '\n[[offset.part]]\nby = "iso"\nvalue = 400\nstops = 0.1\n'


@pytest.mark.parametrize(
    ("part", "line"),
    [
        (PART.replace("iso", "lens"), 'part 2: by: "lens" is not "iso" or "aperture"'),
        (PART.replace("400", "0"), "part 2: value: 0 is not an exact ISO speed or f-number from"),
        (PART.replace("stops = 0.1", ""), "part 2: stops: this key is needed and is not there"),
        (PART.replace("value", "values"), "part 2: value: this key is needed and is not there"),
        (PART, "two parts are for the same ISO or aperture: keep one"),
    ],
)
def test_a_mistake_in_a_part_is_named_with_its_number(part: str, line: str) -> None:
    with pytest.raises(PlanError) as refusal:
        from_toml(BY_HAND + PART + part, "mine.toml")
    assert str(refusal.value).startswith(f'mine.toml: [[offset]] 1 "studio A": {line}')


def test_parts_that_are_no_tables_are_told_apart_from_keys_that_are_missing() -> None:
    with pytest.raises(PlanError) as refusal:
        from_toml(BY_HAND + "part = [5]\n", "mine.toml")
    assert str(refusal.value) == (
        'mine.toml: [[offset]] 1 "studio A": part: 5 is not written [[offset.part]]'
    )


def test_every_mistake_gets_a_line_and_nothing_is_taken() -> None:
    bad = BY_HAND.removeprefix(TOP).replace("12", '"12"').replace('"flat"', '"disc"')
    twice = BY_HAND + BY_HAND.removeprefix(TOP) + bad
    with pytest.raises(PlanError) as refusal:
        from_toml(twice, "mine\n.toml")
    assert str(refusal.value).splitlines() == [
        'mine\ufffd.toml: [[offset]] 2 "studio A": two offsets have this name; give each its own',
        'mine\ufffd.toml: [[offset]] 3 "studio A": receptor: "disc" is not "flat" or "dome"',
        'mine\ufffd.toml: [[offset]] 3 "studio A": frames: "12" is not a whole number from 1 up',
    ]


def test_a_file_that_is_much_too_large_is_not_read() -> None:
    with pytest.raises(PlanError, match=r"characters are no file of offsets: one has up to 2,000"):
        from_toml("#" * (LARGEST_FILE + 1), "mine.toml")
    assert len(to_toml([STUDIO] * 2000)) < LARGEST_FILE


@pytest.mark.parametrize(
    "bad",
    [
        studio("\ud800"),
        studio(stops=float("nan")),
        studio(belongs={"meter": ""}),
        studio(saved=datetime(2026, 3, 1)),
        studio(saved=datetime(2026, 3, 1, tzinfo=timezone(timedelta(seconds=2999)))),
        studio(interval_stops=(0.0, 1.0)),
    ],
)
def test_what_could_not_be_read_back_is_not_written(bad: SavedOffset) -> None:
    with pytest.raises(PlanError, match=r"^offset "):
        to_toml([bad])


def test_a_time_of_another_zone_is_the_same_time() -> None:
    local = BY_HAND.replace("10:30:00.000250Z", "05:00:00.000250-05:30")
    (offset,) = from_toml(local, "mine.toml")
    assert offset.saved.astimezone(UTC) == STUDIO.saved
