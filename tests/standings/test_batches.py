"""The catalogue's evidence read some lenses at a time is the same evidence."""

import pytest

from registry.standings.queries import batches
from registry.standings.queries.batches import evidence_of_all
from registry.standings.queries.evidence import counting_reports, evidence_by_path
from tests.factories import LensFactory
from tests.standings.evidence import relay_on, report_on

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(("lenses", "reports"), [(25, 1_000), (1, 1_000), (25, 1), (2, 3)])
def test_batches_hold_what_reading_all_at_once_holds(monkeypatch, lenses, reports):
    for place in range(3):
        lens = LensFactory()
        for _ in range(place + 1):
            report_on(lens)
    relay_on(lens)
    monkeypatch.setattr(batches, "LENSES_AT_ONCE", lenses)
    monkeypatch.setattr(batches, "REPORTS_AT_ONCE", reports)
    found = list(evidence_of_all())
    assert dict(found) == evidence_by_path(counting_reports())
    assert [path.lens.slug for path, _ in found] == sorted(path.lens.slug for path, _ in found)
