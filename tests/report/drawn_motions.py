"""Motions of all kinds, for the tests of their plot."""

from typing import Any

from drawn_flashes import course_of, twice

from verify.motion.ghost import ghost_of
from verify.motion.kernel import kernel_of
from verify.motion.records import Blur, Ghost
from verify.plan.motion import Subject
from verify.pulse.records import Course
from verify.report.motion_picture import MotionPicture

PITCH_UM = 4.0
TAU_S = 1 / 2302.585  # t.1 is 1/1000 s (check-values 3.2)


def picture_of(
    width_px: float, ghost: Ghost | None = None, course: Course | None = None, **other: Any
) -> MotionPicture:
    """A motion of which 80 % of the flash light falls within so many pixels."""
    course = course_of(TAU_S) if course is None else course
    kernel = kernel_of(course)
    narrowest_s, edge_s = kernel.narrowest_s(0.8), kernel.edge_s()
    speed_um_s = width_px * PITCH_UM / narrowest_s
    blur = Blur(
        width_um=speed_um_s * narrowest_s,
        edge_um=speed_um_s * edge_s,
        equivalent_s=narrowest_s,
        mtf50_cycles_per_mm=1.0,
        width_px=width_px,
        edge_px=speed_um_s * edge_s / PITCH_UM,
        verdict="sharp" if width_px <= 1.5 else "slight" if width_px <= 3 else "smeared",
    )
    return MotionPicture(course, speed_um_s, PITCH_UM, blur, ghost, **other)


def ghost_along(
    trail_px: float, stops: float = 4.0, size_m: float | None = 0.3, against: Any = "black"
) -> Ghost:
    """The ghost of a subject at 1 m/s that the shutter shows for 1/8 s."""
    subject = Subject(speed_m_s=1.0, size_m=size_m, against=against)
    return ghost_of(stops, subject, 0.125, 8 * trail_px * PITCH_UM, PITCH_UM, 1.5)


MOTIONS: dict[str, MotionPicture] = {
    "smeared 4 px, trail 120 px": picture_of(4.2, ghost_along(120)),
    "smeared 20 px, trail 400 px": picture_of(20, ghost_along(400, 3.0, 0.04)),
    "sharp 0.5 px, no ghost": picture_of(0.5),
    "sharp 0.5 px, trail 2 px": picture_of(0.5, ghost_along(2, 5.0)),
    "slight, on grey": picture_of(2.4, ghost_along(60, 2.0, 0.06, "grey"), rests_on="model"),
    "smeared 200 px, trail 4200 px": picture_of(200, ghost_along(4200, 1.0, 0.01)),
    "two flashes": picture_of(12, ghost_along(30, 6.0), twice(0.002, 0.0009).course),
    "cut": picture_of(6, ghost_along(300, -0.5), course_of(1e-3, 50e-6)),
    "little known of the ghost": picture_of(3, Ghost(4.0)),
    "sharp 0.02 px": picture_of(0.02, ghost_along(0.9, 9.0)),
}
