"""A path to a ``Frame``: what kind of file it is decides who reads it. No pixel is decoded."""

import logging
from dataclasses import replace
from pathlib import Path

import tifffile

from verify.errors import FrameMissing, GreyproofError, NotAFrame, in_one_line
from verify.frames.dng import open_dng
from verify.frames.dng_tags import decodes, numbers, raw_page, stored_orientation
from verify.frames.exif import read_settings
from verify.frames.frame import Frame, Settings
from verify.frames.raw import libraw_settings, open_raw
from verify.frames.tiff import open_tiff, picture_page
from verify.frames.whole import check_directories, check_pictures

TIFF_ENDINGS = {".tif", ".tiff"}
RAW_ENDINGS = {
    ".3fr", ".ari", ".arw", ".bay", ".cap", ".cr2", ".cr3", ".crw", ".dcr", ".dcs", ".dng", ".drf",
    ".eip", ".erf", ".fff", ".gpr", ".iiq", ".k25", ".kdc", ".mdc", ".mef", ".mos", ".mrw", ".nef",
    ".nrw", ".orf", ".pef", ".ptx", ".pxn", ".raf", ".raw", ".rw2", ".rwl", ".sr2", ".srf", ".srw",
    ".x3f",
}  # fmt: skip
PICTURE_ENDINGS = TIFF_ENDINGS | RAW_ENDINGS
RENDERED = {
    b"\xff\xd8\xff": "a JPEG",
    b"\x89PNG": "a PNG",
    b"GIF8": "a GIF",
    b"RIFF": "a WebP or another RIFF file",
    b"BM": "a BMP",
    b"%PDF": "a PDF",
    b"8BPS": "a layered picture document",
}
TIFF_MAGIC = {b"II*\x00", b"MM\x00*", b"II+\x00", b"MM\x00+"}
LIKE_TIFF = {b"IIU\x00", b"IIRO", b"IIRS", b"MMOR"}  # camera files: its structure, another number
DNG_VERSION, BLACK_LEVEL, WHITE_LEVEL = 50706, 50714, 50717
SIDE_LIMIT = 100_000  # pixels; no camera's picture is as wide

logging.getLogger("tifffile").setLevel(logging.CRITICAL)  # a damaged file gets one line from us


def open_frame(path: Path, transfer: str | None = None) -> Frame:
    """Open a picture file and read its settings and structure.

    Parameters
    ----------
    path : a raw file, a DNG or a TIFF.
    transfer : how a TIFF's values follow the light: None or "icc", "linear", "srgb", a gamma.

    Raises
    ------
    FrameMissing
        If there is no readable file.
    NotAFrame, NotLinear
        If it is no picture, cut short, in a form nobody here decodes, or not linear.
    """
    head = _head(path)
    settings = read_settings(path)
    if head[:4] in LIKE_TIFF:
        _check_like_tiff(path)
    if head[:4] not in TIFF_MAGIC:
        return _raw_frame(path, settings)
    try:
        file = tifffile.TiffFile(path)
    except Exception as error:  # many kinds, on damaged directories
        msg = f"its directory cannot be read{_said(error)}: it is damaged or cut short"
        raise NotAFrame(msg) from error
    try:
        settings = replace(settings, orientation=stored_orientation(file))
        frame = _tiff_frame(path, file, settings, transfer)
    except Exception as error:
        file.close()
        if isinstance(error, GreyproofError):
            raise
        msg = f"its tags cannot be read{_said(error)}: it is damaged or cut short"
        raise NotAFrame(msg) from error
    if frame is None:
        file.close()
        return _raw_frame(path, settings)
    return frame


