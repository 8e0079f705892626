"""A recorded light trace from a file: a table of numbers, or a sound recording."""

import codecs
import os
from pathlib import Path

from verify.errors import PlanError, in_one_line
from verify.trace.records import Trace
from verify.trace.sound import is_sound, sound_trace
from verify.trace.table import table_trace

LARGEST = 500_000_000  # bytes; ten million samples of a time and a value need about 250 million
FEWEST = 20  # samples; a pulse with its baseline needs more
BEGINNINGS = {  # of files that are neither a table nor a sound recording
    b"\x89PNG": "a picture",
    b"\xff\xd8\xff": "a picture",
    b"GIF8": "a picture",
    b"II*\0": "a picture",
    b"MM\0*": "a picture",
    b"%PDF": "a PDF document",
    b"PK\x03\x04": "a spreadsheet's own file or an archive",
    b"\xd0\xcf\x11\xe0": "a spreadsheet's own file",
    b"OggS": "compressed sound",
    b"fLaC": "compressed sound",
    b"ID3": "compressed sound",
    b"FORM": "sound, but no WAV file",
    b"caff": "sound, but no WAV file",
}
WIDE = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)
CONTROLS = bytes(set(range(32)) - set(b"\t\n\v\f\r\x1a")) + b"\x7f"  # \x1a once ended a text
LOOKED_AT = 65536  # bytes in which a control character says that this is no text
NEEDED = "a recording is a table of numbers (CSV) or uncompressed WAV"


def read_trace(path: Path, time: str | None = None, value: str | None = None) -> Trace:
    """The light trace in a file. Polarity and baseline are left as they are.

    Parameters
    ----------
    path : a table (CSV and its kin, see ``table_trace``) or WAV (see ``sound_trace``).
    time, value : the columns of a table, each by its name or its number from 1; ``value`` also
        names the channel of a sound recording. None: told from the file.

    Returns
    -------
    Trace
        At least 20 samples, time rising [s], values finite.

    Raises
    ------
    PlanError
        If the file cannot be read, is no recording, or leaves open what its columns are.
    """
    where = in_one_line(str(path))
    data = _bytes(path, where)
    if is_sound(data):
        if time is not None:
            msg = f"{where}: a sound recording has no column of time: leave --time out"
            raise PlanError(msg)
        trace = sound_trace(data, where, value)
    else:
        trace = table_trace(_plain_text(data, where), where, time, value)
    if trace.value.size < FEWEST:
        msg = f"{where}: {trace.value.size} samples are too few: a pulse needs at least {FEWEST}"
        raise PlanError(msg)
    return trace


def _bytes(path: Path, where: str) -> bytes:
    """All bytes of a regular file, or a refusal."""
    try:
        if os.path.isdir(path):
            msg = f"{where}: this is a folder: name one recording"
            raise PlanError(msg)
        if os.path.exists(path) and not os.path.isfile(path):
            msg = f"{where}: the recording is not a regular file"
            raise PlanError(msg)
        with path.open("rb") as file:
            size = os.fstat(file.fileno()).st_size
            if size > LARGEST:
                msg = (
                    f"{where}: {size / 1e6:,.0f} MB are too large: a recording may have up to"
                    f" {LARGEST / 1e6:,.0f} MB: cut it to the flash"
                )
                raise PlanError(msg)
            data = file.read(LARGEST)
    except FileNotFoundError as error:
        msg = f"{where}: there is no such recording"
        raise PlanError(msg) from error
    except PlanError:
        raise
    except (OSError, ValueError) as error:  # ValueError: a name that no system takes
        reason = error.strerror if isinstance(error, OSError) else None
        msg = f"{where}: the recording cannot be read ({reason or error})"
        raise PlanError(msg) from error
    if not data or data.isspace():
        msg = f"{where}: nothing is in it: {NEEDED}"
        raise PlanError(msg)
    return data


def _plain_text(data: bytes, where: str) -> bytes:
    """The bytes of a text in an encoding that has ASCII in it, or a refusal."""
    kind = next((kind for start, kind in BEGINNINGS.items() if data.startswith(start)), None)
    if kind is None and data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        kind = "a picture"
    if kind is not None:
        msg = f"{where}: this is {kind}: {NEEDED}"
        raise PlanError(msg)
    if data.startswith(WIDE):
        try:
            data = data.decode("utf-16").encode()
        except UnicodeError as error:
            msg = f"{where}: this is not text in UTF-16, as it begins: {NEEDED}"
            raise PlanError(msg) from error
    data = data.removeprefix(codecs.BOM_UTF8)
    head = data[:LOOKED_AT]
    if len(head) != len(head.translate(None, CONTROLS)) or b"\0" in data:
        if data[:4] in (b"RIFF", b"RF64"):
            msg = f"{where}: it begins as a WAV file and is none: it is damaged: copy it again"
        else:
            msg = f"{where}: this is not text and no WAV file: {NEEDED}"
        raise PlanError(msg)
    return data
