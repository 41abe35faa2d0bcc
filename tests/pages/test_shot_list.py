"""The shot list's page: without an account, from an address, and on into the report."""

import pytest

from registry.reports.models import Report
from tests.factories import FilterFactory, LensFactory, TeleconverterFactory
from tests.report_factories import RigFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def zoom(db):
    return LensFactory(zoom=True, slug="osterby-marram-24-70", name="Marram 24-70 mm f/2.8-4")


@pytest.fixture
def dark(db):
    return FilterFactory(name="Dusk 720", slug="ferrow-dusk-720")


def page(client, lens, status=200, **asked):
    answer = client.get(f"/lenses/{lens.slug}/shot-list/", asked)
    assert answer.status_code == status
    return " ".join(answer.content.decode().split())


def test_the_sheet_is_there_without_an_account(client, zoom):
    html = page(client, zoom)
    for said in (
        "24 mm",
        "41 mm",
        "70 mm",
        "f/2.8",
        "2 stops down",
        "LED and fluorescent",
        "proof picture",
    ):
        assert said in html


def test_the_cautions_are_on_the_sheet(client, zoom):
    html = page(client, zoom)
    for said in ("Never look at the sun", "IEC 62471", "flash capacitor", "qualified people", "local rules"):
        assert said in html


def test_camera_and_filter_come_from_the_address(client, zoom, dark):
    html = page(client, zoom, conversion="full-spectrum", filter=dark.slug)
    assert "cut-on in all 720 nm" in html
    assert "Put a filter that passes visible light only" in html


def test_a_teleconverter_multiplies_what_is_to_be_set(client, zoom):
    html = page(client, zoom, teleconverter=TeleconverterFactory().slug)
    assert "(33.6 mm behind the glass)" in html and "f/4" in html


def test_ones_own_camera_is_filled_in(signed_in, contributor, zoom):
    rig = RigFactory(owner=contributor)
    html = page(signed_in, zoom)
    assert f"<dd>{rig}</dd>" in html
    assert "Not with this body" in html


def test_the_remembered_camera_is_filled_in_for_readers_without_an_account(client, zoom):
    client.post("/camera/", {"cut_on_nm": "665", "mount": "", "visible_ev": "0.1", "next": "/"})
    assert "665 nm" in page(client, zoom)


def test_what_cannot_be_planned_is_told_beside_its_field_and_stays_typed(client, zoom):
    html = page(client, zoom, status=422, conversion="long-pass", cut_on_nm="7200")
    assert "“7200” is no number from 400 to 1100 nm" in html
    assert 'value="7200"' in html


def test_someone_elses_camera_is_refused_in_words(client, zoom):
    html = page(client, zoom, status=422, rig=RigFactory().public_id)
    assert "you are not signed in" in html


def test_an_unknown_filter_is_refused(client, zoom):
    assert "The catalogue has no such filter" in page(client, zoom, status=422, filter="nope")


def test_a_lens_is_found_by_name_to_be_planned(client, zoom):
    html = client.get("/shot-list/", {"lens_name": "24 70"}).content.decode()
    assert f'href="/lenses/{zoom.slug}/shot-list/"' in html


def test_a_lens_that_is_not_listed_can_be_added_from_there(client, db):
    html = client.get("/shot-list/", {"lens_name": "xyzzy 999"}).content.decode()
    assert "/lenses/add/?name=xyzzy" in html


def test_the_report_begins_with_what_was_planned(signed_in, contributor, zoom, dark):
    first, second = RigFactory(owner=contributor), RigFactory(owner=contributor, full_spectrum=True)
    sheet = signed_in.get(f"/lenses/{zoom.slug}/shot-list/", {"rig": second.public_id, "filter": dark.slug})
    start = signed_in.get(sheet.context["start_address"])
    form = start.context["form"]
    assert form["lens"].value() == zoom.slug
    assert form["lens_name"].value() == str(zoom)
    assert form["rig"].value() == second.public_id != first.public_id
    assert form["filter"].value() == dark.slug


def test_a_described_camera_is_carried_into_the_report(signed_in, zoom):
    sheet = signed_in.get(f"/lenses/{zoom.slug}/shot-list/", {"conversion": "long-pass", "cut_on_nm": "665"})
    form = signed_in.get(sheet.context["start_address"]).context["form"]
    assert (form["conversion"].value(), form["cut_on_nm"].value()) == ("long-pass", "665")


def test_a_half_filled_report_leads_to_its_shot_list_and_back_without_loss(signed_in, typed, zoom):
    typed |= {"lens": zoom.slug, "plan": "1"}
    sheet = signed_in.post("/reports/new/", typed, follow=True)
    assert sheet.redirect_chain[0][0].startswith(f"/lenses/{zoom.slug}/shot-list/?rig={typed['rig']}")
    form = signed_in.get(sheet.context["start_address"]).context["form"]
    assert form["notes"].value() == "dusk, no wind"
    assert form["lens"].value() == zoom.slug
    assert not Report.objects.exists()


@pytest.mark.parametrize("slug", ["", "not/a slug"])
def test_a_report_that_names_no_lens_of_the_catalogue_is_asked_for_one(signed_in, typed, slug):
    answer = signed_in.post("/reports/new/", typed | {"lens": slug, "plan": "1"})
    assert answer["Location"] == "/shot-list/?lens_name=35+1.4"


def test_the_sheet_as_json_is_one_link_away(client, zoom, dark):
    sheet = client.get(
        f"/lenses/{zoom.slug}/shot-list/", {"conversion": "full-spectrum", "filter": dark.slug}
    )
    told = client.get(sheet.context["json_address"]).json()
    assert (told["lens"], told["filter"], told["cut_on_nm"]) == (zoom.slug, dark.slug, 720)
