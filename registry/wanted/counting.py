"""Look-ups between two writes: numbers in this process's memory, written together now and then.

A page must not wait for a write, and a number that nobody will add up to the last one may be lost with a process
that dies within the minute. Nothing of who looked is ever held, here or in the database.
"""

from __future__ import annotations

import threading
import time
from collections import Counter

from registry.wanted.services import count_look_ups


class LookUpBuffer:
    """Counts look-ups; whoever looks up when the time is over writes what has gathered."""

    def __init__(self) -> None:
        self._counts: Counter[tuple[str, str]] = Counter()
        self._since: float | None = None
        self._lock = threading.Lock()

    def note(self, slug: str, cut_on_group: str, *, every_seconds: float) -> None:
        """Count one look-up of a lens at a cut-on group."""
        with self._lock:
            self._counts[slug, cut_on_group] += 1
            now = time.monotonic()
            self._since = now if self._since is None else self._since
            due = self._taken() if now - self._since >= every_seconds else None
        if due:
            count_look_ups(due)

    def write(self) -> None:
        """Write what has gathered, now."""
        with self._lock:
            due = self._taken()
        if due:
            count_look_ups(due)

    def _taken(self) -> Counter[tuple[str, str]]:
        taken, self._counts, self._since = self._counts, Counter(), None
        return taken


buffer = LookUpBuffer()
