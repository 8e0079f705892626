"""Damage to readings files: to their cells, their lines and their bytes."""

from random import Random

from fuzzing.plans import HOSTILE_TEXT
from fuzzing.raw_bytes import BYTES

HEADER = (
    "frame", "aperture", "iso", "shutter", "light", "method", "receptor", "aimed", "pops", "over",
    "correction", "meter", "card", "step", "constant",
)  # fmt: skip
ROW = {
    "aperture": "f/11", "iso": "100", "shutter": "1/125", "light": "flash", "method": "incident",
    "receptor": "flat", "aimed": "as-card", "pops": "1", "over": "0", "correction": "0",
    "meter": "Quill 2", "card": "grey 18", "step": "0.1", "constant": "250",
}  # fmt: skip
CELLS = (
    "", "f/11 + 0.3", "f/8", "11.3", "f/0", "f/-8", "f/300", "nan", "exact 10.9", "T5.6", "f/11,3",
    "0", "-1", "1e9", "1/3", "dome", "continuous", "reflected", "camera", "flash", "bulb", "8 s",
    "frame_0001.dng", "frame_0002.dng", "none.dng", ".", "..", "readings.csv", "+0,3", "\u22120.3",
)  # fmt: skip
DELIMITERS = (",", ",", ";", "\t")
ENCODINGS = ("utf-8", "utf-8", "utf-8-sig", "utf-16", "latin-1")
SOUND = 0.15  # of the files have no damage but their way of writing


def mutated_readings(frames: list[str], random: Random) -> tuple[bytes, str]:
    """A readings file for frames, damaged, and what was done to it."""
    columns = ["frame", "aperture", *random.sample(HEADER[2:], random.randrange(len(HEADER) - 1))]
    random.shuffle(columns)
    rows = [columns]
    rows += [[({"frame": frame} | ROW)[name] for name in columns] for frame in frames]
    did = []
    if random.random() > SOUND:
        for _ in range(random.choice((1, 1, 2, 4))):
            did.append(_damage(rows, random))
    mark = random.choice(DELIMITERS)
    text = "\n".join(mark.join(row) for row in rows) + "\n"
    encoding = random.choice(ENCODINGS)
    data = bytearray(text.encode(encoding, "replace"))
    if random.random() < 0.2:
        did.append(random.choice(BYTES)(data, random))
    return bytes(data), f"readings in {encoding} with {mark!r}: {'; '.join(did) or 'sound'}"


def _damage(rows: list[list[str]], random: Random) -> str:
    """One change to the cells or lines."""
    at = random.randrange(len(rows))
    row = rows[at]
    match random.choice(("cell", "cell", "cell", "hostile", "drop", "double", "short", "long")):
        case "cell" if row:
            place = random.randrange(len(row))
            row[place] = random.choice(CELLS)
            return f"{row[place]!r} in line {at + 1}"
        case "hostile" if row:
            place = random.randrange(len(row))
            row[place] = random.choice(HOSTILE_TEXT).replace("\0", "")
            return f"{row[place][:40]!r} in line {at + 1}"
        case "drop":
            del rows[at]
            if not rows:
                rows.append([])
            return f"line {at + 1} left out"
        case "double":
            rows.insert(at, list(row))
            return f"line {at + 1} twice"
        case "short" if row:
            row.pop()
            return f"line {at + 1} a cell short"
    row.append(random.choice(CELLS))
    return f"line {at + 1} a cell long"
