"""verify/trace/read.py on sound recordings: every width of sample gives the same trace."""

import struct
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from recordings import chunk, codes, wav

from verify.errors import PlanError
from verify.trace.read import read_trace

RATE_HZ = 96_000


def decaying() -> NDArray[np.float64]:
    """A pulse of half of full scale, the other way up, as a sound card may record it."""
    time_s = np.arange(200) / RATE_HZ
    return -0.5 * np.exp(-np.clip(time_s - 2e-4, 0, None) / 4e-4) * (time_s > 2e-4)


def saved(folder: Path, data: bytes) -> Path:
    path = folder / "flash.wav"
    path.write_bytes(data)
    return path


@pytest.mark.parametrize("bits", [8, 16, 24, 32])
def test_integers_are_shares_of_full_scale(bits: int, tmp_path: Path) -> None:
    path = saved(tmp_path, wav(codes(decaying(), bits), rate=RATE_HZ, bits=bits))
    trace = read_trace(path)
    one_code = 2.0 ** (1 - bits)
    assert trace.form == "sound"
    assert (trace.least, trace.most) == (-1, 1 - one_code)
    np.testing.assert_allclose(trace.value, decaying(), rtol=0, atol=0.5 * one_code)
    np.testing.assert_allclose(trace.time_s, np.arange(200) / RATE_HZ, rtol=1e-14)


@pytest.mark.parametrize(("bits", "dtype"), [(32, "<f4"), (64, "<f8")])
def test_floats_are_read_as_they_are(bits: int, dtype: str, tmp_path: Path) -> None:
    data = wav(decaying().astype(dtype).tobytes(), kind=3, rate=RATE_HZ, bits=bits)
    trace = read_trace(saved(tmp_path, data))
    assert trace.value.tolist() == decaying().astype(dtype).tolist()
    assert (trace.least, trace.most) == (-1, 1)


def test_floats_beyond_full_scale_have_no_known_limits(tmp_path: Path) -> None:
    data = wav((3 * decaying()).astype("<f4").tobytes(), kind=3, bits=32)
    trace = read_trace(saved(tmp_path, data))
    assert (trace.least, trace.most) == (None, None)


@pytest.mark.parametrize("bits", [8, 16, 24, 32])
def test_a_clipped_sample_is_at_a_limit(bits: int, tmp_path: Path) -> None:
    signal = np.tile([-1.0, 1 - 2.0 ** (1 - bits)], 20)
    trace = read_trace(saved(tmp_path, wav(codes(signal, bits), bits=bits)))
    assert (trace.value.min(), trace.value.max()) == (trace.least, trace.most)


def test_bits_that_the_recorder_does_not_fill_do_not_hide_clipping(tmp_path: Path) -> None:
    """24 bits in the top of 32, by the extensible form."""
    top = np.tile(np.array([-(2**31), (2**23 - 1) << 8], "<i4"), 20)
    form = struct.pack("<HHIIHHHHIH", 0xFFFE, 1, 48000, 192000, 4, 32, 22, 24, 4, 1) + b"\0" * 14
    parts = b"WAVE" + chunk(b"fmt ", form) + chunk(b"data", top.tobytes())
    trace = read_trace(saved(tmp_path, b"RIFF" + struct.pack("<I", len(parts)) + parts))
    assert (trace.value.min(), trace.value.max()) == (trace.least, trace.most)
    assert trace.most == 1 - 2.0**-23


def stereo(left: NDArray[np.float64], right: NDArray[np.float64]) -> bytes:
    return wav(codes(np.column_stack([left, right]).ravel(), 16), channels=2)


@pytest.mark.parametrize("loud", [0, 1])
def test_of_two_channels_the_one_with_the_pulse_is_read(loud: int, tmp_path: Path) -> None:
    """The other one has an offset, which is larger than the pulse and is no signal."""
    channels = [np.full(200, 0.75), decaying()][:: 1 if loud else -1]
    path = saved(tmp_path, stereo(*channels))
    np.testing.assert_allclose(read_trace(path).value, decaying(), rtol=0, atol=2.0**-16)
    asked = "left" if loud else "2"
    np.testing.assert_allclose(read_trace(path, value=asked).value, 0.75)


