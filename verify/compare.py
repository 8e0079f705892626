"""One reading against the plan: error, the part of the settings, the rest, and how sure it is."""

import math
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

from verify.ambient.reading import AmbientReading, FlashPart, ambient_warnings, flash_part
from verify.exposure import F_NUMBERS, aperture_stops, exact_f_number, exact_iso, exact_shutter_s
from verify.frames.frame import Settings
from verify.frames.geometry import Size
from verify.linearity import in_words
from verify.measure import Bound, PatchReading, code_step
from verify.motion.records import MotionRisk
from verify.neutrals import Neutrals
from verify.notation import shutter_text
from verify.plan.expected import (
    departure_text,
    dome_on_card,
    expected_signal,
    offset_applies,
)
from verify.plan.records import CameraPlan, MeterOffset, SetUp
from verify.target.records import Search, Target

DOME_STOPS = 0.3  # standard uncertainty of a dome, or of one not aimed as the card faces
RANDOM_TERMS = ("noise", "lens")  # what varies from frame to frame
LEAST_SIGNAL = 1e-6  # where neither noise nor codes say how little light there may be
SETTINGS_STOPS = 0.005  # a smaller departure from the planned settings is none
SAME_TIME_STOPS = 0.1  # shutter times closer than this are the same setting

DOUBTS = ("several-cards", "card-unsure", "unlikely-level", "coloured-light")

Verdict = Literal[
    "within", "over", "under", "clipped", "dark", "no-card", "card-doubtful", "unreadable"
]


@dataclass(frozen=True, slots=True)
class FrameCheck:
    """What a frame got against its plan. None: not known, or not to be had."""

    file: Path
    setup: str  # name of the set-up, with the body where several took part
    settings: Settings | None  # as the file records them
    size: Size | None = None  # of the upright picture [pixel]
    f_number: float | None = None  # the exact one that counts, by the camera's own steps
    patch: PatchReading | None = None
    problem: str | None = None  # why the frame could not be measured, in one line
    expected_signal: float | None = None  # by the plan, a fitted offset included
    offset_stops: float | None = None  # fitted for this meter and camera
    offset_name: str | None = None  # under which it is kept
    error_stops: float | None = None  # measured against expected, + is over
    settings_stops: float | None = None  # the part that the camera's settings explain
    rest_stops: float | None = None  # error - settings
    difference_stops: float | None = None  # rest against that of the reference frame
    u_stops: float | None = None  # combined standard uncertainty of the error
    repeat_u_stops: float | None = None  # what of it varies at random between frames
    budget: tuple[tuple[str, float], ...] = ()  # terms of u_stops [stop]
    iso_stops: float | None = None  # the part of the settings that ISO explains
    warnings: tuple[str, ...] = ()  # names from the table of warnings
    notes: tuple[str, ...] = ()  # sentences
    verdict: Verdict = "unreadable"
    judged_by: Literal["plan", "reference"] | None = None
    chance_within: float | None = None  # probability that the true value is within tolerance
    neutrals: Neutrals | None = None  # of a chart or a step wedge, where one was found
    sightings: tuple[Target, ...] = ()  # what may be the card, likeliest first
    flash: FlashPart | None = None  # the card's light without the ambient; None: not told apart
    motion: MotionRisk | None = None  # what moves, in this frame; None where nothing asks for it

    @property
    def bound(self) -> Bound | None:
        """Whether the error is only a bound on the true one."""
        return None if self.patch is None else self.patch.bound

    @property
    def signal(self) -> float | None:
        """The signal that counts: of the flash alone where the ambient light is known."""
        if self.flash is not None:
            return self.flash.signal
        return None if self.patch is None else self.patch.signal

    @property
    def doubtful(self) -> bool:
        """Whether what was measured need not be the card."""
        return not set(DOUBTS).isdisjoint(self.warnings)


@dataclass(frozen=True, slots=True)
class _SettingsPart:
    """The camera's settings against the planned ones."""

    stops: float  # exposure by all settings that count
    iso_stops: float  # of it by ISO
    warnings: tuple[str, ...]
    notes: tuple[str, ...]


