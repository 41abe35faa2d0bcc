"""The one shape of an error that a person can mend: what is wrong, with which value, and what to do.

Pages show it beside its field; the API renders it as an RFC 9457 problem document. No room builds
its own error text from scratch: it raises one of these and lets the edge render it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Problem:
    """One thing that is wrong.

    code: stable kebab-case name of the kind of problem; part of the API's contract.
    field: dotted path of the input it concerns, as the sender named it; empty when it concerns the whole.
    value: the offending value, as it arrived.
    says: what is wrong, in one sentence that quotes the value.
    remedy: what to do about it, in one sentence.
    """

    code: str
    says: str
    remedy: str
    field: str = ""
    value: Any = None

    def __str__(self) -> str:
        return f"{self.says} {self.remedy}".strip()


class CleanstopError(Exception):
    """Carries one or more problems; the edge decides how to render them."""

    def __init__(self, problems: Problem | Iterable[Problem]):
        self.problems: tuple[Problem, ...] = (problems,) if isinstance(problems, Problem) else tuple(problems)
        super().__init__(" ".join(str(problem) for problem in self.problems))

    @property
    def first(self) -> Problem:
        return self.problems[0]


class InvalidInput(CleanstopError):
    """What was sent can't be taken as it is (HTTP 422)."""


class NotAllowed(CleanstopError):
    """The account may not do this (HTTP 403)."""


class NotFound(CleanstopError):
    """There is no such thing (HTTP 404)."""


class Conflict(CleanstopError):
    """The state of the thing does not allow this act, or someone else changed it first (HTTP 409)."""


class TooLarge(CleanstopError):
    """What was sent exceeds a stated limit (HTTP 413)."""


class Unreadable(CleanstopError):
    """A file could not be read as what it claims to be (HTTP 422)."""
