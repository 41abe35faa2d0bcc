"""Frames that several accounts sent: for people to look at, never acted on by itself."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from registry.accounts.models import Account
from registry.frames.residual import LIKELY_COPY, likeness
from registry.reports.models import SampleImage
from registry.reports.queries import PUBLIC_STATES


@dataclass(frozen=True)
class Alike:
    """Two frames of one lens by two accounts. same_file: byte for byte. likeness: correlation of their grain, 0 to 1;
    frames of one sensor share some, so it is no proof."""

    one: SampleImage
    other: SampleImage
    same_file: bool
    likeness: float


def frames_alike(account: Account) -> list[Alike]:
    """An account's public frames that look like copies of other accounts' on the same lens, the likest first."""
    public = SampleImage.objects.filter(report__state__in=PUBLIC_STATES).select_related(
        "report__author", "report__lens__maker", "owner", "grain"
    )
    mine = list(public.filter(owner=account))
    lenses = {image.report.lens_id for image in mine}
    others = list(public.exclude(owner=account).filter(report__lens__in=lenses))
    found = [pair for image in mine for pair in _copies(image, others)]
    return sorted(found, key=lambda pair: (not pair.same_file, -pair.likeness))


def _copies(image: SampleImage, others: list[SampleImage]) -> Iterator[Alike]:
    for other in others:
        if other.report.lens_id != image.report.lens_id:
            continue
        same = other.content_hash == image.content_hash
        alike = 1.0 if same else likeness(_grain(image), _grain(other))
        if alike > LIKELY_COPY:
            yield Alike(image, other, same, round(alike, 2))


def _grain(image: SampleImage) -> bytes:
    return bytes(image.grain.residual) if hasattr(image, "grain") else b""
