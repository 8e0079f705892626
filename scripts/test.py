"""Every check there is, in the project's own environment: lint, format, types and tests.

    python3 scripts/test.py                              all of them
    python3 scripts/test.py tests/test_x.py -k name      pytest alone, with these arguments

All stages run; the exit status is that of the first that failed.
"""

import os
import subprocess
import sys

import environment

STAGES = {
    "ruff check": ("ruff", "check"),
    "ruff format": ("ruff", "format", "--check"),
    "mypy": ("mypy",),
    "pytest": ("pytest", "--numprocesses", "auto"),  # auto: one worker for each core
}
# Every worker of pytest has a core for itself: libraries that start threads of their own on top
# of that only wait for each other.
ONE_THREAD = {
    "OMP_NUM_THREADS": "1",
    "OPENBLAS_NUM_THREADS": "1",
    "MKL_NUM_THREADS": "1",
    "VECLIB_MAXIMUM_THREADS": "1",
}


def main() -> int:
    """Run the stages, or only pytest where it was given arguments; return the exit status."""
    arguments = sys.argv[1:]
    python = str(environment.ensure("dev"))
    names = ["pytest"] if arguments else list(STAGES)
    failed: list[str] = []
    status = 0
    for name in names:
        # Said before the last stage, not after: pytest's own summary is the closing line.
        so_far = f" (failed so far: {', '.join(failed)})" if failed else ""
        print(f"\n{name}{so_far}", flush=True)
        command = [python, "-m", *STAGES[name], *arguments]
        done = subprocess.run(
            command, cwd=environment.ROOT, env={**os.environ, **ONE_THREAD}, check=False
        )
        if done.returncode:
            failed.append(name)
            status = status or done.returncode
    return status


if __name__ == "__main__":
    raise SystemExit(main())
