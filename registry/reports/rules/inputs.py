"""Reading what people and programs send, field by field, so that every problem is reported at once."""

from __future__ import annotations

import difflib
import math
from collections.abc import Collection, Mapping
from datetime import date, timedelta
from typing import Any

from django.core.exceptions import ValidationError
from django.core.validators import URLValidator
from django.utils import timezone
from django.utils.dateparse import parse_date

from registry.errors import CleanstopError, InvalidInput, Problem

_MISSING = (None, "")


class Input:
    """One mapping as it arrived, at a dotted path; nested inputs share the list of problems."""

    def __init__(self, content: Any, path: str = "", problems: list[Problem] | None = None):
        self.path = path
        self.problems: list[Problem] = [] if problems is None else problems
        named = type(content) is dict or isinstance(
            content, Mapping
        )  # the second asks a tenth of a reading's time
        self.content: Mapping[str, Any] = content if named else {}
        if not named:
            self.refuse(
                "not-an-object",
                "",
                content,
                f"“{content}” is not an object with named fields.",
                "Send named fields in curly brackets.",
            )

    def __contains__(self, name: str) -> bool:
        return name in self.content

    def field(self, name: str) -> str:
        return f"{self.path}.{name}" if self.path and name else self.path or name

    def refuse(self, code: str, name: str, value: Any, says: str, remedy: str) -> None:
        self.problems.append(
            Problem(code=code, field=self.field(name), value=plain(value), says=says, remedy=remedy)
        )

    def absorb(self, error: CleanstopError, name: str) -> None:
        """Take over another rule's problems as problems of one field of this input."""
        for problem in error.problems:
            self.refuse(problem.code, name, problem.value, problem.says, problem.remedy)

    def raise_problems(self) -> None:
        if self.problems:
            raise InvalidInput(self.problems)

    def known(self, names: Collection[str]) -> None:
        """Refuse every field that is not among names, with the nearest known one."""
        for name in self.content:
            if name not in names:
                near = difflib.get_close_matches(str(name), names, n=1)
                remedy = f"Did you mean “{near[0]}”?" if near else f"Known here: {', '.join(sorted(names))}."
                self.refuse(
                    "unknown-field", str(name), self.content[name], f"There is no field “{name}”.", remedy
                )

    def missing(self, name: str, what: str, remedy: str) -> None:
        self.refuse("missing", name, None, f"{what} is missing.", remedy)

    def number(self, name: str, *, low: float, high: float, what: str, unit: str = "") -> float | None:
        """A finite number within [low, high], or None when the field is empty or refused."""
        value = self.content.get(name)
        if value in _MISSING:
            return None
        try:
            number = math.nan if isinstance(value, bool) else float(value)
        except (TypeError, ValueError, OverflowError):
            number = math.nan
        if low <= number <= high:
            return number
        unit = f" {unit}" if unit else ""
        self.refuse(
            "number-out-of-range",
            name,
            value,
            f"{what} “{value}” is no number from {low:g} to {high:g}{unit}.",
            f"Give {what[:1].lower()}{what[1:]} as a plain number{' in' + unit if unit else ''}.",
        )
        return None

    def whole(self, name: str, *, low: int, high: int, what: str) -> int | None:
        number = self.number(name, low=low, high=high, what=what)
        if number is None or number == int(number):
            return None if number is None else int(number)
        self.refuse(
            "not-a-whole-number",
            name,
            number,
            f"{what} “{number:g}” is not a whole number.",
            f"Give a whole number from {low} to {high}.",
        )
        return None

    def text(self, name: str, *, longest: int, what: str) -> str:
        value = self.content.get(name)
        if value in _MISSING:
            return ""
        if not isinstance(value, str):
            self.refuse("not-text", name, value, f"{what} “{value}” is not text.", "Send it as text.")
            return ""
        plain_text = value.isprintable()
        cleaned = (value if plain_text else "".join(filter(_may_stand, value))).strip()
        if len(cleaned) > longest:
            self.refuse(
                "text-too-long",
                name,
                f"{cleaned[:40]}…",
                f"{what} has {len(cleaned)} characters.",
                f"Shorten it to {longest} characters.",
            )
            return ""
        return cleaned

    def choice(self, name: str, choices: Collection[str], *, what: str) -> str:
        value = self.content.get(name)
        if value in _MISSING:
            return ""
        if isinstance(value, str) and value in choices:
            return str(value)
        choices = [str(choice) for choice in choices]
        near = difflib.get_close_matches(str(value), choices, n=1)
        meant = f" Did you mean “{near[0]}”?" if near else ""
        self.refuse(
            "not-a-choice",
            name,
            value,
            f"{what} “{value}” is none of the known ones.",
            f"Use one of: {', '.join(choices)}.{meant}",
        )
        return ""

    def day(self, name: str, *, what: str) -> date | None:
        """A calendar day that is not in the future anywhere on earth."""
        value = self.content.get(name)
        if value in _MISSING:
            return None
        try:
            day = value if isinstance(value, date) else parse_date(str(value))
        except ValueError:
            day = None
        if day is None:
            self.refuse(
                "not-a-date",
                name,
                value,
                f"{what} “{value}” is not a date.",
                "Write it as year-month-day, such as 2024-05-31.",
            )
        elif day > timezone.now().date() + timedelta(days=1):
            self.refuse(
                "date-in-the-future",
                name,
                value,
                f"{what} “{day}” is in the future.",
                "Give the day on which it happened.",
            )
        elif day.year < 1840:
            self.refuse(
                "date-too-early", name, value, f"{what} “{day}” is before photography.", "Check the year."
            )
        else:
            return day
        return None

    def address(self, name: str, *, what: str) -> str:
        value = self.text(name, longest=500, what=what)
        try:
            if value:
                URLValidator(schemes=["http", "https"])(value)
        except ValidationError:
            self.refuse(
                "not-an-address",
                name,
                value,
                f"{what} “{value}” is not a web address.",
                "Copy the whole address from the browser, beginning with https://.",
            )
            return ""
        return value

    def each(self, name: str, *, most: int = 500) -> list[Input]:
        """The inputs of a list field, each at its own path; a wrong shape is a problem."""
        value = self.content.get(name)
        if value in (*_MISSING, []):
            return []
        if not isinstance(value, list | tuple):
            self.refuse(
                "not-a-list", name, value, f"“{name}” is not a list.", "Send a list in square brackets."
            )
            return []
        if len(value) > most:
            self.refuse(
                "too-many", name, len(value), f"“{name}” has {len(value)} entries.", f"Send at most {most}."
            )
            return []
        path = self.field(name)
        return [Input(entry, f"{path}[{index}]", self.problems) for index, entry in enumerate(value)]


def _may_stand(sign: str) -> bool:
    return sign.isprintable() or sign in "\n\t"


def plain(value: Any) -> Any:
    """A value as a JSON document can carry it, for quoting in a problem."""
    if isinstance(value, float) and not math.isfinite(value):
        return str(value)
    if value is None or isinstance(value, str | int | float | bool):
        return value
    return str(value)[:200]
