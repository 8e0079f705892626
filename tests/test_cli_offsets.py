"""greyproof offsets: list, show, export, import and remove, and what each refuses."""

import shutil
from pathlib import Path

import pytest
from commands import Ran, listing, run
from saved_offsets import STUDIO, studio

from verify.offsets.as_toml import read_toml
from verify.offsets.records import SavedOffset
from verify.offsets.store import OffsetStore
from verify.plan.records import OffsetPart

Capture = pytest.CaptureFixture[str]

LOCATION = studio(
    "location",
    {"receptor": "dome", "aimed": "camera", "lens": None},
    stops=0.3,
    interval_stops=(0.2, 0.4),
    parts=(OffsetPart("iso", 400.0, 0.12), OffsetPart("aperture", 16.0, -0.05)),
)
COMMANDS = (("show", "x"), ("export", "x.toml"), ("import", "x.toml"), ("remove", "x"))


@pytest.fixture
def store(tmp_path: Path) -> OffsetStore:
    """A store of two offsets."""
    made = OffsetStore(tmp_path / "kept.sqlite3")
    made.save_all((STUDIO, LOCATION))
    return made


def offsets(capsys: Capture, store: OffsetStore, *arguments: str | Path) -> Ran:
    return run(capsys, "offsets", "--store", store.path, *arguments)


def refused(ran: Ran) -> str:
    """The one line of a refusal."""
    assert (ran.status, ran.out) == (2, "")
    (line,) = ran.err.splitlines()
    return line.removeprefix("greyproof: ")


def test_all_in_a_table(store: OffsetStore, capsys: Capture) -> None:
    ran = offsets(capsys, store)
    assert (ran.status, ran.err) == (0, "")
    heading, _, first, second = ran.out.splitlines()
    assert heading.split() == [
        "name", "offset", "95", "%", "meter", "camera", "lens", "card", "frames", "kept",
    ]  # fmt: skip
    for word in ("location", "+0.30", "+0.20 to +0.40", "Lumen 3, dome, aimed at the camera", "–"):
        assert word in first
    for word in (
        "studio A", "−0.21", "−0.40 to −0.02", "Lumen 3, flat", "Halde 45 007", "Planor 80",
        "Grauwald 18", "12", "2026-03-01",
    ):  # fmt: skip
        assert word in second


def test_none_yet(tmp_path: Path, capsys: Capture) -> None:
    path = tmp_path / "none.sqlite3"
    ran = run(capsys, "offsets", "--store", path)
    assert ran == Ran(
        0, f"No offset is kept in {path}. greyproof calibrate --save NAME keeps one.\n", ""
    )
    assert not path.exists()


def test_the_users_own_store_where_none_is_named(capsys: Capture) -> None:
    assert run(capsys, "offsets").out.startswith("No offset is kept in ")
    assert str(OffsetStore().path) in run(capsys, "offsets").out


def test_one_with_all_that_it_belongs_to(store: OffsetStore, capsys: Capture) -> None:
    ran = offsets(capsys, store, "show", "location")
    assert (ran.status, ran.err) == (0, "")
    name, *rows = ran.out.splitlines()
    assert name == "location"
    shown = dict(row.strip().split(": ", 1) for row in rows)
    assert shown == {
        "offset": "+0.30 stop (95 %: +0.20 to +0.40), measured minus promised",
        "uncertainty": "0.090 stop; 0.040 with the same card",
        "at ISO 400": "+0.12 stop more",
        "at f/16": "−0.05 stop more",
        "meter": "Lumen 3, dome, aimed at the camera",
        "light": "flash",
        "camera": "Halde 45 007",
        "lens": "–",
        "card": "Grauwald 18",
        "ISO": "100 to 400",
        "aperture": "f/8 to f/16",
        "frames": "12",
        "kept": "2026-03-01 10:30 UTC by greyproof 0.4.0",
    }


def test_a_store_may_be_named_behind_the_command(store: OffsetStore, capsys: Capture) -> None:
    ran = run(capsys, "offsets", "show", "location", "--store", store.path)
    assert ran.out.startswith("location\n")
    elsewhere = store.path.with_name("other.sqlite3")
    ran = run(capsys, "offsets", "--store", elsewhere, "show", "location", "--store", store.path)
    assert ran.out.startswith("location\n")


@pytest.mark.parametrize("command", ["show", "remove", "export"])
def test_a_name_that_is_not_there(
    store: OffsetStore, tmp_path: Path, capsys: Capture, command: str
) -> None:
    before = listing(tmp_path)
    to = [tmp_path / "out.toml"] if command == "export" else []
    line = refused(offsets(capsys, store, command, *to, "Location"))
    assert line == 'no offset "Location" is saved (did you mean "location"?)'
    line = refused(offsets(capsys, store, command, *to, "zzz"))
    assert line == 'no offset "zzz" is saved: there is "location" and "studio A"'
    assert listing(tmp_path) == before


