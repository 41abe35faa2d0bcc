"""What the database itself refuses, whichever way it is written to (bulk writes skip Django's validation)."""

import pytest
from django.db import IntegrityError, transaction

from registry.gear.models import Adapter, Body, FactSource, Filter, Lens, Maker, Mount, Teleconverter
from tests.factories import (
    BodyFactory,
    FilterFactory,
    LensFactory,
    MakerFactory,
    MountFactory,
    TeleconverterFactory,
)

pytestmark = pytest.mark.django_db


def refused(name):
    """The error of the constraint of this name; SQLite names the columns of a unique one instead."""
    return pytest.raises(IntegrityError, match=name)


@pytest.mark.parametrize(
    "constraint, wrong",
    [
        ("lens_focal_range_in_order", {"focal_min_mm": 50, "focal_max_mm": 35}),
        ("lens_focal_range_in_order", {"focal_min_mm": 0, "focal_max_mm": 35}),
        ("lens_widest_f_in_range", {"widest_f": 0.6}),
        ("lens_widest_f_in_range", {"widest_f_tele": 65, "narrowest_f": None}),
        ("lens_narrowest_f_beyond_widest", {"narrowest_f": 1.2}),
        ("lens_narrowest_f_beyond_widest", {"widest_f_tele": 5.6, "narrowest_f": 4}),
        ("lens_narrowest_f_beyond_widest", {"narrowest_f": 90}),
        ("lens_filter_thread_positive", {"filter_thread_mm": 0}),
        ("lens_thread_only_with_front_seat", {"filter_seat": "rear-holder", "filter_thread_mm": 67}),
        ("lens_projection_known", {"projection": "square"}),
        ("lens_filter_seat_known", {"filter_seat": "somewhere", "filter_thread_mm": None}),
        ("lens_status_known", {"status": "rumoured"}),
    ],
)
def test_a_lens_that_cannot_be_is_refused(constraint, wrong):
    lens = LensFactory()
    with refused(constraint), transaction.atomic():
        Lens.objects.filter(pk=lens.pk).update(**wrong)


@pytest.mark.parametrize(
    "right",
    [
        {"focal_min_mm": 35, "focal_max_mm": 35},
        {"narrowest_f": None},
        {"narrowest_f": 1.4},
        {"filter_seat": "rear-holder", "filter_thread_mm": None},
        {"filter_seat": "front-thread", "filter_thread_mm": None},
        {"widest_f": 0.7, "widest_f_tele": 0.7},
    ],
)
def test_a_lens_at_the_edge_of_what_can_be_is_taken(right):
    lens = LensFactory()
    assert Lens.objects.filter(pk=lens.pk).update(**right) == 1


@pytest.mark.parametrize(
    "constraint, make, model, wrong",
    [
        ("body_sensor_positive", BodyFactory, Body, {"sensor_width_mm": 0}),
        ("body_status_known", BodyFactory, Body, {"status": "rumoured"}),
        ("filter_cut_on_in_range", FilterFactory, Filter, {"cut_on_nm": 1200}),
        ("filter_cut_off_beyond_cut_on", FilterFactory, Filter, {"cut_off_nm": 700}),
        ("filter_band_pass_has_cut_off", FilterFactory, Filter, {"passes": "band-pass"}),
        ("filter_passes_known", FilterFactory, Filter, {"passes": "all"}),
        ("teleconverter_magnifies", TeleconverterFactory, Teleconverter, {"magnification": 1}),
        ("mount_flange_distance_positive", MountFactory, Mount, {"flange_distance_mm": 0}),
    ],
)
def test_other_gear_that_cannot_be_is_refused(constraint, make, model, wrong):
    item = make()
    with refused(constraint), transaction.atomic():
        model.objects.filter(pk=item.pk).update(**wrong)


@pytest.mark.parametrize(
    "constraint, wrong",
    [
        ("adapter_joins_two_mounts", {"body_mount": "Teal"}),
        ("adapter_magnifies_only_with_glass", {"magnification": 0.71}),
        ("adapter_magnification_positive", {"magnification": 0, "has_glass": True}),
    ],
)
def test_an_adapter_that_cannot_be_is_refused(constraint, wrong):
    mounts = {name: MountFactory(name=name) for name in ("Teal", "Curlew")}
    stated = {"lens_mount": "Teal", "body_mount": "Curlew"} | wrong
    stated |= {side: mounts[stated[side]] for side in ("lens_mount", "body_mount")}
    with refused(constraint), transaction.atomic():
        Adapter.objects.create(maker=MakerFactory(), name="Bridge", slug="bridge", **stated)


def test_a_maker_is_named_once_in_whatever_case():
    MakerFactory(name="Osterby")
    with refused("maker_named_once"), transaction.atomic():
        Maker.objects.create(name="OSTERBY", slug="other")


def test_two_optical_revisions_may_share_a_name_and_two_lenses_of_one_may_not():
    first = LensFactory(name="Sedge", optical_revision="I")
    second = LensFactory(name="Sedge", optical_revision="II")
    assert first.maker == second.maker
    with pytest.raises(IntegrityError), transaction.atomic():
        Lens.objects.filter(pk=second.pk).update(optical_revision="I")


def test_a_source_must_be_named():
    with refused("fact_source_named"), transaction.atomic():
        FactSource.objects.create(gear_kind="lens", gear_slug="x", fact="mass_g", value="1", source="")


class TestWidestAperture:
    """A zoom's widest aperture between its ends is not published (common practice, no source)."""

    def test_a_prime_has_one(self):
        assert LensFactory.build(maker=None, widest_f=1.4).widest_at(35) == 1.4

    def test_a_zoom_has_its_short_end_s_there_and_its_long_end_s_elsewhere(self):
        zoom = LensFactory.build(maker=None, zoom=True)
        assert (zoom.widest_at(24), zoom.widest_at(35), zoom.widest_at(70)) == (2.8, 4.0, 4.0)
