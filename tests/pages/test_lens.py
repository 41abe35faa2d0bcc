import re
from pathlib import Path

import pytest
from django.contrib.staticfiles import finders
from django.urls import reverse

from registry.ledger.worker import drain_tasks
from registry.reports import services
from tests.factories import AccountFactory, LensFactory, TeleconverterFactory
from tests.report_factories import ReadingFactory, ReportFactory, SweepFactory

pytestmark = pytest.mark.django_db
STOPS = (1.4, 2, 2.8, 4, 5.6, 8, 11, 16)


def text_of(response) -> str:
    return " ".join(response.content.decode().split())


def report_on(lens, hot_from=None, **fields):
    """Someone's report by eye: clean before a stop, obvious from it on."""
    grades = {stop: 3 if hot_from and stop >= hot_from else 0 for stop in STOPS}
    report = ReportFactory(lens=lens, grades=grades, **fields)
    return services.submit_report(report=report, by=report.author)


@pytest.fixture
def page(client, lens):
    def get(**asked):
        drain_tasks()
        return text_of(client.get(reverse("lens", args=[lens.slug]), asked))

    return get


def test_the_verdict_at_my_cut_on_comes_first(page, lens):
    for _ in range(5):
        report_on(lens, hot_from=11)
    shown = page()
    assert "At 720 nm: clean to f/8." in shown
    assert shown.index("clean to f/8") < shown.index("Chance of a clean frame")
    assert "5 independent reports" in shown and "Firm" in shown


def test_the_ladder_has_a_title_a_description_and_a_table(page, lens):
    report_on(lens, hot_from=11)
    shown = page()
    assert "<title id=" in shown and "<desc id=" in shown and "<caption>" in shown
    assert "90 % interval" in shown


def test_an_untested_lens_asks_for_a_test(page, lens):
    shown = page()
    assert "Nobody has reported this lens" in shown and reverse("shot-list", args=[lens.slug]) in shown


def test_another_wavelength_is_answered_and_named(page, lens):
    report_on(lens, hot_from=11)
    shown = page(cut_on_nm="830")
    assert "At 830 nm: no reports" in shown
    assert "At each wavelength" in shown and "Cut-on 700 to 779 nm" in shown
    assert "Cut-on 780 nm and above <span" in shown  # marked as one's own, beside the other


def test_a_readers_own_tolerance_is_used(page, lens):
    report_on(lens, hot_from=11)
    assert "a tolerance of 0.05 EV" in page(visible_ev="0.05")


@pytest.mark.parametrize("asked", [{"cut_on_nm": "1"}, {"visible_ev": "5"}, {"visible_ev": "x"}])
def test_an_impossible_question_is_refused_in_words_and_still_answered(client, lens, asked):
    response = client.get(reverse("lens", args=[lens.slug]), asked)
    assert response.status_code == 422
    assert 'role="alert"' in response.content.decode() and "At 720 nm" in text_of(response)


def test_a_disagreement_counts_the_testers_on_both_sides(page, lens):
    for hot_from in (2.8, 4, None, None):
        report_on(lens, hot_from=hot_from)
    shown = page()
    assert "reports differ" in shown and "Where reports differ" in shown
    assert "2 testers say clean to f/2–f/2.8; 2 say clean throughout." in shown
    assert "What separates them is not shown by the reports so far." in shown
    assert (
        shown.index("2 testers say") < shown.index("The reports on either side") < shown.index("Hot sooner")
    )


@pytest.fixture
def split(lens):
    """Where the filter sat decides."""
    for position, hot_from in (("front", 5.6), ("rear", 16)):
        for _ in range(5):
            report_on(lens, hot_from=hot_from, filter_position=position)


def test_what_holds_on_each_side_of_a_likely_cause_follows_the_verdict(page, lens, split):
    shown = page()
    front = "With the filter in front of the lens: <strong>clean to f/4</strong>."
    rear = "With the filter behind the lens: <strong>clean to f/11</strong>."
    assert shown.index(front) < shown.index(rear) < shown.index("Chance of a clean frame")
    assert "Likely because of where the filter sat: in front of the lens or behind the lens." in shown


