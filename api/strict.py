"""Nothing that was sent is silently ignored: unknown fields and unknown query parameters are refused, with the
nearest known name."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping

from rapidfuzz import fuzz, process
from rest_framework import serializers
from rest_framework.exceptions import ErrorDetail

from api.problems import problems_of
from registry.errors import InvalidInput, Problem


def nearest_name(name: str, known: Iterable[str]) -> str | None:
    found = process.extractOne(str(name), sorted(known), scorer=fuzz.ratio, score_cutoff=60)
    return found[0] if found else None


def did_you_mean(name: str, known: Iterable[str]) -> str:
    near = nearest_name(name, known)
    return f"Did you mean “{near}”?" if near else f"Known are: {', '.join(sorted(known)) or 'none'}."


class RemediedCode(str):
    """The code of a serializer's error that brings its own remedy. Of an error raised deep within a body, its code is
    all that the framework hands on as it is."""

    remedy: str


def refused(says: str, code: str, remedy: str) -> ErrorDetail:
    """A serializer's error with its own remedy."""
    remedied = RemediedCode(code)
    remedied.remedy = remedy
    return ErrorDetail(says, remedied)


class WordField(serializers.ChoiceField):
    """One of a few words; another one is refused with the nearest."""

    def to_internal_value(self, data):
        try:
            return super().to_internal_value(data)
        except serializers.ValidationError as error:
            says = f"“{str(data)[:40]}” is none of {', '.join(map(str, self.choices))}."
            remedy = did_you_mean(str(data), map(str, self.choices))
            raise serializers.ValidationError([refused(says, "not-a-choice", remedy)]) from error


class FiniteFloatField(serializers.FloatField):
    """A number; NaN and infinities, which compare with nothing, are none."""

    def to_internal_value(self, data):
        number = super().to_internal_value(data)
        if not math.isfinite(number):
            self.fail("invalid")
        return number


class StrictSerializer(serializers.Serializer):
    """A serializer that refuses fields it doesn't know, and raises problems rather than its own errors."""

    def is_valid(self, *, raise_exception: bool = False) -> bool:
        valid = super().is_valid()
        if raise_exception and not valid:
            raise InvalidInput(problems_of(self._errors))
        return valid

    def to_internal_value(self, data):
        unknown = self._unknown_fields(data) if isinstance(data, Mapping) else {}
        try:
            value = super().to_internal_value(data)
        except serializers.ValidationError as error:
            if isinstance(error.detail, dict):
                error.detail |= unknown
            raise
        if unknown:
            raise serializers.ValidationError(unknown)
        return value

    def _unknown_fields(self, data: Mapping) -> dict[str, list[ErrorDetail]]:
        known = {name for name, field in self.fields.items() if not field.read_only}
        return {
            str(name): [
                refused(f"“{str(name)[:60]}” is no field here.", "unknown-field", did_you_mean(name, known))
            ]
            for name in data
            if name not in known
        }


def refuse_unknown_parameters(given: Iterable[str], known: Iterable[str]) -> None:
    known = set(known)
    problems = [
        Problem(
            code="unknown-parameter",
            field=f"?{name[:60]}",
            says=f"“{name[:60]}” is no query parameter of this address.",
            remedy=did_you_mean(name, known),
        )
        for name in given
        if name not in known
    ]
    if problems:
        raise InvalidInput(problems)
