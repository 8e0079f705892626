"""A frame to the card in it: where the last frame had it, else by what it looks like."""

import numpy as np

from verify.frames.frame import Frame
from verify.frames.geometry import Box, Size
from verify.frames.overview import Overview
from verify.target.again import still_there
from verify.target.light import light_of
from verify.target.order import order
from verify.target.quads import Quad
from verify.target.records import Search, Target
from verify.target.search import Candidate, candidates, colored_light, is_neutral, looks

SURE = 0.7  # merit of a card that nobody would doubt
LEAST = 0.35  # merit of what may be one
AS_GOOD = 0.7  # of the best one's merit
WEAKEST_SIDE, SECOND_SIDE = 0.5, 0.7  # of a sure card's sides that lie on edges
MOSTLY = 0.5  # of a sure card's face is in one even light
BUSY = 2.5  # edges on its face, in longest sides: a shadow across it makes two at most
OFF_MIDDLE = 0.02  # stop between the box and the middle of the face
ENDS, END_SHARE = 0.4, 0.005  # stops off a card, and how much of a picture should be so far off
BEYOND_WHITE = 3.0  # stops above a card; a surface in the same light reaches 2.5
LIGHTEST = 0.985  # of the cells are no lighter than what is taken for white
PART_CLIPPED = 0.05  # of a face, above which its level and colours say little
LIKELY_STOPS = 1.25  # off what is expected of a card
LIKELY_BELOW = (1.0, 7.0)  # stops below clipping, where nothing says what to expect


class Finder:
    """Looks for the card in one frame."""

    def __init__(self, frame: Frame, expected: float | None = None) -> None:
        """Take the frame's overview.

        Parameters
        ----------
        frame : an open frame.
        expected : signal that a card would have if all went to plan; None where that is not known.
            It raises doubt, and puts what is doubtful last; it never makes a card of anything.

        Raises
        ------
        NotAFrame
            If the pixels cannot be decoded.
        """
        self._size = frame.size
        self._overview = frame.overview()
        self._light = light_of(self._overview)
        self._expected = expected
        self._searched: Search | None = None

    def search(self) -> Search:
        """Look all over the picture; done once."""
        if self._searched is None:
            self._searched = self._look()
        return self._searched

    def found(self, last: Target | None) -> Search:
        """The card where the last frame of the set-up had it, else wherever it is."""
        if last is not None and still_there(self._light, self._overview, last):
            return Search((last,), again=True)
        return self.search()

    def _look(self) -> Search:
        """The candidates weighed."""
        light = self._light
        seen = [c for c in candidates(light) if c.merit >= LEAST]
        neutral = [c for c in seen if is_neutral(light, c)]
        coloured = colored_light(light)
        if not neutral or (coloured and all(map(self._clipped, neutral))):
            doubts = ("coloured-light",) if coloured else ()
            return self._outcome(seen[:2] if coloured else [], doubts)
        # A window or a softbox is clipped whatever the card got: it is one only for want of another.
        neutral = [c for c in neutral if not self._clipped(c)] or neutral
        rivals = [c for c in neutral if c.merit >= AS_GOOD * neutral[0].merit]
        expected = None if self._expected is None else float(np.log2(self._expected))
        lit = light.smooth[..., 0][~light.clipped]  # what is clipped may give light itself
        white = float(np.quantile(lit, LIGHTEST)) if lit.size else 0.0
        placed = order([c.face.level for c in rivals], list(map(looks, rivals)), expected, white)
        rivals = [rivals[at] for at in placed]
        best = rivals[0]
        doubts = ()
        if len(rivals) > 1:
            doubts += ("several-cards",)
        if not self._sure(best):
            doubts += ("card-unsure",)
        if self._unlikely(best) or self._at_an_end(best):
            doubts += ("unlikely-level",)
        return self._outcome(rivals, doubts)

    def _clipped(self, candidate: Candidate) -> bool:
        """Whether a candidate's face is clipped, in part at least."""
        col, row, width, height = candidate.face.box
        part = self._light.clipped[row : row + height, col : col + width]
        return bool(part.mean() > PART_CLIPPED)

    def _sure(self, candidate: Candidate) -> bool:
        """Whether a candidate has the outline of a card and a face without print or texture."""
        weakest, second = sorted(candidate.outline.support)[:2]
        face = candidate.face
        return (
            candidate.merit >= SURE
            and weakest >= WEAKEST_SIDE
            and second >= SECOND_SIDE
            and face.busy <= BUSY
            and face.share >= MOSTLY
            and abs(face.off_middle) <= OFF_MIDDLE
        )

    def _unlikely(self, candidate: Candidate) -> bool:
        """Whether a card of a candidate's level would be a surprise."""
        level = candidate.face.level
        if self._expected is not None:
            return abs(level - np.log2(self._expected)) > LIKELY_STOPS
        below = np.log2(self._overview.clips_at) - level
        return not LIKELY_BELOW[0] <= below <= LIKELY_BELOW[1]

    def _at_an_end(self, candidate: Candidate) -> bool:
        """Whether next to nothing in the picture is lighter, or darker: it may be white, or black.

        What is lighter than a white surface could be gives light itself, and says nothing.
        """
        above = self._light.smooth[..., 0] - candidate.face.level
        least = END_SHARE * above.size
        lighter = np.count_nonzero((above > ENDS) & (above < BEYOND_WHITE))
        return bool(lighter < least or np.count_nonzero(above < -ENDS) < least)

    def _outcome(self, found: list[Candidate], doubts: tuple[str, ...]) -> Search:
        return Search(tuple(_target(c, self._overview, self._size) for c in found), doubts)


def _target(candidate: Candidate, overview: Overview, size: Size) -> Target:
    """A candidate in upright pixels."""
    col, row, width, height = candidate.face.box
    ends = overview.to_upright(np.array([[col, row], [col + width, row + height]], float))
    left, top = (max(0, int(np.ceil(v))) for v in ends[0])
    right, bottom = int(min(ends[1, 0], size.width)), int(min(ends[1, 1], size.height))
    box = Box(left, top, max(1, right - left), max(1, bottom - top))
    return Target(box, corners_of(candidate.outline.quad, overview), "shape")


def corners_of(quad: Quad, overview: Overview) -> tuple[tuple[float, float], ...]:
    """Corners in upright pixels, rounded to a hundredth."""
    return tuple((round(float(c), 2), round(float(r), 2)) for c, r in overview.to_upright(quad))
