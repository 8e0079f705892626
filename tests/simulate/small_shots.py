"""Small simulated exposures, and their files as tifffile decodes them."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import tifffile
from numpy.typing import NDArray

from verify.simulate.camera import CameraModel, Settings
from verify.simulate.scene import Exposed, Light, Scene, expose

METERED = 2**3.5  # exact f/11
BODY = CameraModel(black=((512.0, 508.0), (510.5, 515.0)))
FLAT = replace(BODY, black=((512.0,),))
MONO = replace(FLAT, pattern=None)
PLANES = replace(MONO, planes=3, black=((500.0, 512.0, 520.0),))
SMALL = Scene(size=(96, 64), card_box=(0.5, 0.25, 0.375, 0.5))


def shot(
    camera: CameraModel = BODY,
    settings: Settings | None = None,
    scene: Scene = SMALL,
    stops: float = 0.0,
    seed: int | None = 3,
) -> Exposed:
    """Expose a small scene at the metered setting, ``stops`` over; no noise without a seed."""
    rng = None if seed is None else np.random.default_rng(seed)
    light = Light.metered(METERED).changed(stops)
    return expose(scene, light, camera, settings or Settings(), rng)


def raw_page(file: tifffile.TiffFile) -> tifffile.TiffPage:
    """Find the raw picture of a DNG, in the first directory or below it."""
    page = file.pages[0]
    assert isinstance(page, tifffile.TiffPage)
    if page.subfiletype == 1:
        assert page.pages is not None
        below = page.pages[0]
        assert isinstance(below, tifffile.TiffPage)
        return below
    return page


def by_tifffile(path: Path) -> NDArray[Any]:
    """Stored samples of a DNG, decoded by tifffile, its LinearizationTable applied."""
    with tifffile.TiffFile(path) as file:
        page = raw_page(file)
        samples = page.asarray()
        table = page.tags.get(50712)
        return samples if table is None else np.array(table.value)[samples]
