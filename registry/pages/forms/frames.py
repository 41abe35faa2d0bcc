"""The table in which frames are corrected: a row for each, and a run of f-numbers that fills many rows at once."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django import forms

from registry.pages.forms.evidence import number
from registry.reports.models import ImagePurpose, Report, SampleImage
from registry.reports.rules.contents import Tested
from registry.reports.rules.planning import plan_of_report
from registry.reports.rules.shooting_order import (
    IN_A_ROW,
    RUN_AFTER_RUN,
    Shot,
    read_run,
    run_of_list,
)
from registry.reports.rules.sorting import Sorting

AS_LISTED = "list"
TICKED, WITHOUT, ALL = "ticked", "without", "all"
SAME_FOCAL_LENGTH = 1.06
PURPOSES = (
    (ImagePurpose.TARGET.value, "test frame"),
    (ImagePurpose.CONTROL.value, "control"),
    (ImagePurpose.PROOF.value, "proof picture"),
)


class FrameRow(forms.Form):
    """One frame's row. Values go to the service as typed, so that it can quote them."""

    ticked = forms.BooleanField(required=False)
    f_number = number("f-number")
    focal_length_mm = number("Focal length, mm")
    purpose = forms.ChoiceField(label="Kind", choices=PURPOSES)

    def __init__(self, image: SampleImage, data: Mapping[str, Any] | None = None):
        self.image = image
        self.filled = False
        super().__init__(data, initial=typed_of(image), prefix=image.public_id, auto_id="%s")
        for name, words in (("ticked", "Choose"), ("f_number", "f-number of"), ("focal_length_mm", "Focal length of"),
                            ("purpose", "Kind of")):  # fmt: skip
            self.fields[name].widget.attrs["aria-label"] = f"{words} {image.file_name}"
        for name in ("f_number", "focal_length_mm", "purpose"):
            self.fields[name].widget.attrs["data-cell"] = name

    def changes(self) -> dict[str, str | None]:
        """The fields that differ from what the frame says now, as services.correct_images takes them."""
        return {name: self.cleaned_data[name] or None for name in self.changed_data if name != "ticked"}


class RunForm(forms.Form):
    """A run of frames in shooting order, and the frames that it is about."""

    which = forms.ChoiceField(label="Frames")
    first = number("From f/")
    last = number("To f/")
    step = forms.ChoiceField(
        label="In",
        choices=[
            ("full", "full stops"),
            ("half", "half stops"),
            ("third", "third stops"),
            (AS_LISTED, "the shot list’s order"),
        ],
    )
    repeats = forms.CharField(
        label="Frames of each", required=False, max_length=4, widget=forms.TextInput({"inputmode": "numeric"})
    )
    repeated = forms.ChoiceField(
        label="Repeats come",
        choices=[(IN_A_ROW, "in a row"), (RUN_AFTER_RUN, "as a second run")],
    )
    focal_length_mm = number("All at (optional), mm")

    def __init__(
        self, data: Mapping[str, Any] | None, *, report: Report, sorting: Sorting, lacking: int, total: int
    ):
        lens = report.lens
        initial = {
            "which": WITHOUT if lacking else ALL,
            "first": f"{lens.widest_f:g}",
            "last": f"{lens.narrowest_f:g}" if lens.narrowest_f else "",
            "repeats": "1",
        }
        super().__init__(data, initial=initial, prefix="run", auto_id="id_%s")
        self.report = report
        self.fields["which"].choices = [
            *([(WITHOUT, f"without an f-number ({lacking})")] if lacking else []),
            *(
                (f"{sweep.focal_length_mm:g}", f"at {sweep.focal_length_mm:g} mm ({len(sweep.frames)})")
                for sweep in sorting.sweeps
            ),
            (ALL, f"all test frames ({total})"),
            (TICKED, "the ticked ones"),
        ]

    def chosen(self, rows: list[FrameRow], sorting: Sorting) -> list[FrameRow]:
        """The rows that the run is to fill, in their order."""
        which = self.cleaned_data["which"]
        if which == TICKED:
            return [row for row in rows if row["ticked"].value()]
        targets = [row for row in rows if row["purpose"].value() == ImagePurpose.TARGET]
        if which == ALL:
            return targets
        if which == WITHOUT:
            return [row for row in targets if not row["f_number"].value()]
        at = {
            frame.pk for one in sorting.sweeps if f"{one.focal_length_mm:g}" == which for frame in one.frames
        }
        return [row for row in targets if row.image.pk in at]

    def shots(self) -> list[Shot]:
        """The run. Raises InvalidInput at the form's own fields."""
        typed = self.cleaned_data
        if typed["step"] != AS_LISTED:
            sent = {name: typed[name] for name in ("first", "last", "step", "repeats", "repeated")}
            return read_run(sent, Tested(self.report.lens, self.report.teleconverter))
        return self._listed(typed["focal_length_mm"] or typed["which"])

    def _listed(self, focal_length_mm: str) -> list[Shot]:
        """The shot list's run, or its part at one focal length."""
        run = run_of_list(plan_of_report(self.report).shot_list)
        try:
            focal = float(focal_length_mm)
        except ValueError:
            return run
        near = [
            shot for shot in run if 1 / SAME_FOCAL_LENGTH <= shot.focal_length_mm / focal <= SAME_FOCAL_LENGTH
        ]
        return near or run


def typed_of(image: SampleImage) -> dict[str, str]:
    """What a row says of a frame before anyone has changed it."""
    return {
        "f_number": "" if image.f_number is None else f"{image.f_number:g}",
        "focal_length_mm": "" if image.focal_length_mm is None else f"{image.focal_length_mm:g}",
        "purpose": image.purpose,
    }
