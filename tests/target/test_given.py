"""A place that somebody gave as a box of whole pixels in one frame."""

import pytest
from memory_frames import even, frame_of, turned

from verify.errors import BoxError
from verify.frames.geometry import Box
from verify.place import Place
from verify.target.given import given_target

FRAME = frame_of(even(size=(300, 400)))


@pytest.mark.parametrize(
    ("place", "box"),
    [
        (Place((10, 20, 30, 40), False), Box(10, 20, 30, 40)),
        (Place((0, 0, 400, 300), False), Box(0, 0, 400, 300)),
        (Place((0.42, 0.40, 0.12, 0.16), True), Box(168, 120, 48, 48)),
        (Place((0, 0, 1, 1), True), Box(0, 0, 400, 300)),
        (Place((0.88, 0.75, 0.12, 0.25), True), Box(352, 225, 48, 75)),
        (Place((0.5, 0.5, 1e-6, 1e-6), True), Box(200, 150, 1, 1)),  # never less than a pixel
    ],
)
def test_a_given_place_in_pixels(place: Place, box: Box) -> None:
    target = given_target(FRAME, place)
    assert (target.box, target.found_by) == (box, "given")
    right, bottom = box.col + box.width, box.row + box.height
    corners = ((box.col, box.row), (right, box.row), (right, bottom), (box.col, bottom))
    assert target.corners == corners


@pytest.mark.parametrize("orientation", range(1, 9))
def test_fractions_are_of_the_upright_picture(orientation: int) -> None:
    found = given_target(turned(FRAME, orientation), Place((0.5, 0.25, 0.25, 0.5), True)).box
    upright = Box(200, 75, 100, 150) if orientation < 5 else Box(150, 100, 75, 200)
    assert found == upright


@pytest.mark.parametrize(
    "box", [(390, 0, 11, 10), (0, 290, 10, 11), (400, 0, 1, 1), (0, 0, 4000, 3000)]
)
def test_a_box_outside_the_picture(box: tuple[float, ...]) -> None:
    col, row, width, height = box
    with pytest.raises(BoxError) as refused:
        given_target(FRAME, Place((col, row, width, height), False))
    assert str(refused.value) == (
        f"the card's box {col},{row},{width},{height} reaches outside the upright picture of "
        "400 x 300 pixels: give one inside it"
    )
