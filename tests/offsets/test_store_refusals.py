"""Files that are no store, damaged or out of reach: one clear line, and nothing is touched."""

import hashlib
import json
import os
import random
import sqlite3
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import pytest
from saved_offsets import STUDIO, studio

from verify.errors import GreyproofError, StoreError
from verify.offsets.store import OffsetStore
from verify.plan.records import OffsetPart

KEPT = tuple(
    studio(f"studio {number:02}", parts=(OffsetPart("iso", 400.0, 0.1),)) for number in range(12)
)


@pytest.fixture
def store(tmp_path: Path) -> OffsetStore:
    """A store that holds a dozen offsets."""
    made = OffsetStore(tmp_path / "offsets.sqlite3")
    made.save_all(KEPT)
    return made


def sql(*lines: str) -> Callable[[Path], None]:
    """What changes a database by SQL."""

    def change(path: Path) -> None:
        with closing(sqlite3.connect(path, isolation_level=None)) as connection:
            for line in lines:
                connection.execute(line)

    return change


def new(*lines: str) -> Callable[[Path], None]:
    """What makes a database of another program."""

    def change(path: Path) -> None:
        path.unlink()
        sql(*lines)(path)

    return change


def holding(data: bytes) -> Callable[[Path], None]:
    """What puts other bytes in the place of a store."""

    def change(path: Path) -> None:
        path.write_bytes(data)

    return change


def cut(to: int) -> Callable[[Path], None]:
    """What cuts a file short."""
    return lambda path: os.truncate(path, to)


def noise(at: int, length: int, after: bytes = b"") -> Callable[[Path], None]:
    """What writes random bytes over some of a file, from its start or behind some text in it."""

    def change(path: Path) -> None:
        data = bytearray(path.read_bytes())
        begin = data.index(after) + at
        data[begin : begin + length] = random.Random(at).randbytes(length)
        path.write_bytes(data)

    return change


def uncounted(path: Path) -> None:
    """Leave an offset out of the number of them that a page says it has."""
    data = bytearray(path.read_bytes())
    page = next(at for at in range(4096, len(data), 4096) if data[at] == 10)  # leaf of an index
    data[page + 4] -= 1  # SQLite's file format, 1.6: bytes 3 and 4 are the number of cells
    path.write_bytes(data)


NOT_OURS = "this is no store of offsets, for it does not begin as a file of SQLite does"
DAMAGED = "this store of offsets is damaged ("
REFUSED = [
    ("text", holding(b"name,offset\nstudio A,-0.21\n" * 9), NOT_OURS),
    ("one byte", holding(b"S"), NOT_OURS),
    ("a header alone, cut short", cut(60), NOT_OURS),
    ("zeros", holding(bytes(8192)), NOT_OURS),
    ("noise at the start", noise(0, 64), NOT_OURS),
    (
        "a database without a mark",
        new("CREATE TABLE offset (name)"),
        "this database belongs to another program and was left as it is: name another file",
    ),
    (
        "a database with another mark",
        sql("PRAGMA application_id = 77"),
        "this database belongs to another program and was left as it is: name another file",
    ),
    (
        "another program's, with a write-ahead log",
        new("PRAGMA journal_mode = WAL", "CREATE TABLE offset (name)"),
        "this database belongs to another program",
    ),
    (
        "a newer version",
        sql("PRAGMA user_version = 2", "DROP TABLE offset", "CREATE TABLE offsets (id)"),
        "this store of offsets is of a newer greyproof (version 2 of the store, this one knows 1) "
        "and was left as it is: update greyproof, or name another file",
    ),
    ("no version", sql("PRAGMA user_version = 0"), f"{DAMAGED}version 0 of the store"),
    (
        "a write-ahead log",
        sql("PRAGMA journal_mode = WAL"),
        "this store of offsets was set to another way of writing (a write-ahead log)",
    ),
    ("no table", sql("DROP TABLE offset"), f"{DAMAGED}its tables are not those of a store"),
    ("one more table", sql("CREATE TABLE other (name)"), f"{DAMAGED}its tables are not"),
    (
        "a trigger",
        sql("CREATE TRIGGER t AFTER INSERT ON offset BEGIN DELETE FROM offset; END"),
        f"{DAMAGED}its tables are not",
    ),
    ("cut after the header", cut(100), DAMAGED),
    ("cut in its first page", cut(3000), DAMAGED),
    ("cut at a page", cut(8192), DAMAGED),
    ("cut in a page", cut(9000), DAMAGED),
    ("noise in the schema", noise(3900, 150), DAMAGED),
    ("noise where pages begin", noise(4096, 64), DAMAGED),
    ("noise in the middle of a record", noise(1, 40, b"Planor 80"), DAMAGED),
    (
        "a figure changed",
        sql("UPDATE offset SET record = replace(record, '-0.21', '-0.25')"),
        f'{DAMAGED}offset "studio 00" is not as it was written)',
    ),
    ("a name changed", sql("UPDATE offset SET name = 'mine' WHERE name = 'studio 03'"), DAMAGED),
    ("an offset left out", uncounted, DAMAGED),
    ("no text", sql("UPDATE offset SET record = x'00ff'"), DAMAGED),
    ("text that is none", sql("UPDATE offset SET record = CAST(x'ff41' AS TEXT)"), DAMAGED),
]  # fmt: skip


