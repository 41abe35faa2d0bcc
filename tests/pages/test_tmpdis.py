import pytest
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
    assert "Nobody has reported this lens" in shown and reverse("report-start") in shown


def test_another_wavelength_is_answered_and_named(page, lens):
    report_on(lens, hot_from=11)
    shown = page(cut_on_nm="830")
    assert "At 830 nm: no reports" in shown
    assert "At other wavelengths" in shown and "Cut-on 700 to 779 nm" in shown


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
    import re

    print("SAYS", re.findall(r"Where reports differ.{0,700}", shown))
    from registry.standings.models import Conflict

    print(list(Conflict.objects.values_list("camps", flat=True)))
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


def test_a_warm_lens_page_takes_few_statements(client, lens, django_assert_max_num_queries):
    for _ in range(3):
        report_on(lens, hot_from=11)
    drain_tasks()
    with django_assert_max_num_queries(14):
        client.get(reverse("lens", args=[lens.slug]))
