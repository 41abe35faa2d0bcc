"""What was made once is kept under the name of what it was made from, so that nothing is made twice.

Nothing here expires by being told: another state has another name.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

from django.core.cache import caches

# What no stamp tells of, such as a maker's new name, is seen after this long.
AT_MOST_SECONDS = 60 * 60
_PROGRAM = Path(__file__).parent
_SUFFIXES = {".py", ".html", ".svg", ".css", ".js"}


def kept(made_from: tuple, make: Callable[[], Any]) -> Any:
    """What `make` makes, or made for the same thing before. made_from: everything that it depends on. None is made
    anew each time."""
    name = name_of(*made_from)
    found = find(name)
    if found is None:
        found = make()
        keep(name, found)
    return found


def find(name: str) -> Any:
    return caches["pages"].get(name)


def keep(name: str, made: Any) -> None:
    if made is not None:
        caches["pages"].set(name, made, AT_MOST_SECONDS)


def name_of(*made_from: object) -> str:
    """A short name for a state; another release of the program has other names."""
    return hashlib.sha256(repr((_programs_own_stamp(), *made_from)).encode()).hexdigest()[:32]


@cache
def _programs_own_stamp() -> str:
    """Of every file of the program that this process may have read."""
    digest = hashlib.sha256()
    for folder in (_PROGRAM, _PROGRAM.parent / "api"):
        for path in sorted(folder.rglob("*")):
            if path.suffix in _SUFFIXES:
                digest.update(path.read_bytes())
    return digest.hexdigest()[:16]
