"""What stands before the simulated lens, and what the lens and the sensor do with it.

Lengths on the frame are in units of its half-diagonal, x to the right and y down from its centre. Amounts of
light are in EV (log2). Every field has a sane default: `Scene()` is a clean lens before a perfect target.
"""

from __future__ import annotations

from dataclasses import dataclass

from registry.simulation.checks import one_of, within

PATCH_SHAPES = ("gaussian", "disc", "polygon", "ring", "skirted")
PROJECTIONS = ("rectilinear", "fisheye")
STRONGEST_EV = 4.0


@dataclass(frozen=True)
class Patch:
    """A hotspot, described at a reference f-number and followed from there to every other.

    strength_ev: nominal excess at the patch's centre at reference_f_number and a factor of 1 for the cut-on.
    radius: radius at which the shape falls to about half, at reference_f_number.
    shape: one of PATCH_SHAPES. A ring keeps `ring_fill` of its light inside `ring_inner` of its radius; a
        skirted patch sends `skirt_share` of its peak into a Gaussian skirt `skirt_reach` times as wide.
    growth: excess ∝ (N / N_ref)^growth, capped at STRONGEST_EV. 0 is a lens hot alike at every stop.
    shrink: radius ∝ (N / N_ref)^−shrink.
    edge: blur of the edge (standard deviation) over the radius at N_ref.
    hardening: edge ∝ (N / N_ref)^−hardening; a Gaussian's exponent, 2 at N_ref, grows instead.
    blades, rotation_deg: the iris that a polygon images.
    by_cut_on: (nm, factor) pairs, linear between, constant beyond: coatings let longer waves through.
    tint_rg, tint_bg: log2 R/G and B/G of the patch's centre over its surroundings, at reference_f_number.
    centre: offset of the patch from the frame's centre.
    """

    strength_ev: float = 0.3
    radius: float = 0.15
    shape: str = "gaussian"
    reference_f_number: float = 8.0
    growth: float = 1.2
    shrink: float = 0.6
    edge: float = 0.15
    hardening: float = 0.5
    blades: int = 7
    rotation_deg: float = 10.0
    ring_fill: float = 0.5
    ring_inner: float = 0.6
    skirt_share: float = 0.25
    skirt_reach: float = 2.5
    by_cut_on: tuple[tuple[float, float], ...] = ((590, 0.6), (630, 0.7), (665, 0.8), (720, 1.0), (830, 1.35))
    tint_rg: float = 0.0
    tint_bg: float = 0.0
    centre: tuple[float, float] = (0.0, 0.0)

    def __post_init__(self) -> None:
        one_of(self.shape, PATCH_SHAPES, "shape")
        within(self.radius, 0.005, 1.5, "radius")
        within(self.strength_ev, 0.0, STRONGEST_EV, "strength_ev")
        within(self.reference_f_number, 0.5, 128, "reference_f_number")
        within(self.edge, 0.001, 1.0, "edge")
        within(self.blades, 3, 24, "blades")


@dataclass(frozen=True)
class Ghost:
    """A reflection off the centre: a soft disc of added light, no part of the hotspot's excess."""

    centre: tuple[float, float] = (0.4, 0.25)
    radius: float = 0.08
    strength_ev: float = 0.05
    edge: float = 0.2


@dataclass(frozen=True)
class Scene:
    """One set-up of lens, body, filter, target and light.

    focal_length_mm, half_diagonal_mm: lens and sensor; 21.63 mm is half the diagonal of 36 × 24 mm.
    widest: the lens's widest f-number.
    projection: "rectilinear" (r = f tan θ) or "fisheye" (equidistant, r = f θ).
    pupil_growth: the entrance pupil's area seen off axis grows as cos^−pupil_growth θ (0 keeps cos⁴).
    telecentric_factor: tangent of the chief ray's angle at the sensor over that at the scene; below 1 the
        exit pupil stands further off and the corners darken less.
    vignetting_ev, vignetting_onset, vignetting_power: mechanical vignetting wide open by the lens's rims:
        loss at the corner, the radius where it begins, and how the rims' images move over the pupil with the
        field (1: with tan θ, as geometry has it). Stopping down makes it fade of itself.
    profile_correction: share of the lens's falloff at the frame's aperture that a lens profile took back (0 none,
        1 all, above 1 too much); the profile is a polynomial of third order in r², as such profiles are.
    axis: where the optical axis meets the frame (a shifted sensor).
    image_circle_mm: diameter beyond which the lens sends no image (a circular fisheye); None reaches everywhere.
    cut_on_nm: effective cut-on of body and filter.
    patch, ghosts: the hotspot, if any, and other reflections.
    tilt_ev, tilt_direction_deg: uneven light, EV per half-diagonal, brighter towards the direction (0 right,
        90 down).
    unevenness_ev: standard deviation of the target's smooth unevenness over the frame.
    texture_ev, texture_scale: standard deviation and grain size of the target's texture.
    dust_specks, dust_depth_ev: specks on the sensor and the largest loss under one; fainter when wide open.
    cast_rg, cast_bg: log2 R/G and B/G of the whole frame, as the body's white balance leaves infrared.
    shading_rg, shading_bg: the same at the corner over the centre, growing with r².
    level: linear luminance at the centre of a clean frame, 1 is the format's white.
    full_well_electrons, read_noise_electrons: of one rendered pixel; 0 and 0 render without noise.
    drift_ev: standard deviation of the exposure from frame to frame of a sweep.
    """

    focal_length_mm: float = 50.0
    half_diagonal_mm: float = 21.63
    widest: float = 2.8
    projection: str = "rectilinear"
    pupil_growth: float = 0.0
    telecentric_factor: float = 1.0
    vignetting_ev: float = 0.0
    vignetting_onset: float = 0.3
    vignetting_power: float = 1.0
    profile_correction: float = 0.0
    axis: tuple[float, float] = (0.0, 0.0)
    image_circle_mm: float | None = None
    cut_on_nm: float = 720.0
    patch: Patch | None = None
    ghosts: tuple[Ghost, ...] = ()
    tilt_ev: float = 0.0
    tilt_direction_deg: float = 0.0
    unevenness_ev: float = 0.0
    texture_ev: float = 0.0
    texture_scale: float = 0.01
    dust_specks: int = 0
    dust_depth_ev: float = 0.15
    cast_rg: float = 0.0
    cast_bg: float = 0.0
    shading_rg: float = 0.0
    shading_bg: float = 0.0
    level: float = 0.35
    full_well_electrons: float = 30_000.0
    read_noise_electrons: float = 3.0
    drift_ev: float = 0.0

    def __post_init__(self) -> None:
        one_of(self.projection, PROJECTIONS, "projection")
        within(self.focal_length_mm, 1, 5000, "focal_length_mm")
        within(self.half_diagonal_mm, 1, 200, "half_diagonal_mm")
        within(self.widest, 0.5, 64, "widest")
        within(self.level, 1e-4, 4, "level")
        within(self.vignetting_ev, 0, 6, "vignetting_ev")
        within(self.vignetting_onset, 0, 0.95, "vignetting_onset")
        within(self.vignetting_power, 0.5, 6, "vignetting_power")
