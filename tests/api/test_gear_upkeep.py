"""The catalogue's upkeep over the API: proposals, doubles, merges, and one thing's history."""

import pytest

from registry.gear.models import GearStatus, Lens, Merge
from registry.gear.services import add_fact_source
from tests.api.conftest import with_token
from tests.api.parallel import at_once, separate_connections
from tests.factories import AccountFactory, BodyFactory, LensFactory
from tests.report_factories import ReportFactory

pytestmark = pytest.mark.django_db
PROPOSALS, DOUBLES, MERGES = "/api/v1/gear-proposals/", "/api/v1/gear-doubles/", "/api/v1/gear-merges/"
HISTORY = "/api/v1/gear-history/"


@pytest.fixture
def kept():
    return LensFactory(name="Marram 35 mm f/1.4", slug="osterby-marram-35")


@pytest.fixture
def double():
    return LensFactory(name="Maram 35/1.4", slug="osterby-maram-35", status=GearStatus.PROPOSED, mass_g=410)


@pytest.fixture
def merge(as_moderator, kept, double):
    sent = {"kind": "lens", "double": double.slug, "into": kept.slug, "reason": "One r was lost."}
    return as_moderator.post(MERGES, sent)


class TestProposals:
    def test_anyone_reads_what_is_proposed_with_what_it_states_and_where_that_is_from(self, anyone, double):
        add_fact_source(item=double, fact="mass_g", value=410, source="Kitchen scales")
        BodyFactory(status=GearStatus.PROPOSED)
        ReportFactory(lens=double)
        rows = anyone.get(PROPOSALS).json()["items"]
        assert [row["kind"] for row in rows] == ["lens", "body"]
        shown = anyone.get(f"{PROPOSALS}lens/{double.slug}/").json()
        assert shown["facts"]["mass_g"] == 410
        assert (shown["facts"]["maker"], shown["facts"]["mounts"]) == ("Osterby", ["Teal"])
        assert (shown["sources"][0]["source"], shown["reports"]) == ("Kitchen scales", 1)

    def test_a_moderator_takes_it_into_the_catalogue_and_it_waits_no_more(self, as_moderator, anyone, double):
        accepted = as_moderator.post(f"{PROPOSALS}lens/{double.slug}/accept/")
        assert (accepted.status_code, accepted.json()["status"]) == (200, "listed")
        assert anyone.get(PROPOSALS).json()["items"] == []
        assert anyone.get(f"{PROPOSALS}lens/{double.slug}/").json()["type"] == "/problems/no-such-proposal"
        assert anyone.get(f"/api/v1/lenses/{double.slug}/").json()["lens"]["status"] == "listed"

    def test_a_moderator_refuses_it_with_a_reason(self, as_moderator, anyone, double):
        address = f"{PROPOSALS}lens/{double.slug}/refuse/"
        assert as_moderator.post(address, {}).status_code == 422
        assert as_moderator.post(address, {"reason": "No such lens."}).status_code == 204
        assert anyone.get(f"/api/v1/lenses/{double.slug}/").status_code == 404
        (event,) = anyone.get("/api/v1/events/", {"name": "gear.refused"}).json()["items"]
        assert event["data"]["reason"] == "No such lens."

    def test_what_a_report_names_is_not_refused(self, as_moderator, double):
        ReportFactory(lens=double)
        answer = as_moderator.post(f"{PROPOSALS}lens/{double.slug}/refuse/", {"reason": "No such lens."})
        assert (answer.status_code, answer.json()["type"]) == (409, "/problems/already-used")

    def test_who_saw_other_facts_is_refused(self, as_moderator, double):
        address = f"{PROPOSALS}lens/{double.slug}/"
        seen = as_moderator.get(address)["ETag"]
        double.mass_g = 420
        double.save()
        assert as_moderator.post(f"{address}accept/", headers={"If-Match": seen}).status_code == 412


class TestDoubles:
    def test_pairs_are_told_with_their_likeness_and_what_they_share(self, as_moderator, kept, double):
        ReportFactory(lens=kept)
        (pair,) = as_moderator.get(DOUBLES).json()["items"]
        assert (pair["first"]["slug"], pair["second"]["slug"]) == (kept.slug, double.slug)
        assert 0.82 <= pair["likeness"] <= 1
        assert (pair["first"]["reports"], pair["second"]["reports"]) == (1, 0)
        assert "focal_min_mm" in pair["shared"]
        assert as_moderator.get(DOUBLES, {"kind": "body"}).json()["items"] == []
        assert as_moderator.get(DOUBLES, {"kind": "lense"}).status_code == 422

    def test_told_apart_nobody_is_asked_again(self, as_moderator, kept, double):
        sent = {"kind": "lens", "first": kept.slug, "second": double.slug}
        assert as_moderator.post(f"{DOUBLES}apart/", sent).status_code == 204
        assert as_moderator.get(DOUBLES).json()["items"] == []
        one = as_moderator.post(f"{DOUBLES}apart/", sent | {"second": kept.slug})
        assert one.json()["type"] == "/problems/not-two-of-a-kind"