def test_each_report_says_its_own_result_and_how_it_came_about(page, lens):
    report_on(lens, hot_from=8, filter_position="front", author=AccountFactory(name="Dunlin"))
    shown = page()
    row = shown[shown.index('<ul class="evidence">') :]
    assert "Clean to f/5.6.</a>" in row and "filter in front of the lens" in row
    assert "graded by eye by Dunlin" in row and "shot 21 Jun 2024" in row
    assert 'class="thumbs"' not in row


def test_a_report_without_a_day_is_dated_by_its_submission(page, lens):
    report = report_on(lens, hot_from=8, shot_on=None)
    assert f"{report.submitted_at:%-d %b %Y}</span>" in page()


def test_a_lens_behind_a_teleconverter_has_a_standing_of_its_own(page, lens):
    doubled = TeleconverterFactory(name="Extender 2×", slug="osterby-extender-2", magnification=2)
    report_on(lens, hot_from=11)
    behind = ReportFactory(lens=lens, teleconverter=doubled)
    sweep = SweepFactory(report=behind, focal_length_mm=70)
    for stop in (2.8, 4, 5.6, 8):
        ReadingFactory(sweep=sweep, f_number=stop, grade=0 if stop < 5.6 else 3)
    services.submit_report(report=behind, by=behind.author)
    alone = page()
    assert f"With {doubled}</a>: one report so far: clean to f/4" in alone
    assert (
        "teleconverter=osterby-extender-2" in alone and "At 720 nm: one report so far: clean to f/8." in alone
    )
    both = page(teleconverter=doubled.slug)
    assert f"At 720 nm, with {doubled}: one report so far: clean to f/4" in both
    assert "Clean to f/8.</a>" not in both and f">{lens} alone</a>" in both


def test_an_unknown_teleconverter_is_refused_in_words(client, lens):
    response = client.get(reverse("lens", args=[lens.slug]), {"teleconverter": "no-such"})
    assert response.status_code == 404 and "no teleconverter “no-such”" in text_of(response)


def test_a_set_aside_report_stays_public_with_its_reason(page, lens):
    report = report_on(lens, hot_from=2.8)
    services.set_aside(report=report, by=AccountFactory(moderator=True), reason="a scene instead of a target")
    assert "Set aside, does not count: a scene instead of a target" in page()


def test_history_tells_what_changed_and_why(page, lens):
    report_on(lens, hot_from=11)
    assert "a report came in" in page()


def test_a_zoom_is_answered_by_focal_zone(client):
    zoom = LensFactory(zoom=True)
    shown = text_of(client.get(reverse("lens", args=[zoom.slug])))
    assert shown.count('class="ladder large"') >= 3


def test_a_name_that_is_nearly_right_is_offered(client, lens):
    response = client.get(reverse("lens", args=["osterby-maram-35"]))
    assert response.status_code == 404
    assert "osterby-marram-35" in response.content.decode()


def test_what_a_buyer_needs_stands_under_the_name(page, lens):
    assert "35 mm, f/1.4 · Teal · 67 mm filter thread" in page()


def test_the_page_offers_a_line_to_cite_it_by(page, lens):
    report_on(lens, hot_from=11)
    cited = page().split('<blockquote class="cite">')[1]
    assert "at 720 nm: one report so far: clean to f/8. Cleanstop, live data of" in cited
    assert f"/lenses/{lens.slug}/?cut_on_nm=720" in cited


def test_a_long_list_of_reports_is_told_whole_on_a_page_of_its_own(client, page, lens):
    for _ in range(10):
        report_on(lens, hot_from=11)
    assert page().count("graded by eye by") == 8
    every = text_of(client.get(reverse("lens-reports", args=[lens.slug])))
    assert every.count("graded by eye by") == 10 and "10 reports" in every


@pytest.fixture
def measured(lens):
    """Two people's measured sweeps: excess from f/11 on."""
    for author, extra in (("Dunlin", 0.0), ("Knot", 0.01)):
        report = ReportFactory(lens=lens, author=AccountFactory(name=author))
        sweep = SweepFactory(report=report, focal_length_mm=35)
        for stop, excess_ev in ((4, 0.01), (5.6, 0.02), (8, 0.05), (11, 0.2), (16, 0.4)):
            ReadingFactory(
                sweep=sweep, f_number=stop, grade=None, excess_ev=excess_ev + extra, excess_se=0.01
            )
        services.submit_report(report=report, by=report.author)


