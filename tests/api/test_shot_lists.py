"""Shot lists as programs read them."""

import pytest

from registry.accounts.services import issue_token
from registry.shotlists.cautions import CAUTIONS
from tests.factories import FilterFactory, LensFactory
from tests.report_factories import RigFactory

pytestmark = pytest.mark.django_db
ADDRESS = "/api/v1/shot-lists/"


@pytest.fixture
def lens():
    return LensFactory(
        name="Polder 200 mm f/4",
        slug="vantorre-polder-200-mm-f-4",
        focal_min_mm=200,
        widest_f=4,
        narrowest_f=22,
    )


def test_the_list_is_whole(anyone, lens):
    told = anyone.get(ADDRESS, {"lens": lens.slug, "conversion": "long-pass", "cut_on_nm": 720}).json()
    (set_up,) = told["set_ups"]
    assert [(stop["f_number"], stop["longer_ev"], stop["frames"]) for stop in set_up["stops"]] == [
        (4, 0, 1), (5.6, 1, 1), (8, 2, 3), (11, 3, 1), (16, 4, 1), (22, 5, 1),
    ]  # fmt: skip
    assert (told["lens"], told["cut_on_nm"], told["working_f_number"]) == (lens.slug, 720, 8)
    assert told["frames"] == 9, "eight of the target and the proof picture"
    assert told["cautions"] == list(CAUTIONS)
    assert [advice["key"] for advice in told["advice"]] == ["target", "light", "camera", "exposure", "order"]


def test_a_lens_and_a_filter_may_be_named_as_people_write_them(anyone, lens):
    FilterFactory(name="Dusk 665", slug="ferrow-dusk-665", cut_on_nm=665)
    told = anyone.get(ADDRESS, {"lens": "Polder 200 mm f/4", "filter": "Dusk 665"}).json()
    assert (told["lens"], told["filter"], told["cut_on_nm"]) == (lens.slug, "ferrow-dusk-665", 665)


def test_ones_own_rig_is_read_with_a_token(anyone, lens):
    rig = RigFactory(full_spectrum=True)
    _, secret = issue_token(account=rig.owner, name="shots", scopes=["read"])
    told = anyone.get(
        ADDRESS, {"lens": lens.slug, "rig": rig.public_id}, headers={"Authorization": f"Token {secret}"}
    ).json()
    assert (told["rig"], told["light_group"], told["control"]["possible"]) == (
        rig.public_id,
        "full-spectrum",
        True,
    )


@pytest.mark.parametrize(
    ("asked", "parameter", "kind"),
    [
        ({}, "lens", "required"),
        ({"lens": "nope"}, "lens", "unknown-lens"),
        ({"rig": "abcdefghij"}, "rig", "unknown-rig"),
        ({"conversion": "long-pass"}, "cut_on_nm", "missing"),
        ({"cut_on_nm": "nan"}, "cut_on_nm", "number-out-of-range"),
        ({"conversion": "longpass"}, "conversion", "not-a-choice"),
        ({"fliter": "x"}, "fliter", "unknown-parameter"),
    ],
)
def test_what_cannot_be_planned_is_told_with_its_parameter(anyone, lens, asked, parameter, kind):
    sent = asked if asked == {} or "lens" in asked else {"lens": lens.slug, **asked}
    answer = anyone.get(ADDRESS, sent)
    assert answer.status_code == 422
    assert answer["Content-Type"].startswith("application/problem+json")
    [problem] = [one for one in answer.json()["errors"] if one.get("parameter") == parameter]
    assert problem["type"].endswith(f"/problems/{kind}")


def test_an_unchanged_list_is_not_sent_twice(anyone, lens):
    first = anyone.get(ADDRESS, {"lens": lens.slug})
    again = anyone.get(ADDRESS, {"lens": lens.slug}, headers={"If-None-Match": first["ETag"]})
    assert again.status_code == 304