def test_a_channel_that_is_not_there(tmp_path: Path) -> None:
    path = saved(tmp_path, stereo(decaying(), decaying()))
    with pytest.raises(PlanError, match="--value with one of 1, 2, left, right"):
        read_trace(path, value="3")
    with pytest.raises(PlanError, match="leave --time out"):
        read_trace(path, time="1")


def test_a_recorder_that_did_not_know_its_length(tmp_path: Path) -> None:
    data = wav(codes(decaying(), 16))
    at = data.index(b"data") + 4
    path = saved(tmp_path, data[:at] + b"\xff\xff\xff\xff" + data[at + 4 :])
    assert read_trace(path).value.size == 200


def test_a_large_file_states_its_length_elsewhere(tmp_path: Path) -> None:
    data = wav(codes(decaying(), 16))
    at = data.index(b"data") + 4
    data = data[:at] + b"\xff\xff\xff\xff" + data[at + 4 :] + chunk(b"note", b"after the sound")
    sizes = chunk(b"ds64", struct.pack("<QQQI", len(data), 400, 200, 0))
    path = saved(tmp_path, b"RF64\xff\xff\xff\xffWAVE" + sizes + data[12:])
    assert read_trace(path).value.size == 200


GOOD = wav(codes(decaying(), 16))
REFUSED = {
    "cut in the sound": (GOOD[:-100], "bytes of sound of the 400 it promises .* cut short"),
    "cut in the form": (GOOD[:30], "the form of its samples is cut short"),
    "cut in the head": (GOOD[:14], "without the form of its samples: it is damaged or cut short"),
    "cut before the sound": (GOOD[: GOOD.index(b"data")], "without the samples"),
    "no sound": (wav(b""), "there is no sound in it"),
    "too short": (wav(codes(decaying()[:19], 16)), "19 samples are too few"),
    "compressed": (wav(b"\0" * 400, kind=17, bits=4), r"compressed or encoded \(ADPCM\)"),
    "encoded": (wav(b"\0" * 400, kind=7, bits=8), r"\(mu-law\)"),
    "unknown form": (wav(b"\0" * 400, kind=999), r"\(format 999\)"),
    "odd width": (wav(b"\0" * 400, bits=12), "samples of 12 bit are not read"),
    "half a float": (wav(b"\0" * 400, kind=3, bits=16), "samples of 16 bit are not read"),
    "no channel": (wav(b"\0" * 400, channels=0), "0 channels of 16 bit in 0 bytes do not fit"),
    "no rate": (wav(b"\0" * 400, rate=0), "0 samples a second cannot be"),
    "half a sample": (wav(b"\0" * 401), "it ends inside a sample"),
    "reversed": (b"RIFX" + GOOD[4:], "bytes in reverse order"),
    "not WAV": (b"RIFF" + GOOD[4:8] + b"AVI " + GOOD[12:], "begins as a WAV file and is none"),
    "NaN": (
        wav(np.full(40, np.nan, "<f4").tobytes(), kind=3, bits=32),
        "sample 1 is NaN",
    ),
    "infinity in one of two": (
        wav(np.array([0, 0, 0, np.inf] * 20, "<f8").tobytes(), kind=3, bits=64, channels=2),
        "sample 2 is infinity",
    ),
}


@pytest.mark.parametrize(("data", "message"), REFUSED.values(), ids=REFUSED.keys())
def test_what_cannot_be_read_is_refused_in_one_line(
    data: bytes, message: str, tmp_path: Path
) -> None:
    with pytest.raises(PlanError, match=message) as refused:
        read_trace(saved(tmp_path, data))
    assert str(refused.value).startswith(str(tmp_path))
    assert "\n" not in str(refused.value)
