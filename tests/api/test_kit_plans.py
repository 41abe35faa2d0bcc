"""Kit plans and one's own bag through the API."""

import json

import pytest
from openapi_spec_validator import validate

from registry.bags.contents import BagBody, Carried
from registry.bags.services import change_bag
from registry.kits.bag import FrontFilter, Prices, Ring
from tests.factories import AccountFactory, LensFactory

pytestmark = pytest.mark.django_db
PLANS, BAGS = "/api/v1/kit-plans/", "/api/v1/bags/"


def told(name, thread, focal=50.0, **more):
    return {"name": name, "filter_thread_mm": thread, "focal_min_mm": focal} | more


ASKED = {"lenses": [told("a", 52.0), told("b", 67.0), told("c", 77.0)], "cut_ons_nm": [720]}


def plan(client, **changes):
    return client.post(PLANS, ASKED | changes)


def test_anyone_may_ask_for_a_plan_and_gets_the_trades_plain_answer_where_it_is_best(anyone):
    # Filters for the largest thread, rings for the rest: common practice, no source.
    answer = plan(anyone)
    assert answer.status_code == 200, answer.content
    kit = answer.json()["kit"]
    assert [one["filter"]["diameter_mm"] for one in kit["filters"]] == [77]
    assert (kit["filters_to_buy"], kit["rings_to_buy"], kit["cost"]) == (1, 2, None)
    assert "plain-answer-is-best" in [one["code"] for one in answer.json()["why"]]


def test_a_lens_of_the_catalogue_is_named_by_its_slug(anyone):
    lens = LensFactory(filter_thread_mm=62)
    kit = plan(anyone, lenses=[{"lens": lens.slug}, told("c", 77.0)]).json()["kit"]
    assert [(use["lens"], use["thread_mm"]) for use in kit["uses"]] == [(str(lens), 62), ("c", 77)]


def test_money_travels_as_decimal_text(anyone):
    prices = {
        "filters": [{"cut_on_nm": 720, "diameter_mm": 77, "price": "70.10"}],
        "ring": "9.05",
        "currency": "EUR",
    }
    answer = plan(anyone, prices=prices).json()
    assert (answer["kit"]["cost"], answer["currency"]) == ("88.20", "EUR")


def test_owned_pieces_wishes_and_bodies_count(anyone):
    owned = {
        "filters": [{"cut_on_nm": 720, "diameter_mm": 77}],
        "rings": [{"lens_side_mm": 52, "filter_side_mm": 77}],
    }
    kit = plan(anyone, **owned).json()["kit"]
    assert (kit["filters_to_buy"], kit["rings_to_buy"]) == (0, 1)
    assert plan(anyone, most_rings=0).json()["kit"]["filters_to_buy"] == 3
    served = plan(anyone, bodies=[{"conversion_nm": 720}]).json()
    assert served["cut_ons"] == [{"cut_on_nm": 720, "served_by": "body"}]
    assert served["kit"]["uses"] == []


def test_a_lens_may_be_used_at_a_cut_on_of_its_own(anyone):
    answer = plan(anyone, lenses=[told("a", 52.0, cut_ons_nm=[665]), told("c", 77.0)]).json()
    assert [(use["lens"], use["cut_on_nm"]) for use in answer["kit"]["uses"]] == [("a", 665), ("c", 720)]


