"""Offsets kept on disk: what is saved comes back, also with several programs at once."""

import sqlite3
import struct
import tempfile
from pathlib import Path
from threading import Thread

import pytest
from hypothesis import given, settings
from saved_offsets import SEVERAL, STUDIO, bits, studio

from verify.errors import GreyproofError, PlanError
from verify.offsets.database import writing
from verify.offsets.records import SavedOffset
from verify.offsets.store import OffsetStore, default_store


@pytest.fixture
def store(tmp_path: Path) -> OffsetStore:
    """A store that is not there yet, in a folder that is not there either."""
    return OffsetStore(tmp_path / "data" / "offsets.sqlite3")


def test_an_offset_comes_back_as_it_was(store: OffsetStore) -> None:
    store.save(STUDIO)
    assert store.all() == (STUDIO,)
    assert store.get("studio A") == STUDIO
    assert [path.name for path in store.path.parent.iterdir()] == ["offsets.sqlite3"]


@settings(max_examples=40)
@given(offsets=SEVERAL)
def test_any_offsets_come_back_bit_for_bit(offsets: list[SavedOffset]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        store = OffsetStore(Path(folder) / "offsets.sqlite3")
        store.save_all(offsets)
        found = store.all()
    wanted = sorted(offsets, key=lambda offset: offset.name)
    assert list(found) == wanted
    assert list(map(bits, found)) == list(map(bits, wanted))


def test_a_negative_zero_stays_one(store: OffsetStore) -> None:
    store.save(studio(stops=-0.0, interval_stops=(-0.1, 0.1)))
    assert bits(store.get("studio A"))[:8] == struct.pack("d", -0.0)


def test_a_store_that_is_not_there_holds_nothing_and_is_not_made(store: OffsetStore) -> None:
    assert store.all() == ()
    for ask in (store.get, store.remove):
        with pytest.raises(PlanError, match=r'^no offset "studio A" is saved: none is saved yet$'):
            ask("studio A")
    store.save_all(())
    assert not store.path.parent.exists()


def test_an_empty_file_is_a_store_with_nothing_in_it(tmp_path: Path) -> None:
    path = tmp_path / "offsets.sqlite3"
    path.touch()
    assert OffsetStore(path).all() == ()
    assert path.read_bytes() == b""
    OffsetStore(path).save(STUDIO)
    assert OffsetStore(path).all() == (STUDIO,)


def test_offsets_are_told_apart_by_their_very_names_and_sorted(store: OffsetStore) -> None:
    names = ["studio", "Studio", "studio ", "caf\u00e9", "cafe\u0301", "a\0b", "a\0c", "%", '"']
    store.save_all([studio(name) for name in names])
    assert [offset.name for offset in store.all()] == sorted(names)
    assert [store.get(name).name for name in names] == names


def test_a_name_that_is_taken_is_replaced_only_where_that_is_wanted(store: OffsetStore) -> None:
    store.save(STUDIO)
    with pytest.raises(PlanError, match=r'^an offset "studio A" is saved already: take another'):
        store.save(studio(stops=-0.3), replace=False)
    assert store.get("studio A").stops == -0.21
    store.save(studio(stops=-0.3))
    assert [offset.stops for offset in store.all()] == [-0.3]


def test_of_several_offsets_all_are_saved_or_none(store: OffsetStore) -> None:
    store.save(STUDIO)
    for several, problem in (
        ([studio("new"), STUDIO], "is saved already"),
        ([studio("new"), studio("new", stops=-0.1)], "have the same name"),
        ([studio("new"), studio("bad", u_stops=float("nan"))], 'offset "bad": u_stops: NaN is not'),
    ):
        with pytest.raises(PlanError, match=problem):
            store.save_all(several, replace=False)
        assert store.all() == (STUDIO,)


@pytest.mark.parametrize("name", ["", "x" * 201, "half a pair \ud800"])
def test_a_name_that_cannot_be_kept_is_refused_and_no_store_is_made(
    store: OffsetStore, name: str
) -> None:
    with pytest.raises(PlanError, match=r"name: .* is not text in quotation marks"):
        store.save(studio(name))
    assert not store.path.exists()


def test_an_offset_is_removed_by_its_very_name(store: OffsetStore) -> None:
    store.save_all([STUDIO, studio("studio B"), studio("location")])
    with pytest.raises(PlanError) as refusal:
        store.remove("Location")
    assert str(refusal.value) == 'no offset "Location" is saved (did you mean "location"?)'
    store.remove("studio A")
    assert [offset.name for offset in store.all()] == ["location", "studio B"]


def test_the_usual_place_is_the_users_own() -> None:
    assert OffsetStore().path == default_store()
    assert default_store().is_absolute()
    assert default_store().parts[-2:] == ("greyproof", "offsets.sqlite3")


def test_a_path_may_have_any_characters(tmp_path: Path) -> None:
    store = OffsetStore(tmp_path / "50% #1 & more" / "mein Licht\u00e4?mode=ro.sqlite3")
    store.save(STUDIO)
    assert store.all() == (STUDIO,)
    assert [path.name for path in store.path.parent.iterdir()] == [store.path.name]


def test_a_path_may_be_relative(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    OffsetStore(Path("here.sqlite3")).save(STUDIO)
    assert OffsetStore(tmp_path / "here.sqlite3").all() == (STUDIO,)


def test_the_file_says_whose_it_is(store: OffsetStore) -> None:
    store.save(STUDIO)
    header = store.path.read_bytes()[:100]
    assert header[68:72] == b"gprf"  # SQLite's file format, 1.3.17: the application ID
    assert int.from_bytes(header[60:64], "big") == 1  # 1.3.14: the user version


def test_threads_of_one_program_lose_nothing(store: OffsetStore) -> None:
    problems: list[GreyproofError] = []

    def save(prefix: str) -> None:
        try:
            for number in range(15):
                store.save(studio(f"{prefix} {number}"))
        except GreyproofError as error:
            problems.append(error)

    threads = [Thread(target=save, args=(prefix,)) for prefix in ("a", "b")]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert problems == []
    assert len(store.all()) == 30


def test_one_thread_at_a_time_opens_the_file(store: OffsetStore) -> None:
    # Where a thread closes a file, POSIX ends the locks that another one of its process has on it.
    store.save(STUDIO)
    reader = Thread(target=store.all)
    with writing(store.path):
        reader.start()
        reader.join(0.2)
        assert reader.is_alive()
    reader.join()


def test_a_store_that_is_being_written_can_be_read_and_says_so_when_it_stays_busy(
    store: OffsetStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    store.save(STUDIO)
    monkeypatch.setattr("verify.offsets.database.BUSY_S", 0.01)
    other = sqlite3.connect(store.path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    try:
        assert store.all() == (STUDIO,)
        with pytest.raises(GreyproofError, match="another program is writing to the store"):
            store.save(studio("studio B"))
    finally:
        other.close()
    store.save(studio("studio B"))
    assert len(store.all()) == 2