def test_measured_excess_is_drawn_and_told_by_report(page, lens, measured):
    shown = page()
    assert "Measured excess against aperture" in shown
    assert reverse("published-picture", args=[lens.slug, "excess", "svg"]) in shown
    table = shown[shown.index("Excess in EV ± standard error") :]
    knot, dunlin = table.index("Knot"), table.index("Dunlin")
    assert knot < table.index("0.21 ± 0.01") < dunlin < table.index("0.20 ± 0.01")
    assert "Pooled, 95 % interval" in table


@pytest.mark.parametrize("reports", [1, 9])
def test_a_warm_page_takes_at_most_four_statements_however_many_reports_there_are(
    client, lens, reports, django_assert_max_num_queries
):
    for _ in range(reports):
        report_on(lens, hot_from=11)
    drain_tasks()
    address = reverse("lens", args=[lens.slug])
    first = client.get(address).content
    with django_assert_max_num_queries(4):
        assert client.get(address).content == first


def test_who_is_signed_in_costs_their_session_and_their_watch_besides(
    signed_in, lens, django_assert_max_num_queries
):
    report_on(lens, hot_from=11)
    drain_tasks()
    signed_in.get(reverse("lens", args=[lens.slug]))
    with django_assert_max_num_queries(4 + 4):
        signed_in.get(reverse("lens", args=[lens.slug]))


def test_a_kept_page_is_made_anew_once_a_report_changes_the_standing(page, lens):
    report_on(lens, hot_from=11)
    assert "one report so far: clean to f/8" in page()
    for _ in range(4):
        report_on(lens, hot_from=11)
    assert "At 720 nm: clean to f/8." in page()


def test_a_kept_page_follows_a_report_before_its_standing_does(client, lens):
    """The list of reports changes at once; the standing when its task has run."""
    address = reverse("lens", args=[lens.slug])
    assert "None yet." in text_of(client.get(address))
    report_on(lens, hot_from=11)
    assert "None yet." not in text_of(client.get(address))


def test_a_browser_that_holds_the_page_is_told_so(client, lens):
    address = reverse("lens", args=[lens.slug])
    tag = client.get(address)["ETag"]
    again = client.get(address, headers={"If-None-Match": tag})
    assert again.status_code == 304 and not again.content and again["ETag"] == tag
    report_on(lens, hot_from=11)
    assert client.get(address, headers={"If-None-Match": tag}).status_code == 200


def test_a_held_page_is_no_answer_to_another_question(client, lens):
    address = reverse("lens", args=[lens.slug])
    held = {"If-None-Match": client.get(address)["ETag"]}
    assert client.get(address, {"cut_on_nm": 830}, headers=held).status_code == 200


def test_no_browser_keeps_the_page_of_someone_signed_in(signed_in, lens):
    assert "ETag" not in signed_in.get(reverse("lens", args=[lens.slug]))


def test_the_tolerance_is_a_parameter_that_ladder_and_sentence_follow(page, lens, measured):
    def last_clean_stop(**asked):
        return float(re.search(r"clean to f/(\d+(?:\.\d+)?)", page(**asked))[1])

    assert last_clean_stop(visible_ev="0.04") < last_clean_stop() < last_clean_stop(visible_ev="0.30")
    assert "a tolerance of 0.04 EV: clean to" in page(visible_ev="0.04")


def test_the_page_weighs_less_than_150_kilobytes_without_frames(client, lens, measured):
    """HTML, styles and scripts as they are, not compressed."""
    for _ in range(20):
        report_on(lens, hot_from=11)
    drain_tasks()
    html = client.get(reverse("lens", args=[lens.slug])).content
    parts = re.findall(rb'(?:href|src)="/static/([^"]+\.(?:css|js|svg))"', html)
    weight = len(html) + sum(Path(finders.find(part.decode())).stat().st_size for part in parts)
    assert len(parts) >= 5 and weight < 150_000
