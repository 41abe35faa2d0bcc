"""The filters of a list of lenses as a form reads them: what the look-up page and the API both ask with."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import django_filters
from django import forms
from django.core.exceptions import ValidationError
from django.db.models import QuerySet

from registry.consensus.constants import VISIBLE_EV
from registry.consensus.verdicts import CONFIDENCES
from registry.errors import CleanstopError, Problem
from registry.gear.models import Lens
from registry.gear.queries import did_you_mean, mount_by_slug
from registry.optics.stops import check_f_number
from registry.standings.queries.lookup import KINDS, ORDERS, UNTESTED, Criteria, filter_lenses


class Refused(ValidationError):
    """A form's error that keeps its problem, so that a page can say it and the API can render it."""

    def __init__(self, problem: Problem):
        super().__init__(str(problem), code=problem.code)
        self.problem = problem


class RangedField(forms.FloatField):
    """A finite number within what can occur."""

    def __init__(self, *, low: float, high: float, unit: str, **options):
        super().__init__(**options)
        self.low, self.high, self.unit = low, high, unit

    def clean(self, value: Any) -> float | None:
        try:
            number = super().clean(value)
        except ValidationError:
            number = float("nan")
        if number is None or self.low <= number <= self.high:
            return number
        raise Refused(
            Problem(
                code="number-out-of-range",
                value=value,
                says=f"“{str(value)[:40]}” is no number from {self.low:g} to {self.high:g} {self.unit}.",
                remedy="Correct it, or leave it out.",
            )
        )


class StopField(RangedField):
    """An f-number as marked on lenses."""

    def clean(self, value: Any) -> float | None:
        number = super().clean(value)
        try:
            return None if number is None else check_f_number(number, "clean_to")
        except CleanstopError as error:
            raise Refused(error.first) from error


class WordField(forms.CharField):
    """One of a few words."""

    def __init__(self, *, words: tuple[str, ...], **options):
        super().__init__(**options)
        self.words = words

    def clean(self, value: Any) -> str | None:
        word = super().clean(value) or None
        if word is None or word in self.words:
            return word
        raise Refused(
            Problem(
                code="not-a-choice",
                value=word,
                says=f"“{word[:40]}” is none of {', '.join(self.words)}.",
                remedy=did_you_mean(word, list(self.words)) or "Use one of these words, or leave it out.",
            )
        )


class MountField(forms.CharField):
    """A mount's slug."""

    def clean(self, value: Any) -> str | None:
        slug = super().clean(value)
        try:
            return mount_by_slug(slug).slug if slug else None
        except CleanstopError as error:
            raise Refused(error.first) from error


class NumberFilter(django_filters.NumberFilter):
    field_class = RangedField

    def get_max_validator(self):
        """The field itself knows its range."""
        return


class StopFilter(NumberFilter):
    field_class = StopField


class WordFilter(django_filters.CharFilter):
    field_class = WordField


class MountFilter(django_filters.CharFilter):
    field_class = MountField


class LensFilters(django_filters.FilterSet):
    """Every filter combines with every other; what they mean is said once, in Criteria."""

    search = django_filters.CharFilter(
        label="Lens",
        max_length=160,
        help_text="A name as people write it, mistakes forgiven; best matches first.",
    )
    cut_on_nm = NumberFilter(
        label="Cut-on, nm", low=400, high=1100, unit="nm",
        help_text="Your effective cut-on in nm; 720 unless stated.",
    )  # fmt: skip
    visible_ev = NumberFilter(
        label="My tolerance, EV", low=0.03, high=0.30, unit="EV",
        help_text="Excess that you would notice, in EV; 0.10 unless stated, in steps of 0.01.",
    )  # fmt: skip
    mount = MountFilter(label="Mount", help_text="Slug of a mount.")
    kind = WordFilter(label="Kind", words=KINDS, help_text="prime or zoom.")
    focal_mm = NumberFilter(
        label="Covers focal length, mm", low=1, high=3000, unit="mm", help_text="A focal length it covers."
    )
    thread = NumberFilter(
        label="Filter thread, mm", low=10, high=200, unit="mm", help_text="Filter thread in mm."
    )
    clean_to = StopFilter(
        label="Clean to at least", low=0.7, high=64, unit="as an f-number",
        help_text="Called clean at this f-number in its worst tested zone.",
    )  # fmt: skip
    confidence = WordFilter(
        label="Confidence", words=CONFIDENCES, help_text="At least this sure: tentative, fair or firm."
    )
    untested = WordFilter(
        label="Lenses nobody has tested", words=UNTESTED, help_text="hide or only those without reports."
    )
    order = WordFilter(
        label="In order of", words=ORDERS,
        help_text="clean-limit (furthest first), confidence, focal-length or thread; untested lenses last.",
    )  # fmt: skip

    class Meta:
        model = Lens
        fields: list[str] = []

    def asked(self) -> dict[str, Any]:
        """What was asked for, of what could be read."""
        self.form.is_valid()
        return {name: value for name, value in self.form.cleaned_data.items() if value not in (None, "")}

    def criteria(self) -> Criteria:
        return Criteria(**{"visible_ev": VISIBLE_EV} | self.asked())

    def problems(self) -> list[Problem]:
        """What could not be read, each with its field."""
        return [
            self._problem(name, refused)
            for name, errors in self.form.errors.as_data().items()
            for refused in errors
        ]

    def _problem(self, name: str, refused: ValidationError) -> Problem:
        value = self.data.get(name)
        if isinstance(refused, Refused):
            return replace(refused.problem, field=name, value=value)
        too_long = refused.code == "max_length"
        return Problem(
            code="text-too-long" if too_long else "not-a-plain-text",
            field=name,
            value=value,
            says=" ".join(refused.messages),
            remedy="Shorten it." if too_long else "Send plain text.",
        )

    def filter_queryset(self, queryset: QuerySet[Lens]) -> QuerySet[Lens]:
        return filter_lenses(self.criteria())