def compare(
    file: Path,
    settings: Settings,
    patch: PatchReading,
    setup: SetUp,
    frame_notes: tuple[str, ...] = (),
    offset: MeterOffset | None = None,
    search: Search | None = None,
    neutrals: Neutrals | None = None,
    offset_warnings: tuple[str, ...] = (),
    ambient: AmbientReading | None = None,
) -> FrameCheck:
    """Compare a frame's card with what the plan lets expect.

    Parameters
    ----------
    file, settings, patch : of the frame.
    setup : the set-up that it belongs to.
    frame_notes : sentences that go with the file.
    offset : fitted for this meter and camera, if one is.
    search : what the search for the card came to; None where its place was given.
    neutrals : the patches of a chart or a step wedge, where one was found. The patch that stands
        for the card then counts with its own reflectance.
    offset_warnings : names of warnings about using the offset here.
    ambient : the card by ambient light alone. Its share is taken from the card's light, and the
        error is that of the flash.

    Returns
    -------
    The check before it is judged: no difference and no verdict yet.
    """
    reading, camera = setup.reading, setup.camera
    warnings = [d.warning for d in patch.doubts]
    warnings += [f"no-{what}" for what, value in _recorded(settings) if value is None]
    notes = [*frame_notes, *(d.note for d in patch.doubts if d.note)]
    part = None
    if camera is not None and reading is not None:
        part = _settings_part(settings, camera, reading.timed)
        warnings += part.warnings
        notes += part.notes
    departure = departure_text(setup)
    if departure is not None:
        notes.append(departure)
    setup = with_own_reflectance(setup, patch, neutrals)
    if neutrals is not None and neutrals.linearity is not None:
        notes.append(in_words(neutrals.linearity).rstrip("."))
        warnings += ["not-linear"] if neutrals.linearity.bent else []
    expected = expected_signal(setup, offset)
    flash = None if ambient is None else _flash_part(patch, settings, camera, ambient)
    if flash is not None and ambient is not None:
        warnings += ambient_warnings(ambient, settings, flash)
    error = None
    if expected is not None:
        warnings += ["no-offset"] if offset is None else offset_warnings
        error = math.log2((_counted(patch) if flash is None else flash.signal) / expected)
    if reading is not None and dome_on_card(reading) and not offset_applies(reading, offset):
        warnings.append("dome-on-card")
    rest = None if error is None or part is None else error - part.stops
    if search is not None:
        warnings += search.doubts
        if patch.target.found_by == "shape" and not search.again and "uneven" in warnings:
            warnings.append("card-unsure")  # the box was to lie in one even light
        if len(search.found) > 1:
            notes.append(_several(search))
    budget = _budget(patch, setup, offset, flash)
    total = math.sqrt(sum(u * u for _, u in budget))
    repeat = math.sqrt(sum(u * u for name, u in budget if name in RANDOM_TERMS))
    return FrameCheck(
        file=file,
        setup=setup.name,
        settings=settings,
        f_number=_exact_aperture(settings, camera),
        patch=patch,
        expected_signal=expected,
        offset_stops=None if offset is None else offset.stops,
        offset_name=None if offset is None else offset.name,
        error_stops=error,
        settings_stops=None if part is None else part.stops,
        rest_stops=rest,
        u_stops=None if error is None else total,
        repeat_u_stops=repeat,
        budget=budget,
        iso_stops=None if part is None else part.iso_stops,
        warnings=tuple(dict.fromkeys(warnings)),
        notes=tuple(dict.fromkeys(notes)),
        sightings=() if search is None else search.found,
        neutrals=neutrals,
        flash=flash,
    )


def expected_here(settings: Settings, setup: SetUp, offset: MeterOffset | None) -> float | None:
    """Signal to expect of the card in a frame with its own settings; None without a reading."""
    expected = expected_signal(setup, offset)
    reading, camera = setup.reading, setup.camera
    if expected is None or reading is None or camera is None:
        return None
    return expected * float(2 ** _settings_part(settings, camera, reading.timed).stops)


def with_own_reflectance(setup: SetUp, patch: PatchReading, neutrals: Neutrals | None) -> SetUp:
    """A set-up whose card is the patch that was measured, where its reflectance is known."""
    own = None if neutrals is None else neutrals.reflectance_at(patch.target)
    return setup if own is None else replace(setup, card=replace(setup.card, reflectance=own))


def _several(search: Search) -> str:
    """Where the things are that look like the card."""
    boxes = [t.box for t in search.found]
    at = [f"{box.col},{box.row},{box.width},{box.height}" for box in boxes]
    others = "the other" if len(at) == 2 else "the others"
    return (
        f"{len(at)} things look like the card: at {at[0]}, which is measured, and at "
        f"{' and '.join(at[1:])}. Say which it is with --card, or cover {others}"
    )


def _exact_aperture(settings: Settings, camera: CameraPlan | None) -> float | None:
    """The exact f-number that the recorded one stands for on this camera."""
    if settings.f_number is None:
        return None
    return exact_f_number(settings.f_number, 1 / 3 if camera is None else camera.step)


