"""What test files share: where the project and the real frames are, and repeatable draws."""

import os
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import settings

# The same draws everywhere, so that a failure seen in one place can be seen in another; and no
# deadline, because how long an example takes says nothing about whether it is right.
settings.register_profile("repeatable", derandomize=True, deadline=None)
settings.load_profile("repeatable")


@pytest.fixture(scope="session", autouse=True)
def no_kept_offsets() -> Iterator[None]:
    """A user's data folder of its own: what whoever runs the tests keeps there is not touched."""
    names = ("XDG_DATA_HOME", "LOCALAPPDATA", "HOME")
    before = {name: os.environ.get(name) for name in names}
    with tempfile.TemporaryDirectory(prefix="greyproof-data-") as folder:
        os.environ.update(dict.fromkeys(names, folder))
        yield
    for name, value in before.items():
        if value is None:
            os.environ.pop(name, None)
        else:
            os.environ[name] = value


@pytest.fixture(scope="session")
def project_root() -> Path:
    """The folder that holds pyproject.toml."""
    return Path(__file__).resolve().parent.parent


@pytest.fixture(scope="session")
def real_frames(project_root: Path) -> Path:
    """The folder of files that real cameras wrote; they live beside the project, never in it."""
    folder = project_root.parent / "shared" / "frames"
    if not folder.is_dir():
        pytest.skip("the real frames are not here: no folder ../shared/frames beside the project")
    return folder
