"""A frame to the card in it: a chart, the card where the last frame had it, or by its looks."""

from dataclasses import replace

import numpy as np

from verify.frames.close_up import close_up
from verify.frames.frame import Frame
from verify.frames.geometry import Box
from verify.frames.overview import Overview
from verify.linearity import nearest_grey, reflectances_of
from verify.target.again import still_there
from verify.target.chart import find_chart, neutral_patches
from verify.target.edges import outlined
from verify.target.face import face_of
from verify.target.light import light_of
from verify.target.patch_boxes import NeutralPatch
from verify.target.quads import Quad, sides
from verify.target.records import Search, Target
from verify.target.search import Candidate
from verify.target.wedge import find_wedge, wedge_patches
from verify.target.weigh import Scales

FINE_SIDE = 1000  # cells along the longer side, for patches that are small in the picture
MARGIN = 0.08  # of a card's extent, looked at around it
REACH = 0.04  # of its shorter side by which a rendered picture may be off
CHART_PATCH = "neutral 5"  # the one nearest to 18 %


class Finder:
    """Looks for the card in one frame."""

    def __init__(
        self,
        frame: Frame,
        expected: float | None = None,
        densities: tuple[float, ...] = (),
        chart_only: bool = False,
    ) -> None:
        """Take the frame's overview.

        Parameters
        ----------
        frame : an open frame.
        expected : signal that a card would have if all went to plan; None where that is not known.
            It raises doubt, and puts what is doubtful last; it never makes a card of anything.
        densities : of the steps of a wedge, the lightest first, where the plan gives them.
        chart_only : whether nothing but a chart or a step wedge will do.

        Raises
        ------
        NotAFrame
            If the pixels cannot be decoded.
        """
        self._frame = frame
        self._overview = frame.overview()
        self._light = light_of(self._overview)
        self._expected = expected
        self._densities = densities
        self._chart_only = chart_only
        self._searched: Search | None = None

    def search(self) -> Search:
        """Look all over the picture; done once."""
        if self._searched is None:
            patches = self._patches()
            found = () if patches is None else self._stands_for_card(patches)
            self._searched = Search(found) if found else self._card()
            if patches is not None:
                self._searched = replace(self._searched, patches=patches)
        return self._searched

    def found(self, last: Target | None) -> Search:
        """The card where the last frame of the set-up had it, else wherever it is.

        A chart is known by its colours wherever it is, and is always looked for anew.
        """
        shape = last is not None and last.found_by == "shape"
        if last is not None and shape and still_there(self._light, self._overview, last):
            return Search((last,), again=True)
        return self.search()

    def _patches(self) -> tuple[NeutralPatch, ...] | None:
        """Neutral patches of a chart or a step wedge; None where there is neither.

        They are looked for in the overview first. Of a chart that is there, or where nothing else
        will do, a finer one shows more.
        """
        chart = find_chart(self._overview.shown())
        if chart is not None or self._chart_only:
            fine = self._frame.overview(FINE_SIDE)
            finer = find_chart(fine.shown())
            if finer is not None:
                return neutral_patches(finer, fine.cell, fine.corner)
        if chart is not None:
            cell, corner = self._overview.cell, self._overview.corner
            return neutral_patches(chart, cell, corner)
        wedge = find_wedge(self._light.smooth)
        if wedge is None:
            return None
        return wedge_patches(wedge, self._overview.cell, self._overview.corner)

    def _stands_for_card(self, patches: tuple[NeutralPatch, ...]) -> tuple[Target, ...]:
        """The patch nearest to 18 %; none of a wedge whose densities nobody gives."""
        chosen = next((p for p in patches if p.name == CHART_PATCH), None)
        if chosen is None and len(self._densities) == len(patches):
            chosen = patches[nearest_grey(reflectances_of(self._densities))]
        return () if chosen is None else (Target(chosen.box, chosen.corners, "chart"),)

    def _card(self) -> Search:
        """The card by its looks."""
        if self._chart_only:
            return Search(())
        scales = Scales(self._light, self._overview.clips_at, self._expected)
        weighed = scales.weighed()
        return Search(tuple(map(self._target, weighed.found)), weighed.doubts)

    def _target(self, candidate: Candidate) -> Target:
        """A candidate in upright pixels, looked at closely where the overview is a rendered one."""
        overview, quad, box = self._overview, candidate.outline.quad, candidate.face.box
        if overview.made_from == "embedded":
            near = close_up(self._frame, self._around(overview.to_upright(quad)))
            light = light_of(near)
            quad = near.to_cells(overview.to_upright(quad))
            outline = outlined(light, quad, max(2.5, REACH * float(sides(quad).min())))
            quad = quad if outline is None else outline.quad
            face = face_of(light, quad)
            if face is not None:
                overview, box = near, face.box
        if overview is self._overview:
            quad = candidate.outline.quad
        corners = overview.to_upright(quad).round(2).tolist()
        return Target(self._pixels(overview, box), tuple((c, r) for c, r in corners), "shape")

    def _around(self, quad: Quad) -> Box:
        """The part of the picture about an outline in upright pixels."""
        size = self._frame.size
        grown = MARGIN * np.ptp(quad, axis=0)
        left, top = np.maximum(quad.min(0) - grown, 0).astype(int).tolist()
        right, bottom = (quad.max(0) + grown).astype(int).tolist()
        return Box(left, top, min(right, size.width) - left, min(bottom, size.height) - top)

    def _pixels(self, overview: Overview, box: tuple[int, int, int, int]) -> Box:
        """The upright pixels that lie wholly in a box of cells."""
        col, row, width, height = box
        ends = overview.to_upright(np.array([[col, row], [col + width, row + height]], float))
        left, top = (max(0, int(np.ceil(v))) for v in ends[0])
        right = int(min(ends[1, 0], self._frame.size.width))
        bottom = int(min(ends[1, 1], self._frame.size.height))
        return Box(left, top, max(1, right - left), max(1, bottom - top))