def snapshot(folder: Path) -> dict[str, bytes]:
    """Every file of a folder with its bytes."""
    return {path.name: path.read_bytes() for path in folder.iterdir()}


USES: list[Callable[[OffsetStore], object]] = [
    lambda store: store.all(),
    lambda store: store.save(STUDIO),
    lambda store: store.remove("studio 03"),
]


@pytest.mark.parametrize(("what", "change", "sentence"), REFUSED, ids=[row[0] for row in REFUSED])
def test_what_is_refused_gets_its_line_and_stays_as_it_is(
    store: OffsetStore, what: str, change: Callable[[Path], None], sentence: str
) -> None:
    before = store.path.read_bytes()
    change(store.path)
    changed = snapshot(store.path.parent)
    assert changed != {store.path.name: before}, what
    for use in USES:
        with pytest.raises(StoreError) as refusal:
            use(store)
        line = str(refusal.value)
        assert line.startswith(f"{store.path}: {sentence}")
        assert "left as it is" in line
        assert "\n" not in line
        assert snapshot(store.path.parent) == changed


def test_whatever_bytes_change_the_store_is_refused_or_says_what_it_said(
    store: OffsetStore,
) -> None:
    whole = store.path.read_bytes()
    draw = random.Random(20)
    refused = 0
    for _ in range(250):
        data = bytearray(whole)
        at = draw.randrange(len(data))
        length = draw.choice([1, 1, 4, 40])
        data[at : at + length] = draw.randbytes(len(data[at : at + length]))
        store.path.write_bytes(data)
        try:
            found = store.all()
        except StoreError:
            refused += 1
        else:
            assert found == KEPT
        assert snapshot(store.path.parent) == {store.path.name: bytes(data)}
    assert refused > 60  # of 250; the others hit pages' free space


def record(**changed: object) -> str:
    """What a row holds of an offset, with some of it changed."""
    known = {
        "offset_stops": -0.21, "u_stops": 0.09, "u_same_card_stops": 0.04,
        "interval_stops": [-0.4, -0.02], "light": "flash", "method": "incident",
        "receptor": "flat", "aimed": "as-card", "frames": 12,
        "saved": datetime(2026, 3, 1, tzinfo=UTC).isoformat(), "greyproof": "0.4.0", "part": [],
    }  # fmt: skip
    return json.dumps({**known, **changed})