class TestMerges:
    def test_the_former_slug_leads_on_until_the_merge_is_taken_back(
        self, anyone, as_moderator, merge, double
    ):
        assert (merge.status_code, merge.json()["former_name"]) == (201, "Osterby Maram 35/1.4")
        gone = anyone.get(f"/api/v1/lenses/{double.slug}/")
        assert (gone.status_code, gone["Location"]) == (308, f"/api/v1/lenses/{merge.json()['kept_slug']}/")
        back = as_moderator.post(merge["Location"] + "take-back/")
        assert back.status_code == 200
        assert back.json()["taken_back_by"]
        assert anyone.get(f"/api/v1/lenses/{double.slug}/").status_code == 200
        again = as_moderator.post(merge["Location"] + "take-back/")
        assert (again.status_code, again.json()["type"]) == (409, "/problems/already-taken-back")

    def test_anyone_reads_what_was_merged(self, anyone, merge):
        (row,) = anyone.get(MERGES).json()["items"]
        assert row == merge.json() == anyone.get(merge["Location"]).json()
        for query, count in (({"slug": "osterby-maram-35"}, 1), ({"slug": "x"}, 0), ({"kind": "body"}, 0)):
            assert len(anyone.get(MERGES, query).json()["items"]) == count

    def test_the_same_key_merges_once(self, as_moderator, kept, double):
        sent = {"kind": "lens", "double": double.slug, "into": kept.slug}
        first, again = [as_moderator.post(MERGES, sent, headers={"Idempotency-Key": "one"}) for _ in range(2)]
        assert (first.status_code, first.json()) == (201, again.json())
        assert Merge.objects.count() == 1

    @pytest.mark.parametrize(
        ("wrong", "status", "pointer"),
        [
            ({"into": "osterby-maram-35"}, 422, "#/double"),
            ({"into": "nowhere"}, 404, "#/into"),
            ({"kind": "tripod"}, 422, "#/kind"),
        ],
    )
    def test_what_is_wrong_is_named(self, as_moderator, kept, double, wrong, status, pointer):
        sent = {"kind": "lens", "double": double.slug, "into": kept.slug} | wrong
        answer = as_moderator.post(MERGES, sent)
        assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (status, pointer)

    def test_nobody_merges_a_lens_that_they_earn_by(self, as_moderator, kept, double):
        as_moderator.post("/api/v1/me/interests/", {"lens": kept.slug})
        sent = {"kind": "lens", "double": double.slug, "into": kept.slug}
        assert as_moderator.post(MERGES, sent).json()["type"] == "/problems/declared-interest"


def test_a_history_tells_what_happened_and_where_facts_are_from(anyone, merge, kept):
    add_fact_source(
        item=kept, fact="mass_g", value=410, source="Kitchen scales", by=AccountFactory(name="Knot")
    )
    told = anyone.get(f"{HISTORY}lens/{kept.slug}/").json()
    assert [step["name"] for step in told["steps"]] == ["gear.source-added", "gear.merged"]
    assert told["former_slugs"] == ["osterby-maram-35"]
    assert (told["sources"][0]["added_by"], told["kind"]) == ("Knot", "lens")
    assert anyone.get(f"{HISTORY}lens/nowhere/").status_code == 404
    assert anyone.get(f"{HISTORY}tripod/{kept.slug}/").json()["type"] == "/problems/unknown-kind"


@pytest.mark.django_db(transaction=True)
def test_two_merges_of_one_pair_at_once_make_one(tmp_path):
    """Each moderator keeps the row that the other one merges away."""
    pairs = [(LensFactory(), LensFactory()) for _ in range(6)]
    clients = [with_token(AccountFactory(moderator=True), "read", "moderate") for _ in range(2)]
    with separate_connections(tmp_path):
        for one, other in pairs:
            answers = at_once(
                [
                    lambda c=c, d=d, i=i: (
                        c.post(MERGES, {"kind": "lens", "double": d.slug, "into": i.slug}).status_code
                    )
                    for c, (d, i) in zip(clients, ((one, other), (other, one)), strict=True)
                ]
            )
            assert sorted(answers) in ([201, 404], [201, 409])
        left, merged = at_once([lambda: (Lens.objects.count(), Merge.objects.count())])[0]
    assert (left, merged) == (6, 6)
