"""Filters of lists as a form reads them, each refusing what it can't mean with what it may be.

A page shows the refusal, and the API renders its problem: one declaration serves both.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import django_filters
from django import forms
from django.core.exceptions import ValidationError

from registry.errors import CleanstopError, Problem
from registry.gear.queries import did_you_mean, mount_by_slug
from registry.optics.stops import check_f_number


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


class Filters(django_filters.FilterSet):
    """A list's filters: what was asked for, and what could not be read."""

    def asked(self) -> dict[str, Any]:
        """What was asked for, of what could be read."""
        self.form.is_valid()
        return {name: value for name, value in self.form.cleaned_data.items() if value not in (None, "")}

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
