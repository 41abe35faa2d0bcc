"""What a shot list needs to know of a lens and of the camera behind it."""

from __future__ import annotations

import math
from dataclasses import dataclass

from registry.errors import InvalidInput, Problem
from registry.optics.stops import as_marked, check_f_number, usual_narrowest

FULL_SPECTRUM, UNCONVERTED = "full-spectrum", "unconverted"


@dataclass(frozen=True)
class LensFacts:
    """A lens as its engraving tells it, and the glass behind it.

    focal_min_mm, focal_max_mm: equal for a prime. widest, widest_tele: f-numbers as marked at the short and the long
    end. narrowest: as marked, None where nobody knows. magnification: of teleconverter and adapter together.
    Raises InvalidInput for a focal range or f-numbers that no lens has.
    """

    focal_min_mm: float
    focal_max_mm: float
    widest: float
    widest_tele: float
    narrowest: float | None = None
    magnification: float = 1.0

    def __post_init__(self) -> None:
        for name in ("widest", "widest_tele"):
            check_f_number(getattr(self, name), name)
        if not 0 < self.focal_min_mm <= self.focal_max_mm < math.inf or not 0 < self.magnification < math.inf:
            raise InvalidInput(
                Problem(
                    code="no-such-focal-range",
                    field="focal_min_mm",
                    value=self.focal_min_mm,
                    says=f"No lens reaches from {self.focal_min_mm:g} to {self.focal_max_mm:g} mm, "
                    f"magnified {self.magnification:g}×.",
                    remedy="Give the shorter focal length first; a prime has the same one twice.",
                )
            )

    @property
    def is_zoom(self) -> bool:
        return self.focal_max_mm > self.focal_min_mm

    def widest_at(self, focal_mm: float) -> tuple[float, bool]:
        """The widest f-number through all glass at an engraved focal length, as marked; and whether it is a guess.

        Lenses state it at their ends only. Between them its Av is taken to rise in proportion to the logarithm of
        the focal length (our convention, no source: designs differ, most of them by less than half a stop).
        """
        between = self.focal_min_mm < focal_mm < self.focal_max_mm
        if not between or self.widest == self.widest_tele:
            own = self.widest_tele if focal_mm >= self.focal_max_mm else self.widest
            return self._through_glass(own), False
        share = math.log(focal_mm / self.focal_min_mm) / math.log(self.focal_max_mm / self.focal_min_mm)
        own = self.widest ** (1 - share) * self.widest_tele**share
        return as_marked(own * self.magnification), True

    def narrowest_through_glass(self) -> float:
        """The narrowest f-number through all glass, as marked; common practice where it is not known."""
        own = self.narrowest or usual_narrowest(self.widest_tele)
        return self._through_glass(max(own, self.widest, self.widest_tele))

    def _through_glass(self, own: float) -> float:
        return own if self.magnification == 1 else as_marked(own * self.magnification)


@dataclass(frozen=True)
class CameraFacts:
    """What is behind the lens: a body's conversion and the filter, as far as they are known.

    conversion: "long-pass", "full-spectrum", "band-pass", "dual-band" or "unconverted"; None where no camera is
    chosen. cut_on_nm: of conversion and filter together, None where there is no single one. sees_infrared: False
    for a combination that photographs visible light.
    """

    conversion: str | None = None
    has_filter: bool = False
    cut_on_nm: float | None = None
    sees_infrared: bool = True
