"""Frames that several accounts sent: for people to look at, never acted on by itself."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from django.db.models import QuerySet

from registry.accounts.models import Account
from registry.frames.residual import LIKELY_COPY, likenesses
from registry.gear.models import Lens
from registry.reports.models import FrameGrain, SampleImage
from registry.reports.queries import PUBLIC_STATES

OTHERS_AT_ONCE = 512  # grains compared in one product: some 20 MB


@dataclass(frozen=True)
class Alike:
    """Two frames of one lens by two accounts. same_file: byte for byte. likeness: correlation of their grain, 0 to 1;
    frames of one sensor share some, so it is no proof."""

    one: SampleImage
    other: SampleImage
    same_file: bool
    likeness: float


def frames_alike(account: Account, lens: Lens | None = None) -> list[Alike]:
    """An account's public frames that look like copies of other accounts' on the same lens, the likest first.

    lens: of one lens only. Each frame is compared with the others' frames, never those with each other.
    """
    mine = _public().filter(owner=account, **({"report__lens": lens} if lens else {}))
    by_lens: dict[int, list[int]] = defaultdict(list)
    for pk, its_lens in mine.values_list("pk", "report__lens"):
        by_lens[its_lens].append(pk)
    scores: dict[tuple[int, int], tuple[bool, float]] = {}
    for its_lens, own in by_lens.items():
        others = _public().filter(report__lens=its_lens).exclude(owner=account)
        scores |= {pair: (False, likeness) for pair, likeness in _alike_in_grain(own, others)}
        scores |= dict.fromkeys(_same_files(own, others), (True, 1.0))
    images = _with_parts([pk for pair in scores for pk in pair])
    found = [Alike(images[one], images[other], *told) for (one, other), told in scores.items()]
    return sorted(found, key=lambda pair: (not pair.same_file, -pair.likeness, pair.one.pk, pair.other.pk))


def _public() -> QuerySet[SampleImage]:
    return SampleImage.objects.filter(report__state__in=PUBLIC_STATES)


def _same_files(own: Sequence[int], others: QuerySet[SampleImage]) -> Iterator[tuple[int, int]]:
    """Pairs of frames with one content hash, found by the hash and not by comparing."""
    mine: dict[str, list[int]] = defaultdict(list)
    for pk, content_hash in SampleImage.objects.filter(pk__in=own).values_list("pk", "content_hash"):
        mine[content_hash].append(pk)
    for other, content_hash in others.filter(content_hash__in=mine).values_list("pk", "content_hash"):
        yield from ((one, other) for one in mine[content_hash])


def _alike_in_grain(
    own: Sequence[int], others: QuerySet[SampleImage]
) -> Iterator[tuple[tuple[int, int], float]]:
    mine = _grains(FrameGrain.objects.filter(image__in=own))
    if not mine:
        return
    waiting = FrameGrain.objects.filter(image__in=others.values("pk")).order_by("image")
    rows = waiting.values_list("image", "residual").iterator(chunk_size=OTHERS_AT_ONCE)
    batch: dict[int, bytes] = {}
    for image, residual in rows:
        batch[image] = bytes(residual)
        if len(batch) == OTHERS_AT_ONCE:
            yield from _likely(mine, batch)
            batch = {}
    if batch:
        yield from _likely(mine, batch)


def _likely(mine: dict[int, bytes], others: dict[int, bytes]) -> Iterator[tuple[tuple[int, int], float]]:
    table = likenesses(list(mine.values()), list(others.values()))
    first, second = list(mine), list(others)
    for row, column in zip(*(table > LIKELY_COPY).nonzero(), strict=True):
        yield (first[row], second[column]), round(float(table[row, column]), 2)


def _grains(rows: QuerySet[FrameGrain]) -> dict[int, bytes]:
    return {image: bytes(residual) for image, residual in rows.values_list("image", "residual")}


def _with_parts(pks: Iterable[int]) -> dict[int, SampleImage]:
    rows = SampleImage.objects.filter(pk__in=set(pks))
    return rows.select_related("report__author", "report__lens__maker", "owner").in_bulk()
