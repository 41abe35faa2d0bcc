"""A list of lenses needs one request, and few statements, however long it is."""

import pytest
from django.core.cache import caches
from django.db import connection
from django.test.utils import CaptureQueriesContext

from registry.standings.services import refresh_lens
from tests.factories import LensFactory
from tests.standings.evidence import report_on

pytestmark = pytest.mark.django_db


def statements(client, limit):
    caches["pages"].clear()
    with CaptureQueriesContext(
        connection,
    ) as asked:
        page = client.get("/api/v1/lenses/", {"limit": limit}).json()
    return len(asked), page["items"]


def test_a_row_holds_all_that_a_list_shows_and_a_longer_list_asks_no_more(anyone):
    lenses = [LensFactory(widest_f=2) for _ in range(12)]
    for lens in lenses[:6]:
        report_on(lens)
        refresh_lens(lens)
    statements(anyone, 2)
    few, _ = statements(anyone, 2)
    many, rows = statements(anyone, 12)
    assert many == few <= 6
    told = next(row for row in rows if row["tested"])
    assert told["lens"]["maker"]["name"] and told["lens"]["mounts"] and told["lens"]["filter_thread_mm"]
    assert told["sentence"] and told["ladder"][0]["p_clean"] is not None
    assert (told["confidence"], told["n_independent"]) == ("tentative", 1)
