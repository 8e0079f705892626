"""The samples of a sound recording (WAV), as shares of the recorder's full scale."""

import struct
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from verify.errors import PlanError, in_one_line
from verify.trace.records import Trace

INTEGER, FLOAT, EXTENSIBLE = 1, 3, 0xFFFE  # format tags of WAV
CODED = {2: "ADPCM", 6: "A-law", 7: "mu-law", 17: "ADPCM", 80: "MPEG", 85: "MP3"}
WIDTHS = {INTEGER: (8, 16, 24, 32), FLOAT: (32, 64)}  # bits of a sample that are read
UNKNOWN_SIZE = 0xFFFFFFFF  # what a recorder writes that did not know how long it would run
MOST_CHANNELS = 64
FASTEST_HZ = 1e9
SAVE = "save the recording as uncompressed WAV (16, 24 or 32 bit, or float)"


@dataclass(frozen=True, slots=True)
class _Form:
    """How the samples are written."""

    kind: int  # INTEGER or FLOAT
    channels: int  # written in turn
    rate_hz: int  # samples a second, of each channel
    bits: int  # of a sample in the file
    valid_bits: int  # of them, from the top, that the recorder fills


def is_sound(data: bytes) -> bool:
    """Whether a file begins as a WAV file does."""
    return data[:4] in (b"RIFF", b"RF64", b"RIFX") and data[8:12] == b"WAVE"


def sound_trace(data: bytes, where: str, value: str | None = None) -> Trace:
    """The trace in a WAV file: 8, 16, 24 or 32 bit integers, 32 or 64 bit floats.

    Values are shares of full scale, -1 to 1, and ``least`` and ``most`` are what the recorder can
    write. A float file is taken to clip at -1 and 1, unless it holds values beyond them: then its
    limits are not known.

    Parameters
    ----------
    data : the whole file.
    where : its name, for messages.
    value : the channel: its number from 1, or "left" or "right" of two. None: of several, the one
        that goes farthest from its median.

    Raises
    ------
    PlanError
        If the file is cut short, compressed, or in another form; if it has no such channel; if a
        sample is no number.
    """
    form, body = _parts(data, where)
    width = form.channels * form.bits // 8
    if len(body) < width:
        msg = f"{where}: there is no sound in it: record the flash again"
        raise PlanError(msg)
    if len(body) % width:
        msg = f"{where}: it ends inside a sample: the recording is cut short; {SAVE}"
        raise PlanError(msg)
    frames = np.frombuffer(body, np.uint8).reshape(-1, form.channels, form.bits // 8)
    signal = _samples(frames[:, _channel(frames, form, value, where)], form)
    bad = ~np.isfinite(signal)
    if bad.any():
        at = int(bad.argmax())
        found = "NaN" if np.isnan(signal[at]) else "infinity"
        msg = f"{where}: sample {at + 1} is {found}: a recording has numbers only"
        raise PlanError(msg)
    least: float | None = -1.0
    most: float | None = 1 - 2.0 ** (1 - form.valid_bits) if form.kind == INTEGER else 1.0
    if form.kind == FLOAT and np.abs(signal).max() > 1:
        least = most = None
    return Trace(np.arange(signal.size) / form.rate_hz, signal, "sound", least, most)


def _parts(data: bytes, where: str) -> tuple[_Form, memoryview]:
    """The form of the samples, and their bytes."""
    if data[:4] == b"RIFX":
        msg = f"{where}: this WAV file has its bytes in reverse order (RIFX), not read here; {SAVE}"
        raise PlanError(msg)
    form: _Form | None = None
    long_size: int | None = None
    at = 12
    while at + 8 <= len(data):
        name, size = data[at : at + 4], struct.unpack_from("<I", data, at + 4)[0]
        start, at = at + 8, at + 8 + size + size % 2
        if name == b"ds64" and len(data) >= start + 16:
            long_size = struct.unpack_from("<Q", data, start + 8)[0]
        elif name == b"fmt ":
            form = _form(data[start : start + size], where)
        elif name == b"data":
            if form is None:
                break
            if size == UNKNOWN_SIZE:
                size = len(data) - start if long_size is None else long_size
            there = len(data) - start
            if size > there:
                msg = (
                    f"{where}: {there:,} bytes of sound of the {size:,} it promises are there:"
                    " the recording is cut short: copy it again"
                )
                raise PlanError(msg)
            return form, memoryview(data)[start : start + size]
    lacking = "form of its samples" if form is None else "samples"
    msg = f"{where}: a WAV file without the {lacking}: it is damaged or cut short: copy it again"
    raise PlanError(msg)


def _form(chunk: bytes, where: str) -> _Form:
    """The form of the samples from its chunk."""
    if len(chunk) < 16:
        msg = f"{where}: the form of its samples is cut short: copy the recording again"
        raise PlanError(msg)
    kind, channels, rate, _, block, bits = struct.unpack_from("<HHIIHH", chunk)
    valid_bits = bits
    if kind == EXTENSIBLE and len(chunk) >= 26:
        valid_bits, _, kind = struct.unpack_from("<HIH", chunk, 18)
        valid_bits = valid_bits if 0 < valid_bits <= bits else bits
    if kind not in WIDTHS:
        coded = CODED.get(kind, f"format {kind}")
        msg = f"{where}: its sound is compressed or encoded ({coded}), which bends a pulse; {SAVE}"
        raise PlanError(msg)
    if bits not in WIDTHS[kind]:
        msg = f"{where}: samples of {bits} bit are not read; {SAVE}"
        raise PlanError(msg)
    if not 0 < channels <= MOST_CHANNELS or block != channels * bits // 8:
        msg = (
            f"{where}: {channels} channels of {bits} bit in {block} bytes do not fit together:"
            f" the file is damaged; {SAVE}"
        )
        raise PlanError(msg)
    if not 0 < rate <= FASTEST_HZ:
        msg = f"{where}: {rate:,} samples a second cannot be: the file is damaged; {SAVE}"
        raise PlanError(msg)
    return _Form(kind, channels, rate, bits, valid_bits)


def _channel(frames: NDArray[np.uint8], form: _Form, value: str | None, where: str) -> int:
    """Index of the channel that was asked for, or of the one with most signal."""
    if value is not None:
        names = {str(n + 1): n for n in range(form.channels)}
        if form.channels == 2:
            names |= {"left": 0, "right": 1}
        found = names.get(value.strip().lower())
        if found is None:
            msg = (
                f'{where}: there is no channel "{in_one_line(value, 40)}": say --value with one of'
                f" {', '.join(names)}"
            )
            raise PlanError(msg)
        return found
    swings = []
    for channel in range(form.channels if form.channels > 1 else 0):
        signal = _samples(frames[:, channel], form)
        with np.errstate(invalid="ignore", over="ignore"):  # of infinities, refused later
            swings.append(float(np.abs(signal - np.median(signal)).max()))
    return int(np.argmax(swings)) if swings else 0


def _samples(raw: NDArray[np.uint8], form: _Form) -> NDArray[np.float64]:
    """Samples of one channel as shares of full scale; ``raw`` is (samples, bytes of one)."""
    width = form.bits // 8
    if form.kind == FLOAT:
        return np.ascontiguousarray(raw).view(f"<f{width}")[:, 0].astype(np.float64)
    if width == 1:  # the only one without a sign; 128 is silence
        return (raw[:, 0].astype(np.float64) - 128) / 128
    top = np.zeros((len(raw), 4), np.uint8)  # as the upper bytes of 32 bits, which keep the sign
    top[:, 4 - width :] = raw
    return top.view("<i4")[:, 0] / 2.0**31
