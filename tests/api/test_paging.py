"""Lists in pages, in the order asked for: each row once, whatever is added or goes meanwhile."""

import pytest
from django.db.models import Q

from api.paging import beyond
from tests.api.conftest import with_token
from tests.factories import AccountFactory, BodyFactory, LensFactory
from tests.report_factories import ReportFactory

pytestmark = pytest.mark.django_db


def followed(client, address, query, meanwhile=lambda: None):
    """Every item of a list, page by page; something else happens after each page."""
    answer = client.get(address, query).json()
    items = answer["items"]
    while answer["next"]:
        meanwhile()
        answer = client.get(answer["next"]).json()
        items += answer["items"]
    return items


def test_rows_that_are_equal_in_what_the_list_goes_by_are_shown_once_while_others_come(anyone):
    """Seven lenses of one thread; before each page another one of that thread comes first by address."""
    for count in range(7):
        LensFactory(slug=f"marram-{count}", filter_thread_mm=67)
    names = iter(f"avocet-{count}" for count in range(20))
    seen = followed(
        anyone,
        "/api/v1/lenses/",
        {"order": "thread", "limit": 2},
        lambda: LensFactory(slug=next(names), filter_thread_mm=67),
    )
    slugs = [row["lens"]["slug"] for row in seen]
    assert slugs == [f"marram-{count}" for count in range(7)]


def test_rows_that_go_meanwhile_take_no_other_row_with_them(anyone):
    for count in range(6):
        BodyFactory(slug=f"causey-{count}")
    first = anyone.get("/api/v1/bodies/", {"limit": 3}).json()
    BodyFactory._meta.model.objects.filter(slug__in=("causey-0", "causey-2")).delete()
    rest = anyone.get(first["next"]).json()
    assert [row["slug"] for row in rest["items"]] == ["causey-3", "causey-4", "causey-5"]


def test_the_way_back_ends_at_the_first_row(anyone):
    for count in range(5):
        BodyFactory(slug=f"causey-{count}")
    page = anyone.get("/api/v1/bodies/", {"limit": 2}).json()
    pages = [page]
    while page["next"]:
        page = anyone.get(page["next"]).json()
        pages.append(page)
    for earlier in reversed(pages[:-1]):
        page = anyone.get(page["previous"]).json()
        assert page["items"] == earlier["items"]
    assert page["previous"] is None


def test_a_list_can_be_had_the_other_way_round(anyone):
    reports = [ReportFactory(state="submitted", submitted_at="2026-01-02T10:00Z") for _ in range(5)]
    oldest = followed(anyone, "/api/v1/reports/", {"order": "oldest", "limit": 2})
    assert [row["id"] for row in oldest] == [report.public_id for report in reports]
    newest = followed(anyone, "/api/v1/reports/", {"limit": 2})
    assert [row["id"] for row in newest] == [report.public_id for report in reversed(reports)]


def test_an_unknown_order_is_refused_with_the_nearest(anyone):
    for address, order, near in (("reports", "newst", "newest"), ("lenses", "clean-limt", "clean-limit")):
        refused = anyone.get(f"/api/v1/{address}/", {"order": order})
        assert refused.status_code == 422
        (entry,) = refused.json()["errors"]
        assert (entry["parameter"], entry["type"]) == ("order", "/problems/not-a-choice")
        assert near in entry["remedy"]


def test_every_order_of_every_list_is_described_and_ends_with_something_unique(anyone):
    document = anyone.get("/api/v1/openapi.json").json()
    client = with_token(AccountFactory(moderator=True), "read", "submit", "moderate")
    tried = 0
    for path, methods in document["paths"].items():
        for parameter in methods.get("get", {}).get("parameters", []):
            if parameter["name"] == "order" and "{" not in path:
                for order in parameter["schema"].get("enum", ()):
                    tried += 1
                    assert client.get(path, {"order": order}).status_code == 200, (path, order)
    assert tried > 20


def test_a_cursor_of_one_order_is_refused_in_another_that_it_does_not_fit(anyone):
    for count in range(3):
        LensFactory(slug=f"marram-{count}")
    cursor = anyone.get("/api/v1/lenses/", {"limit": 1, "order": "thread"}).json()["next"]
    refused = anyone.get(cursor.replace("order=thread&", "").replace("&order=thread", ""))
    assert refused.json()["type"] == "/problems/cursor-unknown"


def test_the_first_comparison_is_said_by_itself_so_that_an_index_serves():
    assert beyond(("-stake", "id"), (0.5, 7)) == Q(stake__lte=0.5) & (Q(stake__lt=0.5) | Q(id__gt=7))