def _head(path: Path) -> bytes:
    """First bytes of a regular file; one clear line for everything that is not one."""
    try:
        if not path.is_file():
            if path.is_dir():
                msg = "it is a folder, not a picture"
            elif path.is_symlink():
                msg = "it is a link to a file that is not there"
            elif path.exists():
                msg = "it is not a regular file"
            else:
                msg = "there is no such file"
            raise FrameMissing(msg)
        with path.open("rb") as file:
            head = file.read(4096)
    except PermissionError as error:
        msg = "it may not be read: check its permissions"
        raise FrameMissing(msg) from error
    except OSError as error:
        if isinstance(error, FrameMissing):
            raise
        msg = f"it cannot be read ({error.strerror or error})"
        raise FrameMissing(msg) from error
    if not head:
        msg = "it is empty: the copy failed, or it is still being written"
        raise NotAFrame(msg)
    for magic, what in RENDERED.items():
        if head.startswith(magic):
            msg = (
                f"it is {what} inside: rendered, not linear. Measure the raw file or a linear TIFF"
            )
            raise NotAFrame(msg)
    if b"\x00" not in head and all(byte >= 32 or byte in b"\t\n\r\f\x1b" for byte in head):
        msg = "it is text, not a picture"
        raise NotAFrame(msg)
    return head


def _tiff_frame(
    path: Path, file: tifffile.TiffFile, settings: Settings, transfer: str | None
) -> Frame | None:
    """A DNG or a TIFF picture as a frame; None for a camera raw file in a TIFF container."""
    if not len(file.pages):
        check_directories(file)
        msg = "there is no picture in it"
        raise NotAFrame(msg)
    page = raw_page(file)
    if DNG_VERSION in file.pages.first.tags:
        check_directories(file, page)
        if page is None:
            msg = "it says that it is a DNG and has no raw picture: it is damaged or not finished"
            raise NotAFrame(msg)
        if not decodes(page):
            return None
        return _level_frame(path, file, page, settings, "dng")
    if page is not None or path.suffix.lower() in RAW_ENDINGS - {".dng"}:
        check_directories(file, page, all_tags=False)
        check_pictures(file)
        return None
    page = picture_page(file)
    check_directories(file, page)
    _check_sides(page)
    if {BLACK_LEVEL, WHITE_LEVEL} & set(page.tags.keys()) and int(page.photometric) == 1:
        return _level_frame(path, file, page, settings, "tiff")
    source = open_tiff(page, transfer)
    linear = source.transfer.linear
    return Frame(path, settings, source, "tiff", scene_referred=linear)


def _level_frame(
    path: Path, file: tifffile.TiffFile, page: tifffile.TiffPage, settings: Settings, kind: str
) -> Frame:
    """A frame of an image that states its black and white levels."""
    _check_sides(page)
    source, limit = open_dng(file, page)
    notes: tuple[str, ...] = ()
    baseline = numbers(file.pages.first, 50730, [0.0])[0]
    if baseline:
        notes = (
            f"the file asks renderers for {baseline:+.2f} stop (BaselineExposure): not counted",
        )
    return Frame(path, settings, source, kind, linear_limit=limit, notes=notes)


def _raw_frame(path: Path, settings: Settings) -> Frame:
    """A frame that LibRaw reads; what Exif does not tell comes from LibRaw."""
    source, orientation = open_raw(path)
    known = replace(settings, orientation=orientation)
    try:
        if None in (known.f_number, known.shutter_s, known.iso, known.captured):
            known = known.or_else(libraw_settings(source))
    except NotAFrame:
        source.close()
        raise
    return Frame(path, known, source, "raw")


def _check_like_tiff(path: Path) -> None:
    """Refuse a camera file that is cut short; where its directories are odd, LibRaw decides."""
    try:
        with tifffile.TiffFile(path) as file:
            check_pictures(file)
    except GreyproofError:
        raise
    except Exception:  # many kinds, on directories that are none
        return


def _check_sides(page: tifffile.TiffPage) -> None:
    """Refuse a picture whose sides cannot be: a damaged tag must not ask for the memory."""
    if not (0 < page.imagewidth <= SIDE_LIMIT and 0 < page.imagelength <= SIDE_LIMIT):
        msg = f"its sides of {page.imagewidth} x {page.imagelength} pixels cannot be: it is damaged"
        raise NotAFrame(msg)


def _said(error: Exception) -> str:
    """What tifffile says of a file, in brackets; nothing of an error in reading what it is not."""
    line = (str(error).splitlines() or [""])[0]
    return f" ({in_one_line(line, 100)})" if isinstance(error, tifffile.TiffFileError) else ""