@pytest.mark.parametrize(
    "pointer, changes",
    [
        ("#/lenses/0/filter_thread_mm", {"lenses": [told("a", 5.0)]}),
        ("#/lenses/0/focal_min_mm", {"lenses": [{"name": "a"}]}),
        ("#/lenses/1/lens", {"lenses": [told("a", 52.0), {"lens": "no-such-lens"}]}),
        ("#/lenses/0/name", {"lenses": [{"lens": "x", "name": "a"}]}),
        ("#/lenses", {"lenses": []}),
        ("#/cut_ons_nm/0", {"cut_ons_nm": [72]}),
        ("#/bodies/0/conversion_nm", {"bodies": [{"conversion_nm": 72}]}),
        ("#/filters/0/cut_on_nm", {"filters": [{"cut_on_nm": 72, "diameter_mm": 77}]}),
        ("#/rings/0", {"rings": [{"lens_side_mm": 77, "filter_side_mm": 77}]}),
        ("#/narrower_by_mm", {"narrower_by_mm": -1}),
        ("#/ring_mm", {"ring_mm": 0}),
        ("#/most_rings", {"most_rings": 3}),
        ("#/max_alternatives", {"max_alternatives": 99}),
        (
            "#/prices/filters/1",
            {"prices": {"filters": [{"cut_on_nm": 720, "diameter_mm": 77, "price": "1"}] * 2}},
        ),
        (
            "#/prices/filters/0/price",
            {"prices": {"filters": [{"cut_on_nm": 720, "diameter_mm": 77, "price": "-1"}]}},
        ),
        ("#/lences", {"lences": []}),
    ],
)
def test_what_is_wrong_is_pointed_at_with_a_remedy(anyone, pointer, changes):
    answer = plan(anyone, **changes)
    assert answer.status_code in (404, 422), answer.content
    assert answer["Content-Type"].startswith("application/problem+json")
    entry = next(entry for entry in answer.json()["errors"] if entry["pointer"].startswith(pointer))
    assert entry["remedy"]


def test_a_body_that_is_no_json_is_refused(anyone):
    answer = anyone.generic("POST", PLANS, b"{", content_type="application/json")
    assert answer.status_code == 400


def test_a_bag_is_its_owners_alone(anyone, as_contributor, contributor):
    change_bag(owner=AccountFactory(), change=lambda bag: bag.with_cut_on(720))
    assert anyone.get(BAGS).status_code == 401
    assert as_contributor.get(BAGS).json()["items"] == []
    change_bag(owner=contributor, change=lambda bag: bag.with_cut_on(830))
    (item,) = as_contributor.get(BAGS).json()["items"]
    assert item["cut_ons_nm"] == [830]
    other = AccountFactory()
    change_bag(owner=other, change=lambda bag: bag.with_cut_on(665))
    assert as_contributor.get(f"{BAGS}{other.bag.public_id}/").status_code == 404


def test_a_bag_as_it_is_read_can_be_planned_for(as_contributor, contributor):
    lens = LensFactory(filter_thread_mm=62)
    change_bag(
        owner=contributor,
        change=lambda bag: (
            bag.with_lens(Carried(lens.slug, hood=True))
            .with_cut_on(720)
            .with_body(BagBody("Causey", None))
            .with_filter(FrontFilter(720, 67))
            .with_ring(Ring(52, 67))
            .with_prices(Prices({FrontFilter(720.0, 62.0): "55.00"}, "9.00", {}, "EUR"))
        ),
    )
    (item,) = as_contributor.get(BAGS).json()["items"]
    one = as_contributor.get(f"{BAGS}{item['id']}/")
    assert one.json() == item
    assert (
        as_contributor.get(f"{BAGS}{item['id']}/", headers={"If-None-Match": one["ETag"]}).status_code == 304
    )
    asked = {name: part for name, part in item.items() if name not in ("id", "updated_at", "use")}
    answer = as_contributor.post(PLANS, asked)
    assert answer.status_code == 200, answer.content
    assert answer.json()["kit"]["cost"] == "9.00"


def test_the_document_describes_both_resources_with_examples(anyone):
    document = json.loads(anyone.get("/api/v1/openapi.json").content)
    validate(document)
    operation = document["paths"][PLANS]["post"]
    assert operation["summary"] == "Plan a kit, proven the best"
    examples = operation["requestBody"]["content"]["application/json"]["examples"]
    sent = next(iter(examples.values()))["value"]
    for slug, thread in (("osterby-marram-50-mm-f-1-8", 49), ("quillmark-samphire-35-mm-f-2", 67)):
        LensFactory(slug=slug, filter_thread_mm=thread)
    answer = anyone.post(PLANS, sent)
    assert answer.status_code == 200, answer.content
    assert answer.json()["kit"]["cost"] == "79.00"
    assert "Idempotency-Key" not in json.dumps(operation.get("parameters", []))
