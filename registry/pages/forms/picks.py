"""A list of picks as someone types it: a title, a few words, and rows of lens and reason."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django import forms

from registry.gear.queries import find_lenses
from registry.picks.models import Pick, PickList
from registry.picks.rules import ABOUT_LENGTH, PICKS_PER_LIST, REASON_LENGTH, TITLE_LENGTH, PickGiven

SPARE_ROWS = 3
SURE = 0.9  # a name this like one lens's, and no other's, means it


class ListForm(forms.Form):
    title = forms.CharField(
        label="What the lenses are for",
        max_length=TITLE_LENGTH,
        help_text="Such as “Dunes at 720 nm, light enough to carry”.",
    )
    about = forms.CharField(
        label="A few words before the list",
        required=False,
        max_length=ABOUT_LENGTH,
        widget=forms.Textarea(attrs={"rows": 4}),
        help_text="Plain text; web addresses become links.",
    )
    version = forms.IntegerField(required=False, widget=forms.HiddenInput)


class PickForm(forms.Form):
    lens = forms.CharField(
        label="Lens",
        required=False,
        max_length=160,
        widget=forms.TextInput(attrs={"autocomplete": "off", "list": "lens-names", "spellcheck": "false"}),
    )
    reason = forms.CharField(
        label="Why",
        required=False,
        max_length=REASON_LENGTH,
        widget=forms.Textarea(attrs={"rows": 2}),
    )

    def clean(self) -> dict[str, Any]:
        """The lens that the name means, as `found`; the nearest are named where it is not plain which one."""
        typed = super().clean()
        name, reason = typed.get("lens", "").strip(), typed.get("reason", "").strip()
        if reason and not name:
            self.add_error("lens", "Which lens is meant? Name it, or empty the row.")
        if name and not reason and "reason" not in self.errors:
            self.add_error("reason", "Say why you would take it out yourself.")
        if name:
            typed["found"] = self._lens_named(name)
        return typed

    def _lens_named(self, name: str):
        near = find_lenses(name, limit=4)
        exact = [match.lens for match in near if str(match.lens).casefold() == name.casefold()]
        if exact:
            return exact[0]
        sure = [match.lens for match in near if match.score >= SURE]
        if len(sure) == 1:
            return sure[0]
        named = ", ".join(str(match.lens) for match in near)
        self.add_error(
            "lens", f"Which one is meant: {named}?" if near else f"The catalogue has no lens like “{name}”."
        )
        return None

    @property
    def given(self) -> PickGiven | None:
        lens = self.cleaned_data.get("found")
        return PickGiven(lens, self.cleaned_data["reason"]) if lens else None


class _Rows(forms.BaseFormSet):
    def clean(self) -> None:
        lenses = [form.cleaned_data.get("found") for form in self.forms if form.is_valid()]
        for form, lens in zip((form for form in self.forms if form.is_valid()), lenses, strict=True):
            if lens is not None and lenses.count(lens) > 1:
                form.add_error("lens", f"{lens} is on the list twice: keep one.")


PickRows = forms.formset_factory(
    PickForm, formset=_Rows, extra=SPARE_ROWS, max_num=PICKS_PER_LIST, validate_max=True, absolute_max=60
)


def list_forms(
    data: Mapping | None, *, known: PickList | None = None, picks: list[Pick] = (), lens_name: str = ""
) -> tuple[ListForm, forms.BaseFormSet]:
    """Form and rows: as sent, or as a list stands, or empty with a lens already named."""
    if data is not None:
        return ListForm(data), PickRows(data, prefix="picks")
    initial = {"title": known.title, "about": known.about, "version": known.version} if known else {}
    rows = [{"lens": str(pick.lens), "reason": pick.reason} for pick in picks]
    rows += [{"lens": lens_name}] if lens_name else []
    return ListForm(initial=initial), PickRows(initial=rows, prefix="picks")
