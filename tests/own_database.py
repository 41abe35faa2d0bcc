"""An empty database for one test or bench, on the server that DATABASE_URL names or in a file."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


@contextmanager
def database_of_its_own(folder: str | Path, name: str) -> Iterator[str]:
    """Its address; it is removed at the end."""
    server = os.environ.get("DATABASE_URL", "")
    if not server.startswith("postgres"):
        yield f"sqlite:///{folder}/{name}.sqlite3"
        return
    import psycopg

    with psycopg.connect(server, autocommit=True) as connection:
        connection.execute(f"DROP DATABASE IF EXISTS {name} WITH (FORCE)")
        connection.execute(f"CREATE DATABASE {name}")
        try:
            yield f"{server.rpartition('/')[0]}/{name}"
        finally:
            connection.execute(f"DROP DATABASE {name} WITH (FORCE)")
