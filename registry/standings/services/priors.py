"""Editions of the priors that standings are computed under."""

from __future__ import annotations

from django.db import transaction
from django.db.models import Max

from registry.consensus.beliefs import DEFAULT_PRIORS, Priors
from registry.consensus.constants import METHOD_VERSION
from registry.consensus.priors import fit_priors
from registry.standings.models import PriorsEdition
from registry.standings.queries.batches import evidence_of_all
from registry.standings.queries.priors import edition_in_force


@transaction.atomic
def ensure_edition() -> PriorsEdition:
    """The edition in force; at the very first, the base priors become edition 1."""
    edition = edition_in_force()
    if edition is None:
        edition, _ = PriorsEdition.objects.get_or_create(
            number=1,
            defaults={
                "method_version": METHOD_VERSION,
                "content": DEFAULT_PRIORS.to_dict(),
                "in_force": True,
            },
        )
    return edition


@transaction.atomic
def renew_priors() -> PriorsEdition:
    """Learn the priors from the whole catalogue's evidence and put them in force as a new edition.

    Gives back the edition in force unchanged when nothing was learned that it doesn't hold already. Standings
    keep the edition they were computed under until they are refreshed (services.refresh_all).
    """
    current = ensure_edition()
    cases = [
        (path.optics(reading.f_number for entry in entries for reading in entry.readings), entries)
        for path, entries in evidence_of_all()
    ]
    learned: Priors = fit_priors(cases)
    if learned.to_dict() == current.content and current.method_version == METHOD_VERSION:
        return current
    PriorsEdition.objects.filter(in_force=True).update(in_force=False)
    latest = PriorsEdition.objects.aggregate(latest=Max("number"))["latest"] or 0
    return PriorsEdition.objects.create(
        number=latest + 1, method_version=METHOD_VERSION, content=learned.to_dict(), in_force=True
    )
