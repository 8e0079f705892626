"""From a plan and a flash to what becomes of an exposure: the main path, read top to bottom.

What does not depend on the shutter time is worked out once (:func:`moving`); each frame then asks
for its own (:meth:`Moving.at`).
"""

from dataclasses import dataclass, replace

import numpy as np

from verify.motion.advice import blur_advice, ghost_advice, pops_advice, shutter_advice
from verify.motion.ambient import ambient_stated, at_shutter
from verify.motion.blur import blur_of, limits_px
from verify.motion.curtain import fastest_within, shutter_of, travel_of
from verify.motion.ghost import ghost_of
from verify.motion.image import image_speed_of, magnification_of, sensor_of
from verify.motion.kernel import Spread, spread_of
from verify.motion.losses import RADIO_DELAYS_S
from verify.motion.records import Blur, Ghost, MotionRisk
from verify.plan.motion import MotionPlan, Sensor
from verify.pulse.records import Firing
from verify.pulse.shutter import Curtain, Leaf, LightOut, light_out

TOLERANCE_STOPS = 0.1  # of flash lost, that is still good where nothing else is stated
# From here on one opening of the shutter takes in all pops of a built-up exposure [s]. Faster ones
# cannot: no studio flash recycles so soon, so there each pop has an opening of its own.
OPEN_FOR_ALL_S = 0.5
FIRST_AND_LAST = np.array([0.0, 1.0])  # rows; those between lose no more than the worse of them
NOTHING_TOLD = Sensor()


@dataclass(frozen=True, slots=True, eq=False)
class Moving:
    """What a plan and a flash say of motion, whatever the shutter time. None: not known."""

    plan: MotionPlan
    firing: Firing | None
    sensor: Sensor  # as stated, else as frames tell
    magnification: float | None  # image : subject
    speed_um_s: float | None  # of the image on the sensor [um/s]
    limits: tuple[float, float] | None  # widths that are sharp, and slight [pixel]
    spread: Spread | None  # of the flash in time
    blur: Blur | None
    light: LightOut | None  # running share of the flash's light
    shutter: Curtain | Leaf | None
    fastest_s: float | None  # shutter time that loses no more than the tolerance, not past sync [s]
    ambient_stops: float | None  # under the flash, at the plan's shutter time
    pops: int
    tolerance_stops: float  # of flash lost
    warnings: tuple[str, ...]
    advice: tuple[str, ...]  # about blur and pops

    def at(self, shutter_s: float | None, ambient_stops: float | None = None) -> MotionRisk:
        """What to expect at a shutter time.

        Parameters
        ----------
        shutter_s : exact [s]; None for bulb, or where it is not known.
        ambient_stops : stops under the flash at this very time, as a frame of the ambient light
            tells them; goes before what the plan says.
        """
        if ambient_stops is None and self.ambient_stops is not None:
            ambient_stops = at_shutter(self.ambient_stops, self.plan.shutter.time_s, shutter_s)
        ghost = None if ambient_stops is None else self._ghost(ambient_stops, shutter_s)
        loss = self._loss(shutter_s)
        warnings, advice, notes = list(self.warnings), list(self.advice), []
        if ghost is not None:
            advice += self._ghost_advice(ghost, shutter_s)
            notes += self._ghost_notes(ghost)
        if loss is not None:
            travel = travel_of(self.plan.shutter)
            if travel is not None and travel[1]:
                warnings.append("travel-assumed")
            if loss > self.tolerance_stops:
                warnings.append("shutter-cuts")
            advice += shutter_advice(loss, self.tolerance_stops, self.fastest_s)
            notes += self._delay_notes(loss, shutter_s)
        return MotionRisk(
            rests_on=None if self.firing is None else self.firing.rests_on,
            blur=self.blur,
            ghost=ghost,
            shutter_loss_stops=loss,
            advice=tuple(advice),
            warnings=tuple(dict.fromkeys(warnings)),
            notes=tuple(notes),
        )

    def _ghost(self, ambient_stops: float, shutter_s: float | None) -> Ghost:
        return ghost_of(
            ambient_stops,
            self.plan.subject,
            shutter_s,
            self.speed_um_s,
            self.sensor.pitch_um,
            None if self.limits is None else self.limits[0],
        )

    def _ghost_advice(self, ghost: Ghost, shutter_s: float | None) -> tuple[str, ...]:
        still_s = None  # at which the trail is no longer than what is sharp
        if self.limits and self.sensor.pitch_um and self.speed_um_s:
            still_s = self.limits[0] * self.sensor.pitch_um / self.speed_um_s
        return ghost_advice(ghost, shutter_s, self.plan.shutter.sync_s, still_s)

    def _ghost_notes(self, ghost: Ghost) -> list[str]:
        """What the ghost's strength leaves out."""
        subject = self.plan.subject
        if subject is None or subject.size_m is not None or ghost.verdict in (None, "hidden"):
            return []
        return [
            "the ghost is not thinned by the motion, for the subject's size along it is not stated "
            "([subject] size_m): it is at most as strong as this"
        ]

    def _loss(self, shutter_s: float | None, delay_s: float | None = None) -> float | None:
        """Stops of flash lost in the row that loses most; None where it cannot be known.

        Of several pops in one opening nobody knows when they fired, so nothing is told of them.
        """
        if self.light is None or self.shutter is None or shutter_s is None:
            return None
        if self.pops > 1 and shutter_s >= OPEN_FOR_ALL_S:
            return None
        shutter = self.shutter if delay_s is None else replace(self.shutter, delay_s=delay_s)
        return float(np.max(shutter.losses(self.light, shutter_s, FIRST_AND_LAST)))

    def _delay_notes(self, loss: float, shutter_s: float | None) -> list[str]:
        """What a radio's delay would do, where it is not known and would do harm."""
        if self.plan.shutter.delay_s is not None or loss > self.tolerance_stops:
            return []
        late_s = max(RADIO_DELAYS_S)
        late = self._loss(shutter_s, late_s)
        if late is None or late <= self.tolerance_stops:
            return []
        return [
            f"the trigger's delay is not stated and taken as none, the best case: one of "
            f"{1000 * late_s:g} ms would cost {late:.2f} stop of flash at an edge"
        ]


