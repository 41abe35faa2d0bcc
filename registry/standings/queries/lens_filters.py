"""The filters of a list of lenses: what the look-up page and the API both ask with."""

from __future__ import annotations

import django_filters
from django.db.models import QuerySet

from registry.consensus.constants import VISIBLE_EV
from registry.consensus.verdicts import CONFIDENCES
from registry.gear.models import Lens
from registry.standings.queries.filter_fields import (
    Filters,
    MountFilter,
    NumberFilter,
    StopFilter,
    WordFilter,
)
from registry.standings.queries.lookup import KINDS, ORDERS, UNTESTED, Criteria, filter_lenses


class LensFilters(Filters):
    """Every filter combines with every other; what they mean is said once, in Criteria."""

    search = django_filters.CharFilter(
        label="Lens",
        max_length=160,
        help_text="A name as people write it, mistakes forgiven; best matches first.",
    )
    cut_on_nm = NumberFilter(
        label="Cut-on, nm", low=400, high=1100, unit="nm",
        help_text="Your effective cut-on in nm; 720 unless stated.",
    )  # fmt: skip
    visible_ev = NumberFilter(
        label="My tolerance, EV", low=0.03, high=0.30, unit="EV",
        help_text="Excess that you would notice, in EV; 0.10 unless stated, in steps of 0.01.",
    )  # fmt: skip
    mount = MountFilter(label="Mount", help_text="Slug of a mount.")
    kind = WordFilter(label="Kind", words=KINDS, help_text="prime or zoom.")
    focal_mm = NumberFilter(
        label="Covers focal length, mm", low=1, high=3000, unit="mm", help_text="A focal length it covers."
    )
    thread = NumberFilter(
        label="Filter thread, mm", low=10, high=200, unit="mm", help_text="Filter thread in mm."
    )
    clean_to = StopFilter(
        label="Clean to at least", low=0.7, high=64, unit="as an f-number",
        help_text="Called clean at this f-number in its worst tested zone.",
    )  # fmt: skip
    confidence = WordFilter(
        label="Confidence", words=CONFIDENCES, help_text="At least this sure: tentative, fair or firm."
    )
    untested = WordFilter(
        label="Lenses nobody has tested", words=UNTESTED, help_text="hide or only those without reports."
    )
    order = WordFilter(
        label="In order of", words=ORDERS,
        help_text="clean-limit (furthest first), confidence, focal-length or thread; untested lenses last.",
    )  # fmt: skip

    class Meta:
        model = Lens
        fields: list[str] = []

    def criteria(self) -> Criteria:
        return Criteria(**{"visible_ev": VISIBLE_EV} | self.asked())

    def filter_queryset(self, queryset: QuerySet[Lens]) -> QuerySet[Lens]:
        return filter_lenses(self.criteria())
