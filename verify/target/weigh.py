"""Which of the things that look like a card is one, and what speaks against it.

By shape, evenness and neutrality. What level a thing has makes no card of it: a white surface in
too little light has that of a grey card. It raises doubt, and of several things that look alike it
says which to offer first.
"""

from dataclasses import dataclass

import numpy as np

from verify.target.edges import goes_on
from verify.target.light import Light
from verify.target.order import order
from verify.target.quads import area
from verify.target.search import LEAST, Candidate, candidates, colored_light, is_neutral, looks

SURE = 0.7  # merit of a card that nobody would doubt
AS_GOOD = 0.6  # of the best one's merit
LESS_GOOD = 0.45  # the same, where the likeliest has the level of something else
WEAKEST_SIDE, SECOND_SIDE = 0.5, 0.7  # of a sure card's sides that lie on edges
MOSTLY = 0.5  # of a sure card's face is in one even light
BUSY = 2.5  # edges on its face, in longest sides: a shadow across it makes two at most
SURELY_NEUTRAL = 0.22  # stop off neutral: the scene's light, and a card's own tint
LARGE = 0.45  # of the picture; what is larger may be the background between two things
DARK_RIM = -0.8  # stop of the rim against the face; a screen in its frame is darker there
OFF_MIDDLE = 0.02  # stop between the box and the middle of the face
ENDS, END_SHARE = 0.4, 0.005  # stops off a card, and how much of a picture should be so far off
BEYOND_WHITE = 3.0  # stops above a card; a surface in the same light reaches 2.5
LIGHTEST = 0.985  # of the cells are no lighter than what is taken for white
PART_CLIPPED = 0.05  # of a face, above which its level and colours say little
LIKELY_STOPS = 1.25  # off what is expected of a card
LIKELY_BELOW = (1.0, 7.0)  # stops below clipping, where nothing says what to expect


@dataclass(frozen=True, slots=True)
class Weighed:
    """What may be the card, the likeliest first, and the doubts about it."""

    found: tuple[Candidate, ...]  # all that are about as good as the first
    doubts: tuple[str, ...] = ()  # names of warnings


@dataclass(frozen=True, slots=True)
class Scales:
    """Weighs the candidates of one picture."""

    light: Light
    clips_at: float  # signal at which the sensor clips
    expected: float | None  # signal of a card if all went to plan; None where that is not known

    def weighed(self) -> Weighed:
        """The likeliest of all that is flat with four sides."""
        light = self.light
        seen = [c for c in candidates(light) if c.merit >= LEAST]
        neutral = [c for c in seen if is_neutral(light, c)]
        coloured = colored_light(light)
        if not neutral or (coloured and all(map(self._clipped, neutral))):
            return Weighed(tuple(seen[:2]), ("coloured-light",)) if coloured else Weighed(())
        # A window or a softbox is clipped whatever the card got: it is one for want of another.
        neutral = [c for c in neutral if not self._clipped(c)] or neutral
        rivals = self._ordered(neutral, AS_GOOD)
        if self._surprising(rivals[0]):
            rivals = self._ordered(neutral, LESS_GOOD)
        best = rivals[0]
        doubts = []
        if len(rivals) > 1:
            doubts.append("several-cards")
        if not self._sure(best):
            doubts.append("card-unsure")
        if self._surprising(best):
            doubts.append("unlikely-level")
        return Weighed(tuple(rivals), tuple(doubts))

    def _ordered(self, neutral: list[Candidate], share: float) -> list[Candidate]:
        """Those with a good share of the surest one's merit, the likeliest to be a card first."""
        rivals = [c for c in neutral if c.merit >= share * neutral[0].merit]
        expected = None if self.expected is None else float(np.log2(self.expected))
        lit = self.light.smooth[..., 0][~self.light.clipped]  # what is clipped may give light
        white = float(np.quantile(lit, LIGHTEST)) if lit.size else 0.0
        placed = order([c.face.level for c in rivals], list(map(looks, rivals)), expected, white)
        return [rivals[at] for at in placed]

    def _surprising(self, candidate: Candidate) -> bool:
        """Whether a candidate's level, or that of the rest of the picture, speaks against it."""
        return self._unlikely(candidate) or self._at_an_end(candidate)

    def _clipped(self, candidate: Candidate) -> bool:
        """Whether a candidate's face is clipped, in part at least."""
        col, row, width, height = candidate.face.box
        part = self.light.clipped[row : row + height, col : col + width]
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
            and is_neutral(self.light, candidate, SURELY_NEUTRAL)
            and face.rim > DARK_RIM
            and not face.shaded
            and not goes_on(self.light, candidate.outline.quad)
            and area(candidate.outline.quad) <= LARGE * self.light.grey.size
        )

    def _unlikely(self, candidate: Candidate) -> bool:
        """Whether a card of a candidate's level would be a surprise."""
        level = candidate.face.level
        if self.expected is not None:
            return bool(abs(level - np.log2(self.expected)) > LIKELY_STOPS)
        below = np.log2(self.clips_at) - level
        return not LIKELY_BELOW[0] <= below <= LIKELY_BELOW[1]

    def _at_an_end(self, candidate: Candidate) -> bool:
        """Whether next to nothing in the picture is lighter, or darker: it may be white, or black.

        What is clipped or lighter than a white surface could be may give light itself, and says
        nothing.
        """
        above = self.light.smooth[..., 0] - candidate.face.level
        least = END_SHARE * above.size
        lighter = (above > ENDS) & (above < BEYOND_WHITE) & ~self.light.clipped
        return bool(np.count_nonzero(lighter) < least or np.count_nonzero(above < -ENDS) < least)