def moving(
    plan: MotionPlan,
    firing: Firing | None,
    told: Sensor = NOTHING_TOLD,
    ambient_stops: float | None = None,
    flash_n: float | None = None,
    pops: int = 1,
    reading_pops: int = 1,
    tolerance_stops: float = TOLERANCE_STOPS,
) -> Moving:
    """All that holds for every frame of a shoot.

    Parameters
    ----------
    plan : what it says of motion.
    firing : the flash light; None where nothing tells it, then neither blur nor loss is known.
    told : what frames tell of the sensor; the plan goes before it.
    ambient_stops : stops of ambient light under the flash at the plan's shutter time, as measured;
        goes before what the plan says.
    flash_n : exact f-number of the meter's reading of the flash, of ``reading_pops`` pops.
    pops : that the exposure is built from.
    tolerance_stops : of flash lost, that is still good, above 0.
    """
    sensor = sensor_of(plan.sensor, told)
    speed_um_s = image_speed_of(plan.subject, sensor)
    limits = limits_px(plan.limits, sensor)
    magnification = None if not plan.subject else magnification_of(plan.subject, sensor.width_mm)
    light = None if firing is None else light_out(firing.course.time_s, firing.course.value)
    shutter = shutter_of(plan.shutter)
    spread: Spread | None = None
    blur: Blur | None = None
    advice: tuple[str, ...] = ()
    warnings = [] if firing is None else list(firing.warnings)
    if firing is not None:
        tenth_s = firing.exposing.durations_s.get(0.1)
        if firing.rests_on == "model":
            warnings.append("durations-modelled")
        spread = spread_of(firing.course, tenth_s)
        if plan.subject is not None and magnification is not None and speed_um_s is not None:
            blur = blur_of(spread, speed_um_s, sensor, limits)
            advice = blur_advice(
                blur,
                None if limits is None else limits[0],
                tenth_s,
                magnification,
                plan.subject.speed_m_s,
                firing.exposing.kind,
            )
    if plan.subject is not None and pops > 1:
        warnings.append("several-pops")
        advice += pops_advice(pops)
    if ambient_stops is None:
        ambient_stops = ambient_stated(plan.ambient, flash_n, pops, reading_pops)
    return Moving(
        plan=plan,
        firing=firing,
        sensor=sensor,
        magnification=magnification,
        speed_um_s=speed_um_s,
        limits=limits,
        spread=spread,
        blur=blur,
        light=light,
        shutter=shutter,
        fastest_s=fastest_within(shutter, light, plan.shutter.sync_s, tolerance_stops),
        ambient_stops=ambient_stops,
        pops=pops,
        tolerance_stops=tolerance_stops,
        warnings=tuple(dict.fromkeys(warnings)),
        advice=advice,
    )
