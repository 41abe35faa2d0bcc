"""Every page of the site passes the rules of WCAG 2.2 AA that a machine can check (axe-core), in both themes, on a desk
and on a phone, for visitors and for people with an account.

The addresses come from the site's own table, so that a new page is walked as soon as it is there. Standard: Web Content
Accessibility Guidelines 2.2, W3C Recommendation of 12 December 2024.
"""

from types import SimpleNamespace

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.urls import reverse
from django.urls.converters import IntConverter

from registry.ledger.worker import drain_tasks
from registry.pages.urls import urlpatterns
from registry.picks import services as picks
from registry.picks.rules import PickGiven
from registry.reports import services
from registry.wanted.models import WantedTest
from registry.wanted.services import rank_wanted_tests
from registry.watching.services import watch_lens
from tests.factories import AccountFactory, BodyFactory, FilterFactory, LensFactory, MountFactory
from tests.journeys.conftest import DESK, PHONE
from tests.pages.conftest import SampleImageFactory, measurement
from tests.report_factories import ReportFactory, RigFactory

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
RULES = {
    "runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]},
    "rules": {"target-size": {"enabled": True}},
    "resultTypes": ["violations"],
}
ACCOUNTS = ("account_login", "account_signup", "account_reset_password", "account_email",
            "account_change_password", "account_logout", "mfa_index")  # fmt: skip
OF_SUBMITTED = ("report", "report-revise", "report-withdraw")


@pytest.fixture
def world(transactional_db, settings):
    """Enough of everything that no page is empty."""
    author, other, third = (AccountFactory(name=name) for name in ("Wren", "Dunlin", "Knot"))
    lens = LensFactory(zoom=True, name="Marram 24-70 mm f/2.8-4", slug="osterby-marram-24-70")
    LensFactory(name="Samphire 85 mm f/1.2", slug="osterby-samphire-85", focal_min_mm=85, widest_f=1.2)
    body, dark = BodyFactory(name="Causey 2"), FilterFactory(slug="ferrow-dusk-720")
    submitted = [_graded(who, lens, grades) for who, grades in (
        (author, {4: 0, 8: 0, 16: 2}), (other, {4: 0, 8: 1, 16: 3}), (third, {4: 2, 8: 3, 16: 4}))]  # fmt: skip
    rig = RigFactory(owner=author, body=body)
    draft = services.start_draft(author=author, lens=lens, basis="measured", rig=rig, filter=dark.slug,
                                 filter_position="front")  # fmt: skip
    image = _frames(draft)
    relay = ReportFactory(relayed=True, author=author, lens=lens)
    watch_lens(account=author, lens=lens)
    given = PickGiven(lens, reason="clean at every stop that I use")
    listed = picks.publish_list(author=author, title="For the dunes", about="Light to carry", picks=[given])
    drain_tasks()
    rank_wanted_tests()
    return SimpleNamespace(author=author, lens=lens, mount=MountFactory(), submitted=submitted[0], draft=draft,
                           relay=relay, image=image, wanted=WantedTest.objects.first(), picks=listed)  # fmt: skip


def _graded(author, lens, grades):
    report = ReportFactory(author=author, lens=lens, grades=grades)
    return services.submit_report(report=report, by=author)


def _frames(draft):
    """Measured, refused and unmarked frames of a draft, and files that are still to come or were turned away."""
    for f_number, excess in ((4, 0.01), (8, 0.2), (16, 0.5)):
        image = SampleImageFactory(report=draft, owner=draft.author, f_number=f_number, focal_length_mm=24)
        services.record_measurement(image=image, measurement=measurement(excess))
    SampleImageFactory(report=draft, owner=draft.author, f_number=None, exif={"body_model": "QUILLMARK 9"})
    files = [{"name": f"DSC_9{number}.jpg", "size": 5} for number in range(3)]
    services.announce_frames(report=draft, by=draft.author, files=files)
    return image


def arguments_of(pattern, world):
    """What stands in an address for the things of this world; for others something that does not exist."""
    route = str(pattern.pattern)
    report = world.submitted if pattern.name in OF_SUBMITTED else world.draft
    if pattern.name == "report-relayed":
        report = world.relay
    known = {
        "slug": world.mount.slug if "mounts/" in route else world.lens.slug,
        "public_id": world.picks.public_id if route.startswith("picks/") else report.public_id,
        "image_id": world.image.public_id,
        "code": "missing",
        "number": world.wanted.pk,
        "grade": 3,
    }
    return {
        name: known.get(name, 1 if isinstance(converter, IntConverter) else "none")
        for name, converter in pattern.pattern.converters.items()
    }


def addresses(world):
    for pattern in urlpatterns:
        yield pattern.name, reverse(pattern.name, kwargs=arguments_of(pattern, world))
    yield "report of a draft’s check", reverse("report-check", args=[world.relay.public_id])
    yield from ((name, reverse(name)) for name in ACCOUNTS)
    yield "nothing there", "/nothing/there/"


def is_a_page(page, address):
    """Whether an address answers with a page of its own: not with a file, a part of a page or another address."""
    answer = page.request.get(address, max_redirects=0, headers={"Accept": "text/html"})
    return "text/html" in answer.headers.get("content-type", "") and "<html" in answer.text()


def violations_on(page, name):
    found = Axe().run(page, options=RULES).response["violations"]
    return [
        f"{name}: {broken['id']}: {broken['help']}: {' '.join(node['target'])}"
        for broken in found
        for node in broken["nodes"]
    ]


@pytest.mark.parametrize("viewport", [DESK, PHONE], ids=["desk", "phone"])
@pytest.mark.parametrize("signed_in", [False, True], ids=["visitor", "contributor"])
def test_every_page_passes_wcag_2_2_aa(sign_in, world, signed_in, viewport):
    scheme = "dark" if signed_in == (viewport is DESK) else "light"
    page = sign_in(world.author if signed_in else None, viewport=viewport, color_scheme=scheme)
    walked, broken = [], []
    for name, address in addresses(world):
        if is_a_page(page, address):
            page.goto(address)
            walked.append(name)
            broken += violations_on(page, name)
    assert broken == [], "\n" + "\n".join(broken)
    assert {"home", "lens", "method", "problems", "nothing there"} <= set(walked)
    if signed_in:
        assert {"report-frames", "report-frames-table", "report-check", "my-reports"} <= set(walked)


def test_a_form_with_errors_passes_too(sign_in, world):
    page = sign_in(world.author)
    page.goto(reverse("report-frames-table", args=[world.draft.public_id]))
    page.locator("[data-cell=f_number]").first.fill("7.7")
    page.get_by_role("button", name="Keep these values").last.click()
    page.get_by_role("alert").wait_for()
    page.get_by_text("Fill in f-numbers by the order").click()
    broken = violations_on(page, "table of frames")
    page.goto("/reports/new/")
    page.get_by_role("button", name="Go on", exact=True).click()
    page.get_by_role("heading", name="Not quite yet").wait_for()
    assert broken + violations_on(page, "start of a report") == []