def put(path: Path, text: str) -> None:
    """A row with a digest that is right, whatever it holds."""
    digest = hashlib.sha256(f"mine\n{text}".encode()).hexdigest()
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        connection.execute("INSERT INTO offset VALUES ('mine', ?, ?)", (text, digest))


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        (record(offset_stops=float("nan")), "offset_stops: NaN is not a number of stops from -20"),
        (record(u_stops=-0.1), "u_stops: -0.1 is not a standard uncertainty"),
        (record(u_stops="0.1"), 'u_stops: "0.1" is not a standard uncertainty'),
        (record(receptor="disc"), 'receptor: "disc" is not "flat" or "dome"'),
        (record(frames=True), "frames: true is not a whole number"),
        (record(interval_stops=[1, 2]), "the offset -0.21 is not within its interval 1 to 2"),
        (record(saved="yesterday"), "Invalid isoformat string"),
        (record(saved=5), "fromisoformat: argument must be str"),
        (record(saved="2026-03-01T00:00:00"), "saved needs its distance from UTC"),
        (record(place="here"), "place: there is no such key"),
        ("[]", "'saved'"),
        ("[1]", "cannot convert"),
        ("{", "Expecting property name"),
        ("[" * 50_000, "maximum recursion depth exceeded"),
        ('{"frames": ' + "9" * 6000 + "}", "Exceeds the limit"),
    ],
)  # fmt: skip
def test_a_record_that_makes_no_sense_is_damage(
    store: OffsetStore, text: str, sentence: str
) -> None:
    put(store.path, text)
    before = snapshot(store.path.parent)
    with pytest.raises(StoreError) as refusal:
        store.all()
    line = str(refusal.value)
    assert line.startswith(f"{store.path}: {DAMAGED}")
    assert sentence in line
    assert "\n" not in line
    assert snapshot(store.path.parent) == before


def test_the_record_that_the_others_are_changed_from_makes_sense(store: OffsetStore) -> None:
    put(store.path, record())
    assert store.get("mine").stops == -0.21


@pytest.mark.parametrize("use", USES)
def test_a_place_where_no_file_can_be_is_told(
    tmp_path: Path, use: Callable[[OffsetStore], object]
) -> None:
    (tmp_path / "file").write_text("text", encoding="utf-8")
    for path, sentence in (
        (tmp_path, "this is a folder: name a file in it, such as offsets.sqlite3"),
        (tmp_path / "file" / "offsets.sqlite3", "the store of offsets cannot be used ("),
        (tmp_path / ("x" * 3000), "the store of offsets cannot be used ("),
    ):
        with pytest.raises(StoreError) as refusal:
            use(OffsetStore(path))
        assert str(refusal.value).startswith(f"{path}: {sentence}")
    with pytest.raises(StoreError, match="this cannot be the name of a file"):
        use(OffsetStore(Path("nul\0here")))
    assert snapshot(tmp_path) == {"file": b"text"}


def test_a_line_is_one_line_whatever_the_name_of_the_file(tmp_path: Path) -> None:
    path = tmp_path / "two\nlines"
    path.mkdir()
    with pytest.raises(StoreError, match=r"two\ufffdlines: this is a folder"):
        OffsetStore(path).all()


def test_a_place_that_may_not_be_written_is_told_and_can_be_read(store: OffsetStore) -> None:
    folder, before = store.path.parent, snapshot(store.path.parent)
    store.path.chmod(0o444)
    folder.chmod(0o555)
    try:
        if os.access(folder, os.W_OK) or os.access(store.path, os.W_OK):
            pytest.skip("permissions do not bind this user, or this system")
        assert store.all() == KEPT
        for use in USES[1:]:
            with pytest.raises(StoreError, match="may not be opened or written here"):
                use(store)
        elsewhere = OffsetStore(folder / "new" / "offsets.sqlite3")
        with pytest.raises(StoreError, match="the store of offsets cannot be used"):
            elsewhere.save(STUDIO)
    finally:
        folder.chmod(0o755)
        store.path.chmod(0o644)
    assert snapshot(folder) == before


def test_a_refusal_is_an_error_of_the_project_and_of_the_system(tmp_path: Path) -> None:
    with pytest.raises(GreyproofError) as refusal:
        OffsetStore(tmp_path).all()
    assert isinstance(refusal.value, OSError)
