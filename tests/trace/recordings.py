"""Recordings with a known content: a decaying flash as tables of every layout, and as sound."""

import struct
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

STEP_S = 4e-6
SAMPLES = 60
FIRST_S = -8 * STEP_S


def pulse_times_s() -> NDArray[np.float64]:
    """When the samples were taken [s]; the recorder began before its trigger."""
    return FIRST_S + STEP_S * np.arange(SAMPLES, dtype=np.float64)


def pulse_volts() -> NDArray[np.float64]:
    """Volts to 5 decimals: an offset, and a pulse that decays in a tenth of a millisecond."""
    times_s = pulse_times_s()
    light = np.where(times_s < 0, 0.0, np.exp(-np.clip(times_s, 0, None) / 1e-4))
    return np.round(0.0625 + 1.5 * light, 5)


def table(
    delimiter: str = ",",
    decimal: str = ".",
    scale: float = 1.0,
    above: Sequence[str] = (),
    end: str = "\n",
    timed: bool = True,
) -> str:
    """The pulse as a table; time is in units of ``1 / scale`` seconds, or left out."""
    rows = [
        ([f"{time_s * scale:.9g}"] if timed else []) + [f"{volts:.5f}"]
        for time_s, volts in zip(pulse_times_s(), pulse_volts(), strict=True)
    ]
    lines = [delimiter.join(row).replace(".", decimal) for row in rows]
    return end.join([*above, *lines]) + end


def chunk(name: bytes, data: bytes) -> bytes:
    """One chunk of a WAV file, padded to an even length."""
    return name + struct.pack("<I", len(data)) + data + b"\0" * (len(data) % 2)


def wav(data: bytes, kind: int = 1, channels: int = 1, rate: int = 48000, bits: int = 16) -> bytes:
    """A WAV file of encoded samples; another chunk stands before them, as recorders write it."""
    block = channels * bits // 8
    form = struct.pack("<HHIIHH", kind, channels, rate, rate * block, block, bits)
    parts = b"WAVE" + chunk(b"fmt ", form) + chunk(b"LIST", b"odd") + chunk(b"data", data)
    return b"RIFF" + struct.pack("<I", len(parts)) + parts


def codes(signal: NDArray[np.float64], bits: int) -> bytes:
    """Shares of full scale as integers of WAV."""
    whole = np.round(signal * 2.0 ** (bits - 1)).astype(np.int64)
    if bits == 8:
        return (whole + 128).astype(np.uint8).tobytes()
    return b"".join(int(code).to_bytes(bits // 8, "little", signed=True) for code in whole)
