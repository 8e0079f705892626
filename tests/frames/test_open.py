"""What kind of file it is decides who reads it; what is none gets one clear line."""

import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from small_files import BLACK, SHORT, WHITE, random_codes, tag, write_dng, write_tiff

from verify.errors import FrameError, FrameMissing, NotAFrame
from verify.frames.geometry import Box
from verify.frames.open import open_frame


def one_line(error: BaseException) -> str:
    text = str(error)
    assert text
    assert "\n" not in text
    assert len(text) < 240
    return text


NO_PICTURES: dict[str, tuple[bytes, str]] = {
    "empty": (b"", "is empty"),
    "text": (b"Set 3, bottle, rim light at 6.3\r\n" * 4, "is text"),
    "a word": (b"x", "is text"),
    "JPEG": (b"\xff\xd8\xff\xe0\0\x10JFIF" + bytes(500), "is a JPEG"),
    "PNG": (b"\x89PNG\r\n\x1a\n" + bytes(500), "is a PNG"),
    "GIF": (b"GIF89a" + bytes(500), "is a GIF"),
    "WebP": (b"RIFF\x20\0\0\0WEBP" + bytes(500), "WebP"),
    "BMP": (b"BM" + bytes(500), "is a BMP"),
    "PDF": (b"%PDF-1.7\n" + bytes(500), "is a PDF"),
    "HEIF": (b"\0\0\0\x18ftypheic" + bytes(500), "LibRaw cannot decode it"),
    "zeros": (bytes(5000), "LibRaw cannot decode it"),
    "TIFF without a directory": (b"II*\0\0\0\0\0", "no picture|directory"),
    "TIFF head alone": (b"MM\0*", "directory"),
    "TIFF beyond the end": (b"II*\0\xff\xff\0\0" + bytes(400), "cut short"),
    "TIFF without tags": (b"II*\0\x08\0\0\0\0\0\0\0\0\0" + bytes(400), "damaged|no picture|sides"),
    "BigTIFF of odd offsets": (b"II+\0\x04\0\0\0" + bytes(400), "directory"),
    "DOS text ending in 0": (b"note\x1a\0" * 90, "LibRaw cannot decode it"),
}


@pytest.mark.parametrize("ending", [".dng", ".nef", ".tif"])
@pytest.mark.parametrize("name", NO_PICTURES)
def test_what_is_no_picture_says_what_it_is(
    name: str,
    ending: str,
    tmp_path: Path,
    capfd: pytest.CaptureFixture[str],
    caplog: pytest.LogCaptureFixture,
) -> None:
    data, said = NO_PICTURES[name]
    path = tmp_path / f"a{ending}"
    path.write_bytes(data)
    with pytest.raises(FrameError, match=said) as caught, open_frame(path, "linear") as frame:
        frame.signal(Box(0, 0, 1, 1))
    assert isinstance(caught.value, NotAFrame)
    one_line(caught.value)
    assert (*capfd.readouterr(), caplog.text) == ("", "", ""), "a library spoke"


def linked(path: Path) -> None:
    try:
        path.symlink_to(path.with_name("nowhere.dng"))
    except OSError:
        pytest.skip("this system lets nobody make a symbolic link")


def piped(path: Path) -> None:
    if not hasattr(os, "mkfifo"):
        pytest.skip("this system has no named pipes")
    os.mkfifo(path)


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (lambda path: None, "no such file"),
        (lambda path: path.mkdir(), "folder"),
        (linked, "a link to a file that is not there"),
        (piped, "not a regular file"),
    ],
)
def test_what_is_not_there_to_be_read(
    make: Callable[[Path], None], said: str, tmp_path: Path
) -> None:
    path = tmp_path / "a.dng"
    make(path)
    with pytest.raises(FrameMissing, match=said) as caught:
        open_frame(path)
    assert said in one_line(caught.value)


@pytest.mark.parametrize(
    ("error", "said"), [(PermissionError(13, "denied"), "permissions"), (OSError(5, "bad"), "bad")]
)
def test_a_file_that_may_not_be_read_or_is_on_a_bad_disk(
    error: OSError, said: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = write_dng(tmp_path / "a.dng", random_codes(8, 8))

    def fail(*_: Any, **__: Any) -> None:
        raise error

    monkeypatch.setattr(Path, "open", fail)
    with pytest.raises(FrameMissing, match=said) as caught:
        open_frame(path)
    one_line(caught.value)


def test_a_link_to_a_frame_is_the_frame(tmp_path: Path) -> None:
    codes = random_codes(16, 16)
    target, link = write_dng(tmp_path / "a.dng", codes), tmp_path / "b.dng"
    try:
        link.symlink_to(target)
    except OSError:
        pytest.skip("this system lets nobody make a symbolic link")
    with open_frame(link) as frame:
        assert frame.signal(Box(0, 0, 16, 16)).signal == pytest.approx(codes / 65535)


LEVELS = (tag(BLACK, SHORT, 512), tag(WHITE, SHORT, 4095))


@pytest.mark.parametrize(
    ("name", "kind", "colors"),
    [
        ("a.dng", "dng", ("red", "green", "blue")),
        ("a.DNG", "dng", ("red", "green", "blue")),
        ("a.tif", "dng", ("red", "green", "blue")),
        ("a", "dng", ("red", "green", "blue")),
    ],
)
def test_the_inside_of_a_file_decides_not_its_name(
    name: str, kind: str, colors: tuple[str, ...], tmp_path: Path
) -> None:
    with open_frame(write_dng(tmp_path / name, random_codes(16, 16), *LEVELS)) as frame:
        assert frame.kind == kind
        assert frame.signal(Box(0, 0, 4, 4)).colors == colors


@pytest.mark.parametrize("name", ["a.tif", "a.dng", "a"])
def test_a_tiff_by_any_name_is_a_tiff(name: str, tmp_path: Path) -> None:
    with open_frame(write_tiff(tmp_path / name, random_codes(16, 16)), "linear") as frame:
        assert frame.kind == "tiff"
        assert frame.signal(Box(0, 0, 4, 4)).colors == ("grey",)


def test_a_mosaic_without_a_dng_version_goes_to_libraw(tmp_path: Path) -> None:
    """As camera makers' own files in a TIFF are; by any name."""
    codes = random_codes(64, 64)
    path = write_dng(tmp_path / "a.tif", codes)
    version = (50706).to_bytes(2, "little")
    path.write_bytes(path.read_bytes().replace(version, (50931).to_bytes(2, "little")))
    with open_frame(path) as frame:
        assert frame.kind == "raw"
        assert frame.signal(Box(0, 0, 64, 64)).signal == pytest.approx(codes / 65535)


def test_a_compression_that_is_not_decoded_here_goes_to_libraw(tmp_path: Path) -> None:
    path = write_dng(tmp_path / "a.dng", random_codes(64, 64), *LEVELS, compression="zstd")
    with pytest.raises(NotAFrame, match="LibRaw"), open_frame(path) as frame:
        frame.signal(Box(0, 0, 4, 4))


def test_no_pixel_is_decoded_to_open_a_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = write_dng(tmp_path / "a.dng", random_codes(64, 64), *LEVELS, compression="deflate")

    def fail(*_: Any) -> bytes:
        raise AssertionError("pixels were read")

    monkeypatch.setattr("verify.frames.chunks.Chunks._bytes", fail)
    with open_frame(path) as frame, pytest.raises(AssertionError, match="pixels were read"):
        frame.signal(Box(0, 0, 4, 4))
