"""Passing on a result that somebody else published."""

from __future__ import annotations

from typing import Any

from django import forms

from registry.consensus.cells import band_label
from registry.gear.models import Adapter, Body, Filter, Teleconverter
from registry.pages.forms.evidence import number
from registry.pages.forms.lens_named import LensNamedForm
from registry.reports.models import Basis, FilterPosition, Report
from registry.reports.rules.light import LIGHT_GROUPS

_PLAIN = (
    "citation_title", "citation_author", "citation_url", "citation_archive_url", "tester_name", "filter_position",
    "light_group", "notes",
)  # fmt: skip
_DAYS = ("citation_date", "shot_on")
_DAY = {"type": "date", "class": "narrow"}


class RelayForm(LensNamedForm):
    """Lens, citation and circumstances of a published test; what the source doesn't say stays empty."""

    citation_title = forms.CharField(label="Title of the source", required=False, max_length=300)
    citation_author = forms.CharField(label="Its author", required=False, max_length=120)
    tester_name = forms.CharField(
        label="Who did the test",
        required=False,
        max_length=120,
        help_text="The person or publication whose result it is; the author, if you leave it empty. It counts as "
        "theirs, not as yours.",
    )
    citation_url = forms.CharField(
        label="Its address", required=False, max_length=500, widget=forms.URLInput(attrs={"inputmode": "url"})
    )
    citation_archive_url = forms.CharField(
        label="Address of an archived copy",
        required=False,
        max_length=500,
        widget=forms.URLInput(attrs={"inputmode": "url"}),
    )
    citation_date = forms.CharField(label="Published on", required=False, widget=forms.DateInput(attrs=_DAY))
    shot_on = forms.CharField(label="Day of the test", required=False, widget=forms.DateInput(attrs=_DAY))
    cut_on_nm = number("Cut-on, nm")
    light_group = forms.ChoiceField(
        label="No single cut-on",
        required=False,
        choices=[("", "it has one, or states none"), *((group, band_label(group)) for group in LIGHT_GROUPS)],
    )
    filter_position = forms.ChoiceField(
        label="Where the filter sat", required=False, choices=[("", "not stated"), *FilterPosition.choices]
    )
    filter = forms.ModelChoiceField(
        Filter.objects.none(), required=False, to_field_name="slug", empty_label="not stated"
    )
    body = forms.CharField(
        label="Camera body",
        required=False,
        max_length=160,
        widget=forms.TextInput(attrs={"list": "bodies", "autocomplete": "off"}),
    )
    teleconverter = forms.ModelChoiceField(
        Teleconverter.objects.none(), required=False, to_field_name="slug", empty_label="none"
    )
    adapter = forms.ModelChoiceField(
        Adapter.objects.none(), required=False, to_field_name="slug", empty_label="none"
    )
    notes = forms.CharField(required=False, max_length=10_000, widget=forms.Textarea(attrs={"rows": 3}))

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        for name, kind in (("filter", Filter), ("teleconverter", Teleconverter), ("adapter", Adapter)):
            self.fields[name].queryset = kind.objects.select_related("maker")

    @classmethod
    def of(cls, report: Report, data: Any = None) -> RelayForm:
        """The form filled in with what a relay says; data: what was sent instead."""
        said = {name: getattr(report, name) for name in _PLAIN}
        said |= {name: day.isoformat() if (day := getattr(report, name)) else "" for name in _DAYS}
        gear = {
            name: item.slug if (item := getattr(report, name)) else None
            for name in ("lens", "filter", "teleconverter", "adapter")
        }
        named = {
            "lens_name": str(report.lens),
            "body": _name_of(report.body),
            "cut_on_nm": "" if report.cut_on_nm is None else f"{report.cut_on_nm:g}",
        }
        return cls(data, initial=said | gear | named)

    def details(self) -> dict[str, Any]:
        """What the report services take, but for the claims."""
        typed = self.cleaned_data
        chosen = {
            name: item.slug if (item := typed[name]) else None
            for name in ("filter", "teleconverter", "adapter")
        }
        return (
            {"basis": Basis.RELAYED, "lens": typed["lens"] or typed["lens_name"]}
            | {"body": typed["body"], "cut_on_nm": typed["cut_on_nm"]}
            | {name: typed[name] for name in (*_PLAIN, *_DAYS)}
            | chosen
        )


class WhatIsNewForm(forms.Form):
    """What a relay adds to an earlier one of the same source; asked only where there is one."""

    adds = forms.CharField(
        label="What does yours add?",
        required=False,
        max_length=500,
        help_text="Such as a stop or a focal length that the earlier one lacks. It is shown in the notes.",
        widget=forms.Textarea(attrs={"rows": 2}),
    )

    def ask(self) -> None:
        """Refuse to go on without an answer."""
        self.add_error(
            "adds", "This source was passed on for this lens already. Say what yours adds, or leave it."
        )


def _name_of(body: Body | None) -> str:
    return str(body) if body else ""
