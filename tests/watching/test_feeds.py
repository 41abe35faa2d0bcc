"""Atom feeds, read back by a general-purpose feed parser and checked against RFC 4287."""

from datetime import UTC, datetime
from xml.etree import ElementTree

import feedparser
import pytest

from registry.reports.services import submit_report
from registry.watching.feeds import BEGINNING
from tests.factories import LensFactory, MountFactory
from tests.report_factories import ReportFactory
from tests.standings.evidence import clean_up_to

pytestmark = pytest.mark.django_db
ALL = "/feeds/changes.atom"
ATOM = "{http://www.w3.org/2005/Atom}"


def submitted(lens, limit=8):
    report = ReportFactory(lens=lens, grades=clean_up_to(limit))
    return submit_report(report=report, by=report.author)


@pytest.fixture
def lens():
    return LensFactory(widest_f=2, slug="osterby-marram-feed")


def entries(client, address=ALL):
    return feedparser.parse(client.get(address).content).entries


def test_an_entry_says_what_changed_and_which_reports_caused_it(client, lens, drain):
    report = submitted(lens)
    drain()
    (entry,) = entries(client)
    assert entry.title == f"{lens}: one report so far: clean to f/8 (tentative)"
    assert entry.link.endswith("/lenses/osterby-marram-feed/")
    assert "before that no reports" in entry.summary
    assert f"/reports/{report.public_id}/" in entry.summary and report.author.name in entry.summary


def test_a_feed_has_what_rfc_4287_asks_for(client, lens, drain):
    submitted(lens)
    drain()
    answer = client.get(ALL)
    assert answer["Content-Type"].startswith("application/atom+xml")
    feed = ElementTree.fromstring(answer.content)
    # 4.1.1: exactly one id, title, updated; an author, or one in every entry; a link to itself
    for name in ("id", "title", "updated"):
        assert len(feed.findall(ATOM + name)) == 1
    assert feed.find(f"{ATOM}author/{ATOM}name").text
    assert [link.get("rel") for link in feed.findall(f"{ATOM}link")].count("self") == 1
    (entry,) = feed.findall(f"{ATOM}entry")
    # 4.1.2: the same of an entry, and a link to the page since it has no content element
    for name in ("id", "title", "updated"):
        assert len(entry.findall(ATOM + name)) == 1
    assert entry.find(f"{ATOM}link").get("rel") == "alternate"
    # 3.3: dates of RFC 3339, with their zone
    assert datetime.fromisoformat(entry.find(f"{ATOM}updated").text).tzinfo is not None
    # 4.2.6: an IRI, absolute
    assert entry.find(f"{ATOM}id").text.startswith("tag:")
    parsed = feedparser.parse(answer.content)
    assert not parsed.bozo and parsed.version == "atom10"


def test_ids_stay_and_no_two_entries_share_one(client, lens, drain):
    for limit in (8, 4, 4):
        submitted(lens, limit)
        drain()
    before = [entry.id for entry in entries(client)]
    submitted(LensFactory(widest_f=2))
    drain()
    after = [entry.id for entry in entries(client)]
    assert len(set(after)) == len(after)
    assert after[1:] == before


def test_a_mounts_feed_and_a_lenss_feed_hold_only_theirs(client, lens, drain):
    plover = LensFactory(widest_f=2, mounts=[MountFactory(name="Plover")], slug="osterby-plover-35")
    for tested in (lens, plover):
        submitted(tested)
    drain()
    assert len(entries(client)) == 2
    (entry,) = entries(client, "/feeds/mounts/plover.atom")
    assert entry.link.endswith("/osterby-plover-35/")
    (entry,) = entries(client, "/feeds/lenses/osterby-marram-feed.atom")
    assert entry.link.endswith("/osterby-marram-feed/")


def test_a_reader_that_holds_the_feed_gets_nothing_anew(client, lens, drain):
    submitted(lens)
    drain()
    first = client.get(ALL)
    for held in ({"If-None-Match": first["ETag"]}, {"If-Modified-Since": first["Last-Modified"]}):
        again = client.get(ALL, headers=held)
        assert (again.status_code, again.content, again["ETag"]) == (304, b"", first["ETag"])
    submitted(LensFactory(widest_f=2))
    drain()
    assert client.get(ALL, headers={"If-None-Match": first["ETag"]}).status_code == 200


def test_an_empty_feed_is_a_feed_that_never_changes(client):
    first, second = client.get(ALL), client.get(ALL)
    assert first.content == second.content
    parsed = feedparser.parse(first.content)
    assert not parsed.bozo and parsed.entries == []
    assert parsed.feed.updated_parsed[:3] == BEGINNING.astimezone(UTC).timetuple()[:3]


def test_names_in_a_feed_are_escaped(client, drain):
    lens = LensFactory(name="<b>Marram</b> & Sons 35 mm f/2", widest_f=2)
    submitted(lens)
    drain()
    answer = client.get(ALL).content.decode()
    assert "<b>" not in answer
    assert "Marram" in feedparser.parse(answer).entries[0].title


@pytest.mark.parametrize("address", ["/feeds/mounts/tael.atom", "/feeds/lenses/osterby-maram.atom"])
def test_a_feed_of_something_unknown_names_the_nearest(client, lens, address):
    answer = client.get(address)
    assert answer.status_code == 404
    assert "Did you mean" in answer.content.decode()


def test_a_feed_takes_few_statements_however_long_it_is(client, drain, django_assert_max_num_queries):
    for _ in range(12):
        submitted(LensFactory(widest_f=2))
    drain()
    with django_assert_max_num_queries(9):
        assert len(entries(client)) == 12
