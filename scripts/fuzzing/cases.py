"""The cases of a fuzzing run: from a seed and a number to files and a command line."""

import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from random import Random

from fuzzing.inputs import CARD, IMAGES, LIGHT, Input
from fuzzing.parts import HARMLESS, PARTS
from fuzzing.patient import Patient
from fuzzing.plans import HOSTILE_TEXT, mutated_plan, toml_of
from fuzzing.raw_bytes import BYTES
from fuzzing.readings import mutated_readings
from fuzzing.recordings import mutated_recording
from fuzzing.same_meaning import SAME
from fuzzing.structure import free_of_meaning, meaning_of, structure_of, unclear_meaning, with_text
from fuzzing.tags import ENTRIES, LEVELS

KINDS = {  # share of the cases
    "frame": 0.48,  # a file of a known structure, its tags, parts or bytes damaged
    "flat": 0.03,  # such a file as the flat frame of a good one
    "plan": 0.16,
    "readings": 0.06,  # a row for each frame of a calibration
    "recording": 0.05,  # of a flash
    "names": 0.08,  # of files and in tags: what reports must hold as it is
    "typed": 0.06,  # what is typed in place of a plan
    "text": 0.08,  # text of all sorts as frames and as plans
}
GENTLE = (*ENTRIES, *HARMLESS)
STRUCTURAL = (*ENTRIES, *LEVELS, *PARTS)
GENTLE_SHARE = 0.4  # of the frames: nothing that gives pixels their meaning is hit
HOLE_SHARE, HOLE = 0.01, 3 * 10**9  # of the frames end in a hole of so many bytes
SAME_SHARE = 0.15  # of the changes to them: nothing is damaged, only written otherwise
FIND_SHARE = 0.08  # of the frames: the card is to be found
SHOW_SHARE = 0.05  # of the frames: small pictures of them are wanted
REAL_SHARE = 0.25  # of the frames: files of real cameras
GOOD = IMAGES / "bayer_rggb.dng"  # a frame that is as planned
NAMED_TAGS = (271, 272, 42033, 42036, 50735)  # make, model, serial and lens
TEXTS = (
    b"file,verdict\nframe_0001.dng,within\n", b"a;b;c\r\n1;2;3\r\n", b'"quoted\nfield",2\n',
    b"=1+1\n", b"[reading]\naperture = 'f/11'\n", b"{}\n", b'{"frames": []}',
    b"<?xml version='1.0'?><x/>", b"<html><body>404</body></html>", b"\xef\xbb\xbfname,stop\n",
    "grün, Bl\u00e4nde\n".encode("latin-1"), "name,stop\n".encode("utf-16"), b"II", b"II*",
    b"MM\0*", b"\n" * 5000, b" " * 70_000, b"\0" * 4096, b"%PDF-1.7\n", b"\xff\xfe\xfd\xfc",
    b"SIMPLE  =                    T" + b" " * 2850, b"P5 4 4 65535\n", b"\x93NUMPY\x01\x00",
    b"PK\x03\x04" + bytes(100), b"\x1f\x8b\x08" + bytes(40), bytes(range(256)),
)  # fmt: skip
NAMES = (
    "=1+1.dng", "+1.dng", "-1.dng", "@now.dng", "a,b.dng", 'say "so".dng', "two\nlines.dng",
    "it's.dng", "return\rhere.dng", "crlf\r\n.dng", "tab\there.dng", "\x1b[31mred.dng",
    "\x07.dng", "\x7f.dng", "\u202egnp.dng", "\u200b.dng", "\u2028.dng", "e\u0301.dng", "日本.dng",
    "🙂.dng", "[bold]x.dng", "; rm.dng", "$(x).dng", "%s%n.dng", " .dng", "..dng", "0001.dng",
    "9" * 200 + ".dng", "x" * 250, "\udcff\udcfe.dng", "half \udce9.dng", "'.dng", "#.dng",
    "?*.dng", "\\.dng", "unreadable: .dng",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Case:
    """One run of the command."""

    number: int
    kind: str
    what: str  # the input and what was done to it
    arguments: tuple[str, ...]  # of the command, without those for reports
    frames: tuple[Path, ...]  # that are checked, as named
    compared: Input | None = (
        None  # whose pixels are as they were: the signal must be, or be refused
    )


@dataclass(frozen=True, slots=True)
class Maker:
    """Makes the cases of one run, each from its number alone."""

    seed: int
    inputs: Sequence[Input]  # simulated files and test images
    real: Sequence[Input]  # of real cameras; those that are not here give no case

    def case(self, number: int, folder: Path) -> Case | None:
        """Write a case's files into an empty folder; None where its input is not here."""
        random = Random(f"{self.seed}/{number}")
        kind = random.choices(list(KINDS), list(KINDS.values()))[0]
        made = MAKERS[kind](self, random, folder)
        return None if made is None else replace(made, number=number, kind=kind)

    def input(self, random: Random) -> Input:
        """One of the files to be mutated."""
        if random.random() > REAL_SHARE or not self.real:
            return random.choice(self.inputs)
        light = [one for one in self.real if one.name.startswith(LIGHT)]
        return random.choice([*self.real, *light, *light])


@dataclass(frozen=True, slots=True)
class _Damaged:
    """A file that was damaged, as it is written."""

    path: Path
    did: str  # the input, and what was done to it
    alike: bool  # its pixels are worth what they were, or it is not clear what they are worth


def _damaged(chosen: Input, random: Random, path: Path) -> _Damaged:
    """Damage an input."""
    whole = chosen.path.read_bytes()
    structured = structure_of(whole) is not None
    gentle = random.random() < GENTLE_SHARE and structured
    patient = Patient(bytearray(whole), random, chosen.free, gentle)
    number = random.choice((1, 1, 1, 2, 3, 5))
    did: list[str] = []
    tags = 0  # how many of them are damage to tags or parts of a file that is no camera raw
    while len(did) < number:
        if structured and random.random() < SAME_SHARE:
            done = random.choice(SAME)(patient)
        elif gentle:
            done = random.choice(GENTLE)(patient)
        elif structured and random.random() < 0.75:
            done = random.choice(STRUCTURAL)(patient)
            tags += done is not None and chosen.free is free_of_meaning
        else:
            done = random.choice(BYTES)(patient.data, random)
        if done is not None:
            did.append(done)
    path.write_bytes(patient.data)
    # A hole would be the missing end of a file that is cut.
    if random.random() < HOLE_SHARE and not chosen.name.startswith("cut"):
        os.truncate(path, len(patient.data) + HOLE)
        did.append(f"a hole of {HOLE} bytes behind")
    alike = structured and (
        meaning_of(patient.data, chosen.free) == meaning_of(whole, chosen.free)
        or (len(did) == tags == 1 and unclear_meaning(patient.data, chosen.free))
    )
    return _Damaged(path, f"{chosen.name}: {'; '.join(did)}", alike)


def _frame(maker: Maker, random: Random, folder: Path) -> Case | None:
    """One frame, damaged; in some the card is to be found, of some a small picture is wanted."""
    chosen = maker.input(random)
    if not chosen.path.exists():
        return None
    damaged = _damaged(chosen, random, folder / f"frame_0001{chosen.path.suffix}")
    card = chosen.card
    if random.random() < FIND_SHARE:
        card = random.choice(("find", "find", "find", "chart"))
    more = [] if chosen.transfer is None else ["--transfer", chosen.transfer]
    if random.random() < SHOW_SHARE:
        more += ["--show", str(folder / "pictures")]
    return _case(
        damaged.did,
        ("--reading", "f/11", "--card", card, *more, str(damaged.path)),
        (damaged.path,),
        chosen if damaged.alike and card == chosen.card else None,
    )


def _flat(maker: Maker, random: Random, folder: Path) -> Case:
    """A good frame with a damaged flat frame."""
    frame, plan = folder / "frame_0001.dng", folder / "plan.toml"
    frame.write_bytes(GOOD.read_bytes())
    damaged = _damaged(random.choice(maker.inputs), random, folder / "flat.dng")
    card = {"box": CARD, "flat": damaged.path.name}
    plan.write_text(toml_of({"reading": {"aperture": "f/11"}, "card": card}), "utf-8")
    return _case(f"flat {damaged.did}", (str(plan), str(frame)), (frame,))


def _plan(maker: Maker, random: Random, folder: Path) -> Case:
    """A plan, damaged, with a good frame."""
    data, what = mutated_plan(random)
    plan, frame = folder / "plan.toml", folder / "frame_0001.dng"
    plan.write_bytes(data)
    frame.write_bytes(GOOD.read_bytes())
    card = ("--card", CARD) if random.random() < 0.6 else ()
    typed = ("--reading", "f/11") if random.random() < 0.1 else ()
    return _case(what, (str(plan), *typed, *card, str(frame)), (frame,))


def _readings(maker: Maker, random: Random, folder: Path) -> Case:
    """A readings file, damaged, with good frames."""
    frames = [folder / f"frame_{number:04d}.dng" for number in range(1, random.choice((2, 4, 6)))]
    for frame in frames:
        frame.write_bytes(GOOD.read_bytes())
    data, what = mutated_readings([frame.name for frame in frames], random)
    readings = folder / "readings.csv"
    readings.write_bytes(data)
    arguments = ("--readings", str(readings), "--card", CARD)
    return replace(_case(what, (), frames), arguments=("calibrate", *arguments))


def _recording(maker: Maker, random: Random, folder: Path) -> Case:
    """A recording of a flash, damaged."""
    data, ending, options, what = mutated_recording(random)
    recording = folder / f"flash{ending}"
    recording.write_bytes(data)
    return replace(_case(what, (), ()), arguments=("pulse", str(recording), *options))


def _names(maker: Maker, random: Random, folder: Path) -> Case:
    """Frames with odd names, in odd folders, from cameras with odd names; one cannot be read."""
    inside, frames = folder, []
    if random.random() < 0.3:
        inside = folder / random.choice(NAMES)
        inside.mkdir()
    for name in random.sample(NAMES, random.choice((1, 2, 4))):
        data = bytearray(GOOD.read_bytes())
        for code in random.sample(NAMED_TAGS, 2):
            text = random.choice(HOSTILE_TEXT)[:1000].encode("utf-8", "surrogatepass")
            data = with_text(data, code, text + b"\0")
        if random.random() < 0.2:
            del data[5000:]
        frames.append(inside / name)
        frames[-1].write_bytes(data)
    meter = random.choice(HOSTILE_TEXT)[:150] or "m"
    plan = folder / "plan.toml"
    plan.write_text(toml_of({"reading": {"aperture": "f/11", "meter": meter}}), "utf-8")
    arguments = [str(plan), "--card", CARD, *map(str, frames)]
    return _case(f"names {[frame.name for frame in frames]}, meter {meter!r}", arguments, frames)


def _typed(maker: Maker, random: Random, folder: Path) -> Case:
    """What is typed for a plan, odd."""
    frame = folder / "frame_0001.dng"
    frame.write_bytes(GOOD.read_bytes())
    typed = {"--reading": "f/11", "--card": CARD}
    options = ("--reading", "--iso", "--shutter", "--card", "--transfer")
    for option in random.sample(options, random.choice((1, 1, 2))):
        # No system hands a null character over to a program.
        typed[option] = random.choice(HOSTILE_TEXT)[:5000].replace("\0", "")
    arguments = [part for pair in typed.items() for part in pair]
    return _case(f"{typed}"[:300], (*arguments, str(frame)), (frame,))


def _text(maker: Maker, random: Random, folder: Path) -> Case:
    """Text, or another format, as a frame and as a plan."""
    data = bytearray(random.choice(TEXTS))
    if random.random() < 0.5:
        random.choice(BYTES)(data, random)
    frame = (
        folder / f"frame_0001{random.choice(('.csv', '.dng', '.tif', '.nef', '.crw', '.txt', ''))}"
    )
    frame.write_bytes(data)
    what = f"{bytes(data[:40])!r} as {frame.suffix or 'a file without an ending'}"
    if random.random() < 0.4:
        plan = folder / "plan.toml"
        plan.write_bytes(data)
        return _case(f"{what}, and as a plan", (str(plan), "--card", CARD, str(frame)), (frame,))
    return _case(what, ("--reading", "f/11", "--card", CARD, str(frame)), (frame,))


def _case(
    what: str,
    arguments: Sequence[str],
    frames: Sequence[Path],
    compared: Input | None = None,
) -> Case:
    """A case whose number and kind are still to be put in."""
    return Case(0, "", what, ("check", *arguments), tuple(frames), compared)


MAKERS: dict[str, Callable[[Maker, Random, Path], Case | None]] = {
    "frame": _frame,
    "flat": _flat,
    "plan": _plan,
    "readings": _readings,
    "recording": _recording,
    "names": _names,
    "typed": _typed,
    "text": _text,
}