@pytest.mark.parametrize("names", [[], ["location"], ["studio A", "location"]])
def test_to_a_file_and_back(
    store: OffsetStore, tmp_path: Path, capsys: Capture, names: list[str]
) -> None:
    file, other = tmp_path / "out.toml", OffsetStore(tmp_path / "other.sqlite3")
    count = len(names) or 2
    plural = "1 offset" if count == 1 else f"{count} offsets"
    ran = offsets(capsys, store, "export", file, *names)
    assert ran == Ran(0, f"{plural} written to {file}.\n", "")
    listed = ", ".join(names or ["location", "studio A"])
    assert offsets(capsys, other, "import", file) == Ran(0, f"{plural} kept: {listed}.\n", "")
    kept = {"location": LOCATION, "studio A": STUDIO}
    assert {one.name: one for one in other.all()} == {name: kept[name] for name in names or kept}


def test_to_standard_output(store: OffsetStore, tmp_path: Path, capsys: Capture) -> None:
    ran = offsets(capsys, store, "export", "-", "location")
    assert (ran.status, ran.err) == (0, "")
    file = tmp_path / "piped.toml"
    file.write_text(ran.out, encoding="utf-8")
    assert read_toml(file) == (LOCATION,)
    assert "opposite signs" in ran.out


def test_a_name_given_twice_is_written_once(
    store: OffsetStore, tmp_path: Path, capsys: Capture
) -> None:
    file = tmp_path / "out.toml"
    ran = offsets(capsys, store, "export", file, "location", "location")
    assert ran.out == f"1 offset written to {file}.\n"
    assert read_toml(file) == (LOCATION,)


def test_no_file_is_written_over_unasked(
    store: OffsetStore, tmp_path: Path, capsys: Capture
) -> None:
    plan = tmp_path / "plan.toml"
    plan.write_text("[reading]\n", encoding="utf-8")
    line = refused(offsets(capsys, store, "export", plan))
    assert line == f"{plan}: there is such a file: name another, or say --replace"
    assert plan.read_text(encoding="utf-8") == "[reading]\n"
    assert offsets(capsys, store, "export", plan, "--replace").status == 0
    assert len(read_toml(plan)) == 2


@pytest.mark.parametrize(
    ("file", "says"),
    [
        ("frame.dng", "name a file that ends in .toml"),
        ("gone/out.toml", "the report cannot be written"),
    ],
)
def test_where_nothing_can_be_exported_to(
    store: OffsetStore, tmp_path: Path, capsys: Capture, file: str, says: str
) -> None:
    line = refused(offsets(capsys, store, "export", tmp_path / file))
    assert line.startswith(f"{tmp_path / file}: {says}")


def test_nothing_to_export(tmp_path: Path, capsys: Capture) -> None:
    path = tmp_path / "none.sqlite3"
    ran = run(capsys, "offsets", "--store", path, "export", tmp_path / "out.toml")
    assert refused(ran) == f"{path}: there is no offset to export"
    assert listing(tmp_path).keys() == {"."}


def test_an_import_replaces_nothing_unasked(
    store: OffsetStore, tmp_path: Path, capsys: Capture
) -> None:
    file = tmp_path / "in.toml"
    source = OffsetStore(tmp_path / "source.sqlite3")
    source.save_all((studio("new"), studio("studio A", stops=-0.1)))
    offsets(capsys, source, "export", file)
    line = refused(offsets(capsys, store, "import", file))
    assert line == 'an offset "studio A" is saved already: take another name, or say --replace'
    assert {one.name for one in store.all()} == {"studio A", "location"}
    assert store.get("studio A") == STUDIO
    assert offsets(capsys, store, "import", file, "--replace").status == 0
    assert {one.name: one.stops for one in store.all()} == {
        "studio A": -0.1, "location": 0.3, "new": -0.21,
    }  # fmt: skip


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (None, "there is no such file of offsets"),
        ("", 'this is no file of offsets: format = "greyproof.offsets/1" is not at its top'),
        ("[reading]\n", "this is no file of offsets"),
        ('format = "greyproof.offsets/2"\n', '"greyproof.offsets/2" is of a newer greyproof'),
        ('format = "greyproof.offsets/1"\n', "there is no offset in it"),
        ('format = "greyproof.offsets/1"\n[[offset]]\nname = "a"\nsop = 1\n', '[[offset]] 1 "a"'),
        ("format = \n", "in.toml"),
    ],
)
def test_what_is_no_file_of_offsets(
    store: OffsetStore, tmp_path: Path, capsys: Capture, text: str | None, says: str
) -> None:
    file = tmp_path / "in.toml"
    if text is not None:
        file.write_text(text, encoding="utf-8")
    before = listing(tmp_path)
    ran = offsets(capsys, store, "import", file)
    assert (ran.status, ran.out) == (2, "")
    assert all(line.startswith(f"greyproof: {file}") for line in ran.err.splitlines())
    assert says in ran.err.splitlines()[0]
    assert listing(tmp_path) == before


