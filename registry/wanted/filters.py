"""The filters of wanted tests: what the page and the API both ask with."""

from __future__ import annotations

from django.db.models import QuerySet

from registry.consensus.cells import BANDS
from registry.standings.queries.filter_fields import Filters, MountFilter, WordFilter
from registry.wanted.models import WantedTest
from registry.wanted.queries import wanted_tests


class WantedFilters(Filters):
    mount = MountFilter(label="Mount", help_text="Slug of a mount that the lens has.")
    cut_on_group = WordFilter(label="Wavelength", words=BANDS, help_text="Cut-on group, such as 700-780.")
    reserved = WordFilter(
        label="Reserved tests",
        words=("no", "yes"),
        help_text="no leaves reserved ones out, yes only lists them.",
    )

    class Meta:
        model = WantedTest
        fields: list[str] = []

    def filter_queryset(self, queryset: QuerySet[WantedTest]) -> QuerySet[WantedTest]:
        asked = self.asked()
        reserved = {"yes": True, "no": False}.get(asked.get("reserved", ""))
        return wanted_tests(
            mount=asked.get("mount"), cut_on_group=asked.get("cut_on_group"), reserved=reserved
        )
