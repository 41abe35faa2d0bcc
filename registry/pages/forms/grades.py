"""A table of grades by eye: one row per stop of the lens, and a few for stops between them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms

from registry.optics.stops import mark_of, same_stop
from registry.pages.forms.check import GRADES
from registry.pages.forms.evidence import NUMBER, number
from registry.reports.models import Reading

EXTRA_STOPS = 3
CHOICES = (("", "not tested"), *((grade, grade) for grade, _ in GRADES))


class GradesForm(forms.Form):
    """Grades at one focal length. stops: f-numbers as marked, widest first; ask_focal: where the lens has several."""

    focal_length_mm = number("Focal length, mm")

    def __init__(self, data: Any = None, *, stops: Sequence[float], ask_focal: bool, **kwargs: Any):
        super().__init__(data, **kwargs)
        self.stops = tuple(stops)
        if not ask_focal:
            del self.fields["focal_length_mm"]
        for place, stop in enumerate(self.stops):
            self.fields[f"grade_{place}"] = _grade(mark_of(stop))
        for place in range(EXTRA_STOPS):
            stop = forms.TextInput(attrs=NUMBER | {"aria-label": f"A stop between, {place + 1}"})
            self.fields[f"stop_{place}"] = forms.CharField(required=False, max_length=20, widget=stop)
            self.fields[f"between_{place}"] = _grade("that stop")

    @classmethod
    def of(
        cls,
        readings: Sequence[Reading],
        *,
        stops: Sequence[float],
        ask_focal: bool,
        focal_length_mm: float | None = None,
    ) -> GradesForm:
        """The form filled in with what was graded before."""
        initial: dict[str, Any] = {
            "focal_length_mm": "" if focal_length_mm is None else f"{focal_length_mm:g}"
        }
        between = 0
        for reading in readings:
            rung = next((n for n, stop in enumerate(stops) if same_stop(stop, reading.f_number)), None)
            if rung is not None:
                initial[f"grade_{rung}"] = str(reading.grade)
            elif between < EXTRA_STOPS:
                initial |= {
                    f"stop_{between}": f"{reading.f_number:g}",
                    f"between_{between}": str(reading.grade),
                }
                between += 1
        return cls(initial=initial, stops=stops, ask_focal=ask_focal)

    @property
    def rungs(self) -> list[tuple[str, forms.BoundField]]:
        """The lens's own stops with their fields."""
        return [(mark_of(stop), self[f"grade_{place}"]) for place, stop in enumerate(self.stops)]

    @property
    def between(self) -> list[tuple[forms.BoundField, forms.BoundField]]:
        """Fields for stops that are no rungs, with the grades there."""
        return [(self[f"stop_{place}"], self[f"between_{place}"]) for place in range(EXTRA_STOPS)]

    def readings(self) -> list[dict[str, Any]]:
        """What was graded, as registry.reports.services.enter_readings takes it."""
        return [{"f_number": stop, "grade": grade} for _, stop, grade in self._rows()]

    def field_of(self, path: str) -> str:
        """The form's field for a service's path such as "readings[2].f_number"."""
        if not path.startswith("readings["):
            return path
        place = int(path[len("readings[") :].partition("]")[0])
        return self._rows()[place][0]

    def _rows(self) -> list[tuple[str, Any, str]]:
        """(field, f-number, grade) of every row that says something."""
        typed = self.cleaned_data
        rungs = [
            (f"grade_{place}", stop, typed[f"grade_{place}"])
            for place, stop in enumerate(self.stops)
            if typed[f"grade_{place}"]
        ]
        between = [
            (f"stop_{place}", typed[f"stop_{place}"], typed[f"between_{place}"])
            for place in range(EXTRA_STOPS)
            if typed[f"stop_{place}"] or typed[f"between_{place}"]
        ]
        return rungs + between


def _grade(label: str) -> forms.ChoiceField:
    return forms.ChoiceField(label=label, required=False, choices=CHOICES, widget=forms.RadioSelect)
