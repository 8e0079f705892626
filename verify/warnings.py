"""The table of warnings: what may be doubtful about a measurement, each in one sentence.

Records carry the name; reports print the sentence.
"""

WARNINGS: dict[str, str] = {
    "no-offset": (
        "No offset between this meter and this camera is known: the standards leave them up to "
        "half a stop apart, so the absolute error is for orientation and frames are judged by "
        "their difference from the reference frame."
    ),
    "dome-on-card": (
        "The meter did not see the light as the card does (a dome, or not aimed as the card "
        "faces): the card can get up to 0.6 stop less than the reading says."
    ),
    "offset-other-body": (
        "The offset in use was fitted with another camera body, and bodies differ: calibrate with "
        "this one."
    ),
    "offset-other-lens": (
        "The offset in use was fitted with another lens, and what lenses let through at the same "
        "f-number differs: calibrate with this one."
    ),
    "offset-other-meter": (
        "The offset in use was fitted with another meter or another use of it (flash or "
        "continuous, incident or reflected, receptor, aim): calibrate with this one."
    ),
    "offset-other-card": (
        "The offset in use was fitted with another card: what the two differ by in reflectance is "
        "in the error."
    ),
    "offset-out-of-range": (
        "The ISO or the aperture is outside the range that the offset in use was fitted over: it "
        "may not hold there."
    ),
    "few-frames": (
        "Fewer than three frames count: what the plan states of the scatter stands in for theirs. "
        "Shoot five or more."
    ),
    "one-aperture": (
        "All frames have one aperture: whether the lens stops down as marked is not known. Bracket "
        "the aperture too, with the light or the ISO changed to match."
    ),
    "iso-or-aperture": (
        "Some ISO was shot at one aperture only, and that aperture at no other ISO: there an error "
        "of the lens cannot be told from one of the camera's ISO. Shoot it at a second aperture."
    ),
    "slope-off": (
        "Measured and planned stops do not rise together: the chain is not linear, or the lens "
        "does not stop down as marked. What a note says of it tells more."
    ),
    "bent": (
        "Measured against planned stops is bent: one end of the set is off. Leave that end out, or "
        "mend its cause."
    ),
    "ambient-in-set": (
        "Frames with the shutter open longer got more light: the room adds to the flash. Darken "
        "it, switch modelling lamps off, or use one shutter time."
    ),
    "several-cards": (
        "More than one thing in the picture looks like the card: the surest one was measured. Say "
        "which it is with --card."
    ),
    "card-unsure": (
        "What was taken for the card has not the clear outline and the even face of one: look at "
        "it (--show FOLDER), or give its place with --card."
    ),
    "unlikely-level": (
        "What was taken for the card is much lighter or darker than the card should be. It may be "
        "paper or cloth: look at it (--show FOLDER), or give its place with --card."
    ),
    "coloured-light": (
        "Hardly anything in the picture is neutral, as in coloured light: nothing can be told to "
        "be grey. Give the card's place with --card."
    ),
    "not-linear": (
        "The neutral patches do not follow their reflectances: this file is not linear, or there "
        "is flare. What a note says of it tells which."
    ),
    "clipped": (
        "Part of the card is clipped: the true exposure is at least what is shown. Give less "
        "exposure, or measure a darker patch."
    ),
    "part-clipped": "A little of the card is clipped: the mean may be too low.",
    "at-black": (
        "The card is at black: the true exposure is at most what is shown. Give more exposure, or "
        "measure a lighter patch."
    ),
    "near-clipping": (
        "The card is so close to clipping that the response may bend: give less exposure, or "
        "measure a darker patch."
    ),
    "uneven": "The light across the card is uneven: measure the spot where the meter was.",
    "too-small": "The box holds few photosites: make it larger.",
    "off-centre": (
        "The card stands off the optical axis and no flat frame corrects the lens's falloff: "
        "what it may cost there is in the uncertainty."
    ),
    "flat-not-used": "The flat frame does not fit this frame: falloff is not corrected.",
    "glare": (
        "The scene is much brighter than the card: 1 % of it scattered in the lens lifts the card."
    ),
    "black-unsure": (
        "The masked border of the sensor does not agree with the black that the file states: the "
        "stated one is kept and the effect of the other is in the uncertainty."
    ),
    "opcode-not-applied": (
        "The file asks for a correction that changes the signal and is not known here."
    ),
    "rendered": (
        "This is a rendered picture: a tone curve may be in it that no profile undoes, so only "
        "small differences between frames count."
    ),
    "not-finite": "Some values in the box are not numbers: they are left out.",
    "no-f-number": "The file records no f-number: it counts as planned.",
    "no-iso": "The file records no ISO: it counts as planned.",
    "no-shutter": "The file records no shutter time: it counts as planned.",
    "settings-differ": (
        "The camera was not set as planned: that part of the error stands under settings."
    ),
    "above-sync": "The shutter time is shorter than the sync time: the shutter may cut the flash.",
    "iso-not-in-signal": (
        "The signal does not follow the recorded ISO (settings and rest are equal and opposite): "
        "this camera may only note it in the file."
    ),
    "no-reference": (
        "The reference frame could not be measured or is not among these frames: the first one "
        "that was measured stands in for it."
    ),
    "top-clipped": (
        "The top of the pulse is clipped: its peak was higher, so every duration is shown too "
        "long and the energy too small. Record again with less gain or from farther away."
    ),
    "coarse-samples": (
        "The recording has fewer than 10 samples inside t.5: short durations are hardly "
        "known. Record with more samples in a second."
    ),
    "mains-ripple": (
        "Light of the mains, or hum, is in the recording: it bends the tail. Darken the room, "
        "switch modelling lamps off, move the leads away from mains cables."
    ),
    "negative-polarity": "The recording shows more light as less voltage: it was turned over.",
    "dips": (
        "The light falls by more than half and rises again within the pulse: its durations "
        "run from the first to the last crossing, over the dips."
    ),
    "ac-coupled": (
        "The recorder does not pass what stays the same (AC coupling, as sound cards have): "
        "it pulls the tail down, so t.1 comes out too short and the baseline lies below the "
        "start. Record with a DC-coupled recorder."
    ),
    "tail-missing": (
        "The recording ends before the light is out: what lies below its end is not known. "
        "Record for longer."
    ),
    "start-missing": (
        "The recording begins when the light is on already: what lies before it is not known. "
        "Let it begin before the flash."
    ),
    "baseline-unsure": (
        "Hardly anything in the recording is dark, so the baseline is a guess. Record some "
        "time before and after the flash."
    ),
    "slow-sensor": (
        "The sensor's bandwidth lengthens the durations: the true ones are shorter. The "
        "energy is not touched."
    ),
    "faster-than-sensor": (
        "The recording rises faster than a sensor of the stated bandwidth can: check "
        "--sensor-bandwidth."
    ),
    "pre-flash": (
        "A weaker flash comes before the main one: a pre-flash. Set the flash to manual if it "
        "was not meant."
    ),
    "quoted-elsewhere": (
        "A duration is quoted for another power than the one set, and durations change with "
        "power: look it up at this power, or record the flash."
    ),
    "durations-modelled": (
        "The pulse is a model built from quoted durations, not a recording: a real one can "
        "differ, above all in its tail."
    ),
    "travel-assumed": (
        "The curtain's travel is not stated: it was taken as three quarters of the sync time, "
        "as is usual. State it, or measure it with greyproof rows."
    ),
    "shutter-cuts": (
        "The shutter covers a part of the frame before the flash is out: use a slower shutter time."
    ),
    "several-pops": (
        "The exposure is built from several pops: what moves shows once for each of them."
    ),
    "ambient-at-black": (
        "The card is at black in the frame of the ambient light: the ambient light is at most "
        "what is shown. Shoot that frame with a longer shutter time."
    ),
    "ambient-frame-differs": (
        "The frame of the ambient light was shot with another camera or lens than this one: "
        "what it says need not hold here."
    ),
    "by-scene": (
        "No card was found in it: its light is that of the last frame with one, carried on by what "
        "most of the picture shares."
    ),
    "ambient-only": (
        "The ambient light explains all the light on the card: the flash did not fire, or hardly "
        "reached it. Its error is at most what is shown."
    ),
    "scene-changed": (
        "Less than half of the picture shows one change of light, so much on the set was moved or "
        "replaced: it is taken from the part that agrees."
    ),
    "scene-split": (
        "Two parts of the picture show two changes of light, nearly as large as each other: which "
        "of them is the light's cannot be told. Show the card again."
    ),
    "scene-uneven": (
        "The light changed more in one part of the picture than in another, as when one lamp of "
        "several differs: one figure does not say all of it."
    ),
    "scene-moved": (
        "Nothing in the picture that has outlines is where it was: if the camera was moved, the "
        "change of light is a guess from the backdrop. Show the card again."
    ),
    "scene-little": (
        "Less than a quarter of the picture could be compared: the rest is clipped or at black."
    ),
}