def test_one_bad_offset_costs_the_whole_import(
    store: OffsetStore, tmp_path: Path, capsys: Capture
) -> None:
    file = tmp_path / "in.toml"
    offsets(capsys, store, "export", file)
    text = file.read_text(encoding="utf-8").replace('"location"', '"new"')
    file.write_text(text.replace("u_stops = 0.09", "u_stops = -1", 1), encoding="utf-8")
    line = refused(offsets(capsys, store, "import", file, "--replace"))
    assert line.startswith(f'{file}: [[offset]] 1 "new": u_stops: -1 is not a standard uncertainty')
    assert {one.name for one in store.all()} == {"studio A", "location"}


def test_removed_for_good(store: OffsetStore, capsys: Capture) -> None:
    ran = offsets(capsys, store, "remove", "location", "location")
    assert ran == Ran(0, '"location" is removed.\n', "")
    assert store.all() == (STUDIO,)


def test_a_wrong_name_among_several_costs_none(store: OffsetStore, capsys: Capture) -> None:
    assert "no offset" in refused(offsets(capsys, store, "remove", "studio A", "nobody"))
    assert len(store.all()) == 2


@pytest.mark.parametrize("arguments", [(), *COMMANDS])
def test_a_damaged_store_is_refused_and_left_as_it_is(
    tmp_path: Path, capsys: Capture, arguments: tuple[str, ...]
) -> None:
    path = tmp_path / "kept.sqlite3"
    path.write_bytes(b"no store, and somebody's own " * 20)
    made = OffsetStore(tmp_path / "sound.sqlite3")
    made.save(studio("x"))
    words = [tmp_path / word if word.endswith(".toml") else word for word in arguments]
    if arguments[:1] == ("import",):
        offsets(capsys, made, "export", tmp_path / "x.toml")
    before = listing(tmp_path)
    line = refused(run(capsys, "offsets", "--store", path, *words))
    assert line.startswith(f"{path}: this is no store of offsets")
    assert listing(tmp_path) == before


def test_a_store_that_changed_on_the_disk_is_refused(
    store: OffsetStore, tmp_path: Path, capsys: Capture
) -> None:
    data = bytearray(store.path.read_bytes())
    at = data.index(b"Lumen 3")
    data[at : at + 5] = b"Lamen"
    changed = tmp_path / "changed.sqlite3"
    changed.write_bytes(data)
    line = refused(run(capsys, "offsets", "--store", changed))
    assert line.startswith(f"{changed}: this store of offsets is damaged")
    shutil.copy(store.path, changed)
    assert run(capsys, "offsets", "--store", changed).status == 0


def test_names_that_a_terminal_would_obey_are_shown_and_not_obeyed(
    tmp_path: Path, capsys: Capture
) -> None:
    odd: SavedOffset = studio("[red]\x1b[2Jtwo\nlines", {"meter": ":moon: [bold]"})
    store = OffsetStore(tmp_path / "kept.sqlite3")
    store.save(odd)
    for ran in (offsets(capsys, store), offsets(capsys, store, "show", odd.name)):
        assert ran.status == 0
        assert "\x1b" not in ran.out
        assert "[red]" in ran.out
        assert ":moon: [bold]" in ran.out
    ran = offsets(capsys, store, "remove", odd.name)
    assert len(ran.out.splitlines()) == 1
    assert "\x1b" not in ran.out


@pytest.mark.parametrize("command", [[], *[[name] for name, _ in COMMANDS]])
def test_help(capsys: Capture, command: list[str]) -> None:
    ran = run(capsys, "offsets", *command, "--help")
    assert ran.status == 0
    assert ran.out.startswith(" ".join(["Usage: greyproof offsets", *command]))
    assert "--store FILE" in ran.out
    assert max(map(len, ran.out.splitlines())) <= 80
    assert not any(odd in ran.out for odd in ("<str>", "list[", "Annotated", "...\n  import"))
