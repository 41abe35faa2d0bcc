"""The summary of use: read with care, matched with caution, judged by the standings."""

import json

import pytest

from registry.bags.contents import Bag
from registry.bags.ranges import zones_of_lenses
from registry.bags.use import MOST_BYTES, judged, nearest_full_stop, read_use, settle
from registry.errors import InvalidInput, TooLarge
from registry.folder.use import summary_of
from registry.frames.exif import KeptExif
from tests.bags.standings import standing
from tests.factories import LensFactory

pytestmark = pytest.mark.django_db


def frames(name, *shots):
    """EXIF of frames with one lens: (focal length, f-number, how many)."""
    return [
        KeptExif(lens_model=name, focal_length_mm=focal, f_number=f_number)
        for focal, f_number, count in shots
        for _ in range(count)
    ]


def sent(pictures):
    return json.dumps(summary_of(pictures)).encode()


def use_of(lens, use, cut_on_nm=720.0):
    zones = zones_of_lenses([lens], cut_on_nm=cut_on_nm)
    return judged(Bag(use=use), {lens.slug: lens}, zones)


@pytest.fixture
def prime():
    return LensFactory(name="Marram 35 mm f/1.4", slug="marram-35")


def test_the_folder_commands_summary_tells_how_much_lies_in_the_clean_range(prime):
    standing(prime, 5.6)
    use = read_use(sent(frames("Marram 35 mm f/1.4", (35, 4, 30), (35, 5.6, 30), (35, 11, 40))))
    (told,) = use_of(prime, use)
    assert (told.frames, told.inside, told.past, told.unsaid) == (100, 60, 40, 0)
    assert told.stops == ["4", "5.6", "11"]
    assert told.zones[0].by_stop == {"4": 30, "5.6": 30, "11": 40}


def test_a_zoom_is_judged_focal_length_by_focal_length():
    zoom = LensFactory(zoom=True, name="Marram 24-70 mm f/2.8-4", slug="marram-24-70")
    standing(zoom, 8, zone="23-33")
    standing(zoom, 4, zone="47-66")
    use = read_use(sent(frames("Marram 24-70 mm f/2.8-4", (24, 8, 10), (50, 8, 20), (70, 8, 5))))
    (told,) = use_of(zoom, use)
    assert [(zone.label, zone.inside, zone.past, zone.unsaid) for zone in told.zones] == [
        ("24–33 mm", 10, 0, 0),
        ("47–66 mm", 0, 20, 0),
        ("66–70 mm", 0, 0, 5),
    ]


def test_beyond_what_was_tested_nothing_is_said(prime):
    standing(prime, 8, verdict="clean-as-far-as-tested", tested_to=8)
    use = read_use(sent(frames("Marram 35 mm f/1.4", (35, 8, 1), (35, 16, 1))))
    (told,) = use_of(prime, use)
    assert (told.inside, told.past, told.unsaid) == (1, 0, 1)


def test_where_reports_differ_nothing_is_said(prime):
    standing(prime, None, verdict="reports-differ")
    (told,) = use_of(prime, read_use(sent(frames("Marram 35 mm f/1.4", (35, 8, 4)))))
    assert (told.inside, told.past, told.unsaid) == (0, 0, 4)


def test_the_only_report_of_a_hot_stop_counts_from_that_stop_on(prime):
    says = {"code": "hot-from", "f_number": 8, "says": None}
    standing(prime, None, verdict="one-report", detail={"says": says})
    (told,) = use_of(prime, read_use(sent(frames("Marram 35 mm f/1.4", (35, 4, 1), (35, 8, 1), (35, 11, 1)))))
    assert (told.inside, told.past, told.unsaid) == (0, 2, 1)


def test_another_cut_on_is_another_answer(prime):
    standing(prime, 16)
    standing(prime, 2.8, group="780-up")
    use = read_use(sent(frames("Marram 35 mm f/1.4", (35, 8, 10))))
    assert use_of(prime, use)[0].inside == 10
    assert use_of(prime, use, cut_on_nm=830)[0].past == 10


def test_frames_without_an_aperture_are_counted_but_not_judged(prime):
    standing(prime, 16)
    use = read_use(sent(frames("Marram 35 mm f/1.4", (35, 8, 3), (35, None, 2))))
    (told,) = use_of(prime, use)
    assert (told.frames, told.inside, told.unsaid) == (5, 3, 2)


def test_a_name_that_two_lenses_may_have_is_asked_for_rather_than_guessed(prime):
    newer = LensFactory(name="Marram 35 mm f/1.4", slug="marram-35-ii", optical_revision="II")
    use = read_use(sent(frames("Marram 35mm F1.4", (35, 8, 3))))
    (one,) = use["lenses"]
    assert one["lens"] is None or one["lens"] == prime.slug
    settled = settle(use, "Marram 35mm F1.4", newer.slug)
    assert settled["lenses"][0]["lens"] == newer.slug


def test_third_stops_are_told_at_the_full_stop_nearest():
    assert [nearest_full_stop(f_number) for f_number in (3.5, 6.3, 7.1, 9, 0.95)] == [
        "4",
        "5.6",
        "8",
        "8",
        "1",
    ]


def test_a_summary_of_another_form_is_refused_with_the_form_wanted():
    with pytest.raises(InvalidInput, match="cleanstop-use/1") as refusal:
        read_use(b'{"format": "cleanstop-use/9", "lenses": []}')
    assert refusal.value.first.code == "use-summary-of-another-form"


GOOD = {"format": "cleanstop-use/1", "frames": 1, "unnamed": 0}
ENTRY = {"lens": "x", "frames": 1, "together": {}}


@pytest.mark.parametrize(
    "field, content",
    [
        ("", b"\xff\xfe no text"),
        ("", b"[1, 2]"),
        ("", b"[" * 100_000),
        ("lenses", GOOD | {"lenses": "many"}),
        ("lenses", GOOD | {"lenses": [ENTRY] * 101}),
        ("lenses.0", GOOD | {"lenses": [7]}),
        ("lenses.0.lens", GOOD | {"lenses": [ENTRY | {"lens": "a\nb"}]}),
        ("lenses.0.frames", GOOD | {"lenses": [ENTRY | {"frames": -1}]}),
        ("lenses.0.frames", GOOD | {"lenses": [ENTRY | {"frames": True}]}),
        ("lenses.0.together", GOOD | {"lenses": [{"lens": "x", "frames": 1}]}),
        ("lenses.0.together", GOOD | {"lenses": [ENTRY | {"together": {"NaN": {}}}]}),
        ("lenses.0.together.35", GOOD | {"lenses": [ENTRY | {"together": {"35": [8]}}]}),
        ("lenses.0.together.35", GOOD | {"lenses": [ENTRY | {"together": {"35": {"1e9": 1}}}]}),
        ("frames", {"format": "cleanstop-use/1", "lenses": []}),
    ],
)
def test_a_file_that_was_changed_is_refused_at_the_place(field, content):
    with pytest.raises(InvalidInput) as refusal:
        read_use(content if isinstance(content, bytes) else json.dumps(content).encode())
    assert refusal.value.first.field == field
    assert "--use" in refusal.value.first.remedy


def test_a_file_beyond_measure_is_not_even_parsed():
    with pytest.raises(TooLarge):
        read_use(b"[" * (MOST_BYTES + 1))
    crowd = {str(focal): {f"{stop / 10:g}": 1 for stop in range(10, 60)} for focal in range(1, 101)}
    with pytest.raises(TooLarge):
        read_use(json.dumps(GOOD | {"lenses": [ENTRY | {"together": crowd}]}).encode())
