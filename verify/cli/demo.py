"""The command that writes a demo shoot."""

from pathlib import Path
from typing import Annotated

import typer

from verify.cli.app import app
from verify.simulate.demo import write_demo


@app.command()
def demo(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", hidden=True, readable=False)],
) -> None:
    """Write a demo shoot.

    FOLDER, a new or an empty one, gets raw frames of a grey card, their plan and, in truth.json,
    what is true of each; in calibration a set to fit the offset of meter and camera from; and in
    pour something that moves, with its flash as it was recorded.
    """
    written = write_demo(folder)
    frames = [path for path in written if path.suffix == ".dng" and path.parent == folder]
    readings = next(path for path in written if path.name == "readings.csv")
    flash = next(path for path in written if path.name == "flash.csv")
    typer.echo(f"{len(frames)} frames, plan.toml and truth.json are in {folder}")
    plan, rows, frames_in = map(_typed, (written[-2], readings, folder))
    pour, recording = _typed(flash.parent / "plan.toml"), _typed(flash)
    typer.echo(f"Check them:        greyproof check {plan} {frames_in}")
    typer.echo(f"Fit the offset:    greyproof calibrate {plan} --readings {rows} --save bench")
    typer.echo(f"See what moves:    greyproof motion {pour} --pulse {recording}")


def _typed(path: Path) -> str:
    """A path as it is typed."""
    return f'"{path}"' if " " in str(path) else str(path)
