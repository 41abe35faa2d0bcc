"""Requests at the same moment, each on a connection of its own, as separate workers would send them."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from threading import Barrier
from typing import Any

import pytest
from django.db import connection, connections


@contextmanager
def separate_connections(tmp_path) -> Iterator[None]:
    """Let threads connect for themselves. SQLite's test database lives in this thread's memory, so they get a
    copy of it in a file, under the very options that production uses."""
    if connection.vendor != "sqlite":
        yield
        return
    file = tmp_path / "registry.sqlite3"
    with connection.cursor() as cursor:
        cursor.execute("VACUUM INTO %s", [str(file)])
    with pytest.MonkeyPatch.context() as patch:
        patch.setitem(connections.settings["default"], "NAME", str(file))
        yield


def at_once(acts: list[Callable[[], Any]]) -> list[Any]:
    """Start all acts at one barrier, each in a thread with its own connection, and give their results."""
    barrier = Barrier(len(acts))

    def run(act: Callable[[], Any]) -> Any:
        barrier.wait()
        try:
            return act()
        finally:
            connections.close_all()

    with ThreadPoolExecutor(len(acts)) as pool:
        return list(pool.map(run, acts))
