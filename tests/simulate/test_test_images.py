"""The committed test images: as their manifest says, and as the script still makes them."""

import hashlib
import json
from pathlib import Path
from typing import Any

import pytest
import rawpy
from make_test_images import make_images


@pytest.fixture(scope="module")
def images(project_root: Path) -> Path:
    """The folder of committed test images."""
    return project_root / "test_images"


@pytest.fixture(scope="module")
def manifest(images: Path) -> list[dict[str, Any]]:
    """Entries of the committed manifest."""
    document = json.loads((images / "manifest.json").read_text("utf-8"))
    assert document["format"] == "greyproof.test-images/1"
    entries: list[dict[str, Any]] = document["images"]
    return entries


def test_manifest_lists_the_files_that_are_there(
    images: Path, manifest: list[dict[str, Any]]
) -> None:
    listed = {entry["file"]: entry["sha256"] for entry in manifest}
    there = {
        path.name: hashlib.sha256(path.read_bytes()).hexdigest()
        for path in images.iterdir()
        if path.name != "manifest.json"
    }
    assert there == listed
    assert sum(path.stat().st_size for path in images.iterdir()) < 5_000_000


def test_script_makes_the_same_images_again(tmp_path: Path, manifest: list[dict[str, Any]]) -> None:
    first = make_images(tmp_path / "first")
    assert make_images(tmp_path / "second") == first
    # Other versions of zlib or libjpeg may pack the same samples into other bytes, so the committed
    # manifest is held to what the images show.
    told = [(entry["file"], entry["shows"], entry["truth"]) for entry in manifest]
    made = [(entry["file"], entry["shows"], entry["truth"]) for entry in first]
    assert json.loads(json.dumps(made)) == json.loads(json.dumps(told))


def test_libraw_decodes_every_raw_frame_and_none_of_the_broken(
    images: Path, manifest: list[dict[str, Any]]
) -> None:
    raws = [entry for entry in manifest if entry["file"].endswith(".dng")]
    decoded = set()
    for entry in raws:
        try:
            with rawpy.imread(str(images / entry["file"])) as raw:
                if raw.raw_image is not None:
                    decoded.add(entry["file"])
        except rawpy.LibRawError:
            continue
    assert decoded == {entry["file"] for entry in raws if entry["truth"] is not None}
