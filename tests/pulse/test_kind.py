"""The kind of a pulse by its durations."""

import pytest
from drawn_pulses import PULSES

from verify.pulse.kind import kind_of

# check-values 3.5: a published measured set, 1/t.1 and 1/t.5 from full power down to 1/128.
TENTH = (257.73, 759.3, 1615, 2979.7, 5112.5, 7874, 11338, 13661)
HALF = (825.08, 821.02, 1797.3, 3620.6, 7363.8, 13351, 22371, 29674)
AS_READ = ("decays by itself", *["nearly a rectangle"] * 3, "rise and fall are a part of it")


def test_the_published_set_is_classified_as_its_reading_says() -> None:
    """Full power decays; lightly quenched is a rectangle; very short is nearly a triangle."""
    found = [kind_of(1 / half, 1 / tenth) for half, tenth in zip(HALF, TENTH, strict=True)]
    assert [kind for kind, _ in found] == ["decaying", *["cut"] * 7]
    for (_, said), expected in zip(found, AS_READ, strict=False):
        assert expected in said
    assert all("rise and fall are most of it" in said for _, said in found[5:])


@pytest.mark.parametrize(
    ("name", "kind"),
    [
        ("exponential", "decaying"),
        ("rising 0.05, 1", "decaying"),
        ("rising 0.1, 0.5", "decaying"),
        ("rising 0.02, 0.2", "decaying"),
        ("rectangle", "cut"),
        ("triangle", "cut"),
        ("half sine", "cut"),
        ("raised cosine", "cut"),
        ("gaussian", "cut"),
        ("cut at 1", "cut"),
    ],
)
def test_closed_forms(name: str, kind: str) -> None:
    """check-values 3.2 and 3.3."""
    seconds = PULSES[name].seconds
    assert kind_of(seconds[0.5], seconds[0.1])[0] == kind


def test_a_cut_in_the_tail_shows_in_the_shape_only() -> None:
    """check-values 3.3: cut at ln 10 time constants the ratio is that of the exponential."""
    seconds = PULSES["cut at ln 10"].seconds
    assert kind_of(seconds[0.5], seconds[0.1])[0] == "decaying"
    kind, said = kind_of(seconds[0.5], seconds[0.1], cut_at=0.1)
    assert kind == "cut"
    assert "10.0 % of its peak" in said


def test_several_and_unknown() -> None:
    assert kind_of(1.0, 3.0, several=True)[0] == "multiple"
    assert kind_of(1.0, None)[0] == "decaying"
    assert "not known" in kind_of(None, None)[1]
    assert kind_of(1.0, None, cut_at=0.5)[0] == "cut"