def marked_f_number(settings: Settings) -> float | None:
    """The printed f-number that the recorded one is; None where it is no printed one."""
    return None if settings.f_number is None else F_NUMBERS.find(settings.f_number)[1]


def _recorded(settings: Settings) -> tuple[tuple[str, float | None], ...]:
    """The settings that the arithmetic needs, as the file records them."""
    return (
        ("f-number", settings.f_number),
        ("iso", settings.iso),
        ("shutter", settings.shutter_s),
    )


def _counted(patch: PatchReading) -> float:
    """The signal that counts: the mean, or for a card at black what it is at most."""
    if patch.bound != "at-most":
        return patch.signal
    least = max(code_step(patch.black, patch.white) / 2, LEAST_SIGNAL)
    return max(patch.signal, 0.0) + patch.black_shift + 2 * max(patch.noise, least)


def _flash_part(
    patch: PatchReading, settings: Settings, camera: CameraPlan | None, ambient: AmbientReading
) -> FlashPart | None:
    """What is left of the card's light without the ambient light; None without a shutter time."""
    shutter_s = settings.shutter_s
    if shutter_s is None and camera is not None:
        shutter_s = camera.shutter_s
    if shutter_s is None:
        return None
    n = _exact_aperture(settings, camera)
    iso = None if settings.iso is None else exact_iso(settings.iso)
    there = ambient.at(n, iso, exact_shutter_s(shutter_s))
    return flash_part(_counted(patch), patch.noise, *there)


def _settings_part(settings: Settings, camera: CameraPlan, timed: bool) -> _SettingsPart:
    """Stops by which the recorded settings depart from the planned ones.

    What the file does not record is taken as planned. With flash the shutter time is no part of
    the exposure; one that differs is noted.
    """
    warnings, notes = [], []
    aperture = iso = time = 0.0
    n = _exact_aperture(settings, camera)
    if n is not None:
        planned = camera.aperture.n
        if camera.writes_effective:
            planned *= 2 ** (camera.bellows_stops / 2)
        aperture = aperture_stops(planned, n)
    if settings.iso is not None:
        iso = math.log2(exact_iso(settings.iso) / camera.iso)
    if settings.shutter_s is not None and camera.shutter_s is not None:
        time = math.log2(exact_shutter_s(settings.shutter_s) / camera.shutter_s)
        if not timed and abs(time) > SAME_TIME_STOPS:
            shot, planned_text = shutter_text(settings.shutter_s), shutter_text(camera.shutter_s)
            notes.append(
                f"shot at {shot} where {planned_text} was planned: with flash that changes only "
                "the ambient light"
            )
    if settings.shutter_s is not None and camera.sync_s is not None and not timed:
        beyond = math.log2(camera.sync_s / exact_shutter_s(settings.shutter_s))
        if camera.shutter_kind == "curtain" and beyond > SAME_TIME_STOPS:
            warnings.append("above-sync")
    stops = aperture + iso + (time if timed else 0.0)
    if abs(stops) > SETTINGS_STOPS or max(abs(aperture), abs(iso)) > SETTINGS_STOPS:
        warnings.append("settings-differ")
    return _SettingsPart(stops, iso, tuple(warnings), tuple(notes))


def _budget(
    patch: PatchReading, setup: SetUp, offset: MeterOffset | None, flash: FlashPart | None = None
) -> tuple[tuple[str, float], ...]:
    """Terms of the combined standard uncertainty [stop], each under its name.

    References
    ----------
    JCGM 100:2008: independent terms add as the root of their squares.
    """
    terms = dict(patch.u_terms)
    if flash is not None:  # what is unsure of all the light is a larger part of the flash alone
        larger = _counted(patch) / flash.signal
        terms = {name: u * larger for name, u in terms.items()} | {"ambient": flash.u_stops}
    reading, scatter = setup.reading, setup.scatter
    terms["lens"] = scatter.lens
    # The card's error is in an offset that was fitted with it, and drops out with it.
    same_card = offset is not None and offset.card is not None and offset.card == setup.card.name
    if reading is not None:
        terms["placing"] = scatter.placing
        terms["meter"] = scatter.meter
        if reading.method == "incident" and not same_card:
            terms["card"] = scatter.card
        if dome_on_card(reading) and not offset_applies(reading, offset):
            terms["dome"] = DOME_STOPS
    if offset is not None:
        apart = offset.u_same_card if same_card else None
        terms["offset"] = offset.u_stops if apart is None else apart
    return tuple(terms.items())
