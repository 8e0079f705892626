"""Recordings of a flash, written in some way and damaged: tables and sound."""

import io
import wave
from random import Random

import numpy as np

from fuzzing.plans import HOSTILE_TEXT
from fuzzing.raw_bytes import BYTES
from verify.simulate.recording import Recorder, recording_csv

ENCODINGS = ("utf-8", "utf-8", "utf-8-sig", "utf-16", "latin-1")
CELLS = (
    "",
    "nan",
    "inf",
    "-inf",
    "1e400",
    "0",
    "-1",
    "1,5",
    "ms",
    "V",
    "1 ms",
    "0x10",
    "1e-30",
    "--",
)
HEADS = (
    "time (ms),light (V)", "Time,CH1\ns,V", "light,time", "a,b", "", "Sample Interval,1e-5\nCH1",
    "# comment\ntime (us);U", "Model,X-1\nRecord Length,460\nTIME,CH1",
)  # fmt: skip
DELIMITERS = (",", ",", ";", "\t", " ", ", ")
RATES = (8000, 44100, 48000, 192000)
SOUND, SHORT = 0.2, 0.05  # of the recordings: sound; a few samples only
WHOLE = 0.4  # of the tables: no damage but their way of writing
OPTIONS = ("--time", "--value", "--shutter", "--travel", "--leaf", "--delay", "--sensor-bandwidth")


def mutated_recording(random: Random) -> tuple[bytes, str, tuple[str, ...], str]:
    """A recording: its bytes, the ending of its name, options for it, and what was done to it."""
    recorder = Recorder(
        step_s=10 ** random.uniform(-6, -4),
        before_s=random.choice((0.0, 1e-4, 6e-4)),
        after_s=random.choice((2e-4, 0.001, 0.004)),
        noise_v=random.choice((0.0, 0.006, 0.1)),
    )
    rng = np.random.default_rng(random.randrange(2**32))
    peak = random.choice((0.9, 0.9, 2.0, 0.02, 1e-9))
    text = recording_csv(recorder, 10 ** random.uniform(-4, -2), 1e-6, peak, rng)
    options = _options(random)
    if random.random() < SOUND:
        data, did = _as_sound(text, random)
        return data, ".wav", options, f"sound: {did}"
    data, did = _as_table(text, random)
    return data, random.choice((".csv", ".csv", ".txt", "")), options, f"table: {did}"


def _options(random: Random) -> tuple[str, ...]:
    """Options of the command, some of them odd."""
    found: list[str] = ["--shutter", random.choice(("1/250", "4 ms", "1/60"))]
    if random.random() < 0.5:
        found += ["--travel", "3 ms"]
    if random.random() < 0.1:
        typed = random.choice(HOSTILE_TEXT)[:500].replace("\0", "")
        found += [random.choice(OPTIONS), typed or "0"]
    return tuple(found)


def _as_table(text: str, random: Random) -> tuple[bytes, str]:
    """A table, written in some way, its cells, lines or bytes damaged."""
    rows = [line.split(",") for line in text.splitlines()[1:]]
    if random.random() < SHORT:
        rows = rows[: random.randrange(30)]
    did = []
    if random.random() > WHOLE:
        for _ in range(random.choice((1, 1, 2, 5))):
            did.append(_damage(rows, random))
    mark = random.choice(DELIMITERS)
    body = "\n".join(mark.join(row) for row in rows)
    if mark in (";", "\t") and random.random() < 0.4:
        body = body.replace(".", ",")
        did.append("decimal commas")
    head = random.choice((*HEADS, *(HEADS[0],) * 12))
    encoding = random.choice(ENCODINGS)
    data = bytearray(f"{head}\n{body}\n".encode(encoding, "replace"))
    if random.random() < 0.2:
        did.append(random.choice(BYTES)(data, random))
    return bytes(data), f"{len(rows)} rows in {encoding} with {mark!r}: {'; '.join(did) or 'whole'}"


def _damage(rows: list[list[str]], random: Random) -> str:
    """One change to the cells or lines."""
    if not rows:
        return "no rows"
    at = random.randrange(len(rows))
    row = rows[at]
    match random.choice(("cell", "cell", "hostile", "drop", "double", "swap", "turn", "cut")):
        case "cell" if row:
            row[random.randrange(len(row))] = random.choice(CELLS)
            return f"{row} in line {at + 1}"
        case "hostile" if row:
            row[random.randrange(len(row))] = random.choice(HOSTILE_TEXT).replace("\0", "")[:300]
            return f"hostile text in line {at + 1}"
        case "drop":
            del rows[at]
            return f"line {at + 1} left out"
        case "double":
            rows.insert(at, list(row))
            return f"line {at + 1} twice"
        case "swap":
            for each in rows:
                each.reverse()
            return "columns swapped"
        case "turn":
            rows.reverse()
            return "turned over"
    del rows[at:]
    return f"cut at line {at + 1}"


def _as_sound(text: str, random: Random) -> tuple[bytes, str]:
    """A sound recording, its bytes damaged at times."""
    light = np.array([float(line.split(",")[1]) for line in text.splitlines()[1:]])
    codes = np.clip(light / 1.2, -1, 1) * 32767
    out = io.BytesIO()
    with wave.open(out, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(random.choice(RATES))
        file.writeframes(codes.astype("<i2").tobytes())
    data = bytearray(out.getvalue())
    if random.random() < 0.6:
        return bytes(data), "whole"
    did = random.choice(BYTES)(data, random)
    return bytes(data), did
