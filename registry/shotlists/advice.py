"""How to photograph the target so that the frames can be measured. Common practice where no source is named."""

from __future__ import annotations

from dataclasses import dataclass

from registry.optics.stops import mark_of
from registry.shotlists.facts import FULL_SPECTRUM, UNCONVERTED, CameraFacts, LensFacts
from registry.shotlists.setups import SetUp

VISIBLE_END_NM = 680.0  # about where a filter begins to look black


@dataclass(frozen=True)
class Advice:
    """One matter to see to. key: stable name. title: as on the sheet. says: short sentences, most important first."""

    key: str
    title: str
    says: tuple[str, ...]


TARGET = Advice(
    "target",
    "Target",
    (
        "A plain, matt, evenly lit surface that fills the frame: a white wall, or paper taped flat.",
        "Camera on a tripod, square to it and close, so that it is out of focus and shows no texture.",
        "Hood on; no lamp, window or sun shines on the front of the lens.",
    ),
)
LIGHT = Advice(
    "light",
    "Light that holds infrared",
    (
        "Daylight under an even overcast sky or in open shade, or a halogen lamp bounced off a white ceiling.",
        "LED and fluorescent lamps emit almost no infrared. The light must not change during a set-up.",
    ),
)
CAMERA = Advice(
    "camera",
    "Camera",
    (
        "Raw if it has it. Lens corrections (shading, vignetting) off, stabiliser off, flash off.",
        "ISO low and fixed, white balance fixed, focus by hand at infinity and left alone.",
        "The aperture changes and the shutter makes up for it; nothing else changes.",
        "Cover the finder of a reflex camera; release by timer or remote.",
    ),
)
EXPOSURE = Advice(
    "exposure",
    "Exposure",
    (
        "Begin wide open: the histogram’s hill between the middle and two thirds, nothing at either end in any "
        "colour. A hotspot may add a stop later.",
        "Then lengthen the shutter’s time by the stops on the list. Look at the histogram again halfway down.",
        "In doubt, bracket by 1 EV and send all of it: a frame that clips is refused alone. Without raw, one "
        "frame 1 EV darker at one stop tells the measurement how the camera bends its tones.",
    ),
)
ORDER = Advice(
    "order",
    "Order",
    (
        "Go down the list and leave nothing out. A manual or adapted lens writes no f-number into its files; they "
        "are then filled in from this order.",
    ),
)


ADVICE = (TARGET, LIGHT, CAMERA, EXPOSURE, ORDER)


def control_in_visible_light(camera: CameraFacts) -> tuple[bool, str]:
    """Whether this camera can photograph the target in visible light, and how, or why not."""
    instead = "Frames of another lens that is known to be clean, in the same set-up, can stand in for it."
    if camera.conversion is None:
        return False, (
            "Needs a body that sees visible light: an unconverted one, or full spectrum with a filter that passes "
            "visible light only. Choose your camera to see."
        )
    if camera.conversion == UNCONVERTED:
        return True, "Take the infrared filter off and touch nothing else; set the exposure anew."
    if camera.conversion == FULL_SPECTRUM:
        return True, (
            "Put a filter that passes visible light only (it blocks infrared and ultraviolet) in the infrared "
            "filter’s place; touch nothing else; set the exposure anew."
        )
    cut_on = f" ({camera.cut_on_nm:g} nm)" if camera.cut_on_nm else ""
    return False, f"Not with this body: the filter on its sensor{cut_on} keeps visible light out. {instead}"


def notes_on(lens: LensFacts, camera: CameraFacts, places: tuple[SetUp, ...]) -> tuple[str, ...]:
    """What is peculiar to this lens and camera, or assumed because a fact is missing."""
    return (*_about_light(camera), *_about_lens(lens, places))


def _about_light(camera: CameraFacts):
    if not camera.sees_infrared:
        yield "This camera without an infrared filter photographs visible light. Choose the filter for the test."
    elif camera.conversion == UNCONVERTED:
        yield (
            "An unconverted body blocks most infrared: expect exposures of seconds. Compose and focus before the "
            "filter goes on."
        )
    elif camera.conversion == FULL_SPECTRUM and not camera.has_filter:
        yield "Full spectrum without a filter mixes visible light in: the result stands in a group of its own."
    elif camera.has_filter and (camera.cut_on_nm or 0) >= VISIBLE_END_NM:
        yield "The filter looks black in an optical finder: compose and focus before it goes on."


def _about_lens(lens: LensFacts, places: tuple[SetUp, ...]):
    for place in places:
        if place.widest_estimated:
            yield (
                f"At {place.focal_length_mm:g} mm the widest stop lies between the two on the engraving: about "
                f"{mark_of(place.stops[0].f_number)}. Take the widest that the camera shows."
            )
    if lens.narrowest is None:
        yield (
            f"The narrowest stop is not in the catalogue: {mark_of(lens.narrowest_through_glass())} is the usual "
            "one. Go on to the lens’s own, and add it to the catalogue."
        )
    if all("two stops down" not in stop.why for place in places for stop in place.stops):
        yield "The lens does not close by two stops, so that the frame two stops down is left out."
    if lens.magnification != 1:
        yield (
            f"F-numbers and focal lengths here are those behind the {lens.magnification:g}× glass. A ring or camera "
            "that knows nothing of it shows the lens’s own: divide by that figure."
        )
