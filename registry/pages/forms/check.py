"""What a contributor can say about a measured frame, and about the lens besides its hotspot."""

from __future__ import annotations

from typing import Any

from django import forms

from registry.reports.models import FindingKind, SampleImage

# The words of the eye grades; the bounds in EV are the project's convention (method page).
GRADES = (
    ("0", "0: no patch"),
    ("1", "1: a trace, seen only when contrast is pushed"),
    ("2", "2: visible"),
    ("3", "3: obvious"),
    ("4", "4: dominating"),
)


class FrameForm(forms.Form):
    """Corrections of one frame. Values go to the service as typed, so that it can quote them."""

    f_number = forms.CharField(
        label="f-number", required=False, widget=forms.TextInput(attrs={"inputmode": "decimal"})
    )
    focal_length_mm = forms.CharField(
        label="Focal length, mm", required=False, widget=forms.TextInput(attrs={"inputmode": "decimal"})
    )
    grade = forms.ChoiceField(label="Graded by eye", required=False, choices=[("", "not graded"), *GRADES])

    @classmethod
    def of(cls, image: SampleImage, data: Any = None, *, prefix: str | None = None) -> FrameForm:
        """The form of one frame, its ids made unique by the frame's public id; prefix: where several are sent."""
        initial = {
            "f_number": "" if image.f_number is None else f"{image.f_number:g}",
            "focal_length_mm": "" if image.focal_length_mm is None else f"{image.focal_length_mm:g}",
            "grade": "" if image.grade is None else str(image.grade),
        }
        return cls(data, initial=initial, auto_id=f"frame-{image.public_id}-%s", prefix=prefix)

    @classmethod
    def graded(cls, image: SampleImage, grade: str) -> FrameForm:
        """The form of one frame with a grade that was chosen and not kept yet."""
        form = cls.of(image)
        form.initial["grade"] = grade
        return form

    def changes(self) -> dict[str, str | None]:
        """The fields that differ from what the frame says now; one that was not asked for stays as it is."""
        asked = [name for name in self.changed_data if self.add_prefix(name) in self.data]
        return {name: self.cleaned_data[name] or None for name in asked}


class FindingsForm(forms.Form):
    """Other infrared traits seen in the same test, each graded 0 to 4 or left open."""

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        grades = [
            ("", "not judged"),
            ("0", "0: none"),
            ("1", "1: a trace"),
            ("2", "2: visible"),
            ("3", "3: obvious"),
            ("4", "4: dominating"),
        ]
        for kind in FindingKind:
            self.fields[kind.value] = forms.ChoiceField(
                label=kind.label.capitalize(), required=False, choices=grades
            )

    def graded(self) -> dict[str, int]:
        return {kind: int(grade) for kind, grade in self.cleaned_data.items() if grade}
