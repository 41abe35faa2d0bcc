"""Which light reached the sensor: rig and filter together."""

import pytest

from registry.errors import InvalidInput
from registry.gear.models import Filter, Passes
from registry.reports import services
from registry.reports.models import ConversionKind, Rig
from registry.reports.rules import effective_cut_on
from tests.factories import AccountFactory, BodyFactory, FilterFactory
from tests.report_factories import ReportFactory, RigFactory

CONVERTED_665 = Rig(conversion=ConversionKind.LONG_PASS, cut_on_nm=665)
FULL = Rig(conversion=ConversionKind.FULL_SPECTRUM)
DUAL = Rig(conversion=ConversionKind.DUAL_BAND)
BAND = Rig(conversion=ConversionKind.BAND_PASS)
STOCK = Rig(conversion=ConversionKind.UNCONVERTED)
F590, F720 = Filter(cut_on_nm=590), Filter(cut_on_nm=720)
F_BAND = Filter(cut_on_nm=780, cut_off_nm=900, passes=Passes.BAND_PASS)


@pytest.mark.parametrize(
    ("rig", "filter_item", "light"),
    [
        (CONVERTED_665, None, (665, "")),
        (CONVERTED_665, F720, (720, "")),
        (CONVERTED_665, F590, (665, "")),
        (FULL, F590, (590, "")),
        (FULL, None, (None, "full-spectrum")),
        (STOCK, F720, (720, "")),
        (STOCK, None, (None, "visible")),
        (FULL, F_BAND, (None, "band-pass")),
        (BAND, None, (None, "band-pass")),
        (DUAL, F720, (None, "dual-band")),
        (DUAL, F_BAND, (None, "band-pass")),
        (None, F720, (720, "")),
        (None, None, (None, "")),
    ],
)
def test_the_longer_of_two_long_passes_holds_and_other_lights_are_groups_of_their_own(
    rig, filter_item, light
):
    # common practice, no source
    assert effective_cut_on(rig, filter_item) == light


@pytest.mark.django_db
def test_changing_the_filter_changes_the_cut_on():
    draft = ReportFactory()
    services.change_draft(
        report=draft, by=draft.author, filter=FilterFactory(cut_on_nm=830), filter_position="front"
    )
    assert draft.cut_on_nm == 830
    services.change_draft(report=draft, by=draft.author, filter=None)
    assert (draft.cut_on_nm, draft.filter_position) == (720, "")


@pytest.mark.django_db
def test_a_stated_cut_on_that_disagrees_with_the_rig_is_questioned():
    draft = ReportFactory()
    with pytest.raises(InvalidInput) as refused:
        services.change_draft(report=draft, by=draft.author, cut_on_nm=850)
    assert refused.value.first.code == "cut-on-disagrees"


@pytest.mark.django_db
def test_a_relay_states_the_cut_on_that_its_source_states():
    draft = ReportFactory(relayed=True)
    assert draft.cut_on_nm is None
    services.change_draft(report=draft, by=draft.author, cut_on_nm=850)
    assert draft.cut_on_nm == 850
    services.change_draft(report=draft, by=draft.author, light_group="full-spectrum")
    assert (draft.cut_on_nm, draft.light_group) == (None, "full-spectrum")


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("conversion", "cut_on", "code"),
    [
        ("long-pass", None, "missing"),
        ("long-pass", 300, "number-out-of-range"),
        ("long-pass", float("nan"), "number-out-of-range"),
        ("full-spectrum", 720, "cut-on-without-filter"),
        ("longpass", 720, "not-a-choice"),
    ],
)
def test_an_impossible_rig_is_refused(conversion, cut_on, code):
    with pytest.raises(InvalidInput) as refused:
        services.save_rig(owner=AccountFactory(), body=BodyFactory(), conversion=conversion, cut_on_nm=cut_on)
    assert code in {problem.code for problem in refused.value.problems}


@pytest.mark.django_db
def test_the_same_rig_saved_twice_is_one_rig():
    facts = {"owner": AccountFactory(), "body": BodyFactory(), "conversion": "full-spectrum"}
    assert services.save_rig(**facts) == services.save_rig(**facts)
    assert Rig.objects.count() == 1


@pytest.mark.django_db
def test_nobody_tests_with_someone_else_s_rig():
    draft, foreign = ReportFactory(), RigFactory()
    with pytest.raises(InvalidInput) as refused:
        services.change_draft(report=draft, by=draft.author, rig=foreign.public_id)
    assert refused.value.first.code == "unknown-rig"


@pytest.mark.django_db
def test_a_test_of_one_s_own_says_where_its_filter_sat():
    draft = ReportFactory(filter=FilterFactory(), grades={8: 0})
    with pytest.raises(InvalidInput) as refused:
        services.submit_report(report=draft, by=draft.author)
    assert refused.value.first.field == "filter_position"
