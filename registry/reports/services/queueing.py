"""Putting this room's tasks into the queue by name, since tasks call services and not the other way round."""

from __future__ import annotations

from django.utils.module_loading import import_string


def enqueue(name: str, *arguments: object) -> None:
    """Enqueue a task of registry.reports.tasks; in a transaction it is queued only if that is committed."""
    import_string(f"registry.reports.tasks.{name}").enqueue(*arguments)
