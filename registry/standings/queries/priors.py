from __future__ import annotations

from registry.consensus.beliefs import DEFAULT_PRIORS, Priors
from registry.standings.models import PriorsEdition


def edition_in_force() -> PriorsEdition | None:
    return PriorsEdition.objects.filter(in_force=True).first()


def priors_in_force() -> Priors:
    """The priors to compute with now; the base ones until an edition exists."""
    edition = edition_in_force()
    return Priors.from_dict(edition.content) if edition else DEFAULT_PRIORS
