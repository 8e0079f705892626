"""A place as a plan or a command line says it."""

import pytest

from verify.errors import PlanError
from verify.place import Looked, Place, parse_place


@pytest.mark.parametrize(
    ("value", "place"),
    [
        ([0.42, 0.40, 0.12, 0.16], Place((0.42, 0.40, 0.12, 0.16), True)),
        ("0.42, 0.40, 0.12, 0.16", Place((0.42, 0.40, 0.12, 0.16), True)),
        ([1200, 800, 300, 200], Place((1200, 800, 300, 200), False)),
        ("1200,800,300,200", Place((1200, 800, 300, 200), False)),
        ((0, 0, 2, 1), Place((0, 0, 2, 1), False)),
        ([0, 0, 1, 1], Place((0, 0, 1, 1), True)),  # all <= 1: the whole picture
        ([0.58, 0.9, 0.42, 0.1], Place((0.58, 0.9, 0.42, 0.1), True)),
        (" Find ", "find"),
        ("CHART", "chart"),
    ],
)
def test_places(value: object, place: Place | Looked) -> None:
    assert parse_place(value) == place


@pytest.mark.parametrize(
    ("value", "says"),
    [
        (5, "--card 5 is no place for the card: give four numbers, COL,ROW,WIDTH,HEIGHT: "),
        ("", '--card "" is no place for the card'),
        ("finds", '--card "finds" is no place for the card'),
        (["find"], "is no place for the card"),
        (None, "is no place for the card"),
        ("1,2,3", '--card "1,2,3" is no place for the card'),
        ([1, 2, 3, 4, 5], "--card [1, 2, 3, 4, 5] is no place for the card"),
        (["left", 1, 1, 1], "is no place for the card"),
        ([[1], 1, 1, 1], "is no place for the card"),
        ({"col": 1}, "is no place for the card"),
        ([float("nan"), 1, 1, 1], "has a value that is no finite number"),
        ("inf,1,1,1", "has a value that is no finite number"),
        ([-1, 0, 5, 5], "the card's box -1,0,5,5 starts outside the picture"),
        ([0, -0.1, 0.5, 0.5], "starts outside the picture"),
        ([0.5, 0.5, 0, 0.1], "has a side that is not above 0"),
        ([0.5, 0.5, 0.1, -0.1], "has a side that is not above 0"),
        ([0.5, 0.5, 0.6, 0.1], "reaches outside the picture"),
        ([0.5, 0.5, 0.1, 0.6], "reaches outside the picture"),
        ([100, 0.5, 5, 5], "mixes pixels and fractions"),
        ([0, 0, 1e300, 5], "is larger than any picture"),
        ("two\nlines", '--card "two\N{REPLACEMENT CHARACTER}lines" is no place for the card'),
        ("x" * 5000, f'--card "{"x" * 57}..." is no place for the card'),
    ],
)
def test_no_place(value: object, says: str) -> None:
    with pytest.raises(PlanError) as refused:
        parse_place(value, "--card ")
    message = str(refused.value)
    assert says in message
    assert message.startswith("--card ")
    assert message.endswith('or fractions of the sides when all are <= 1; or "find", or "chart"')
