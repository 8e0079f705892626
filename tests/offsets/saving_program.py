"""A program of its own that saves offsets: `saving_program.py STORE PREFIX COUNT`.

It says "ready", waits for a line, then saves PREFIX 0, PREFIX 1, ... and says each one's name once
it is saved. What the store refuses is said after "refused: ".
"""

import sys
from pathlib import Path

from saved_offsets import studio

from verify.errors import StoreError
from verify.offsets.store import OffsetStore

PERMIT_BYTES = 20_000  # of a file, where the system can be told to allow no more


def main(path: str, prefix: str, count: str, limit: str = "") -> None:
    store = OffsetStore(Path(path))
    if limit:
        import resource  # noqa: PLC0415 - not every system has it

        resource.setrlimit(resource.RLIMIT_FSIZE, (PERMIT_BYTES, PERMIT_BYTES))
    sys.stdout.write("ready\n")
    sys.stdout.flush()
    sys.stdin.readline()
    for number in range(int(count)):
        name = f"{prefix} {number}"
        try:
            store.save(studio(name))
        except StoreError as error:
            sys.stdout.write(f"refused: {error}\n")
            return
        sys.stdout.write(f"{name}\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main(*sys.argv[1:])
