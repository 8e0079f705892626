"""Files and folders as named on the command line."""

from pathlib import Path

import pytest

from verify.frames.gather import frame_number, gather, with_reference


def made(folder: Path, *names: str) -> list[Path]:
    """Files of these names, with something in them."""
    folder.mkdir(exist_ok=True)
    paths = [folder / name for name in names]
    for path in paths:
        path.write_bytes(b"\0")
    return paths


def names(paths: list[Path]) -> list[str]:
    return [path.name for path in paths]


def found(named: list[Path]) -> tuple[list[Path], int]:
    gathered = gather(named)
    return list(gathered.files), gathered.skipped


def test_a_folder_gives_its_pictures_by_number_and_counts_the_rest(tmp_path: Path) -> None:
    made(tmp_path, "f_10.dng", "f_9.dng", "F_2.TIF", "f_100.NEF", "notes.txt", "f_9.jpg", ".x.dng")
    (tmp_path / "more.dng").mkdir()
    gathered = gather([tmp_path])
    assert names(list(gathered.files)) == ["F_2.TIF", "f_9.dng", "f_10.dng", "f_100.NEF"]
    assert gathered.skipped == 2
    assert gathered.empty == ()


def test_named_files_keep_their_order_whatever_their_ending(tmp_path: Path) -> None:
    b, a, text = made(tmp_path, "b.dng", "a.dng", "notes.txt")
    assert found([b, text, a]) == ([b, text, a], 0)


def test_each_file_comes_once_where_it_was_named_first(tmp_path: Path) -> None:
    first, second = made(tmp_path, "1.dng", "2.dng")
    assert found([second, tmp_path, second]) == ([second, first], 0)


def test_what_is_not_there_gets_its_own_line_later(tmp_path: Path) -> None:
    missing = tmp_path / "missing.dng"
    assert found([missing]) == ([missing], 0)


def test_a_link_to_nothing_in_a_folder_gets_its_own_line_later(tmp_path: Path) -> None:
    link = tmp_path / "gone.dng"
    try:
        link.symlink_to(tmp_path / "nowhere.dng")
    except OSError:
        pytest.skip("this system lets nobody make a symbolic link")
    assert found([tmp_path]) == ([link], 0)


def test_an_empty_folder_gives_nothing(tmp_path: Path) -> None:
    assert found([tmp_path]) == ([], 0)
    assert found([]) == ([], 0)
    (line,) = gather([tmp_path]).empty
    assert line.startswith(str(tmp_path))


def test_two_spellings_of_a_file_are_one(tmp_path: Path) -> None:
    (frame,) = made(tmp_path, "1.dng")
    other = tmp_path / ".." / tmp_path.name / "1.dng"
    assert found([other, frame, tmp_path]) == ([other], 0)
    assert with_reference([frame], other) == ([frame], frame)
    assert with_reference([frame], Path("1.dng")) == ([frame], frame)
    assert with_reference([frame], Path("2.dng")) == ([Path("2.dng"), frame], Path("2.dng"))


def test_digits_that_are_no_numbers_are_letters(tmp_path: Path) -> None:
    """A superscript two is a digit to Python and no number; in a name it must not stop a run."""
    made(tmp_path, "1²3.dng", "²5.dng", "٣.dng")
    files = gather([tmp_path]).files
    assert sorted(names(list(files))) == sorted(["1²3.dng", "²5.dng", "٣.dng"])


@pytest.mark.parametrize(
    ("name", "number"),
    [
        ("shoot2_0123.dng", 123),
        ("0007.tif", 7),
        ("IMG_20260512_4711.nef", 4711),
        ("card.dng", None),
        ("a12b.dng", 12),
        ("x1.5.dng", 5),
    ],
)
def test_the_number_of_a_frame_is_the_last_in_its_name(name: str, number: int | None) -> None:
    assert frame_number(Path("folder9") / name) == number
