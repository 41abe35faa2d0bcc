"""A contributor's evening acted whole: 24 frames at three focal lengths, with a connection that breaks and a tab that
is closed on the way."""

import re
from datetime import datetime, timedelta

import pytest
from playwright.sync_api import expect

from registry.reports.models import AwaitedFrame, Report, SampleImage
from registry.simulation.scene import Patch, Scene
from tests.factories import BodyFactory, FilterFactory, LensFactory
from tests.journeys.acts import describe_the_test, reload_until, sign_up
from tests.report_factories import jpeg_upload, photographed

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
STOPS = (1.4, 2, 2.8, 4, 5.6, 8, 11, 16)
FOCAL_LENGTHS = (20, 28, 40)
HALF = 12


@pytest.fixture
def gear(transactional_db):
    LensFactory(
        name="Samphire 20-40 mm f/1.4", slug="osterby-samphire-20-40", focal_min_mm=20, focal_max_mm=40
    )
    BodyFactory(name="Causey 2", slug="osterby-causey-2", exif_model="OSTERBY CAUSEY-2")
    FilterFactory(name="Dusk 720", slug="ferrow-dusk-720", cut_on_nm=720)


def scene_at(focal_length_mm):
    patch = Patch(strength_ev=0.5, radius=0.1, shape="polygon")
    return Scene(focal_length_mm=focal_length_mm, widest=1.4, patch=patch)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """The evening's folder as a camera leaves it, with a note that is no picture."""
    folder = tmp_path_factory.mktemp("evening")
    began = datetime(2026, 5, 9, 20, 0)
    shots = [(focal, stop) for focal in FOCAL_LENGTHS for stop in STOPS]
    for number, (focal, stop) in enumerate(shots):
        taken = photographed(scene_at(focal), f_number=stop, frame=number, size=(480, 320))
        exif = {"model": "OSTERBY CAUSEY-2", "lens": "Samphire 20-40 mm f/1.4"}
        upload = jpeg_upload(taken, taken_at=began + timedelta(minutes=number), **exif)
        (folder / f"DSC_{number:04d}.jpg").write_bytes(upload.read())
    (folder / "notes.txt").write_text("no wind, overcast")
    return folder


class Line:
    """The connection for uploads; cut after a number of them, until it is mended."""

    def __init__(self, page, *, cut_after):
        self.left, self.cut = cut_after, False
        page.route(re.compile(r"/frames/$"), self.pass_on)

    def pass_on(self, route):
        if route.request.method != "POST" or not (self.cut or self.left <= 0):
            self.left -= route.request.method == "POST"
            return route.continue_()
        self.cut = True
        return route.abort("connectionreset")

    def mend(self):
        self.left, self.cut = 1000, False


def plan(page):
    """From the lens's shot list into the report's form."""
    page.goto("/lenses/osterby-samphire-20-40/shot-list/")
    expect(page.locator("main")).to_contain_text("f/1.4")
    expect(page.locator("main")).to_contain_text("28 mm")


def start_a_report(page, name):
    page.goto("/accounts/signup/?next=/reports/new/")
    sign_up(page, name)
    plan(page)
    page.goto("/reports/new/?lens=Osterby Samphire 20-40 mm f/1.4")
    page.get_by_label(re.compile("Osterby Samphire 20-40 mm")).check()
    describe_the_test(page)
    page.get_by_role("heading", name="Drop the frames").wait_for()


def said(page):
    return page.locator("#sending-state")


def arrived():
    return SampleImage.objects.count()


def wait_until_arrived(page, count):
    """What was on its way when the connection broke may still come in."""
    for _ in range(240):
        if arrived() >= count:
            break
        page.wait_for_timeout(250)
    assert arrived() == count


def finish(page):
    """From the frames page to the lens's verdict."""
    expect(page.locator("#arrivals > p")).to_have_text("24 frames here: 24 measured.", timeout=120_000)
    for focal in FOCAL_LENGTHS:
        row = page.locator(".sweeps tr", has_text=f"{focal} mm")
        expect(row).to_contain_text("f/1.4, f/2, f/2.8, f/4, f/5.6, f/8, f/11, f/16")
    expect(page.locator(".missing")).to_contain_text("proof picture of a real scene")
    page.get_by_role("link", name="Check what was measured").click()
    assert SampleImage.objects.values("content_hash").distinct().count() == 24
    page.get_by_role("button", name=re.compile("^Submit")).click()
    reload_until(page, ".verdict", "At 720 nm: one report so far", seconds=90)


def test_an_evening_of_24_frames_survives_a_connection_that_breaks_half_way(open_page, gear, worker, folder):
    page = open_page("/")
    start_a_report(page, "Wren")
    line = Line(page, cut_after=HALF)
    page.set_input_files("#folder", folder)
    expect(page.locator("#left-out")).to_contain_text("notes.txt")
    expect(said(page)).to_contain_text("The connection is lost", timeout=60_000)
    wait_until_arrived(page, HALF)
    page.context.set_offline(True)
    expect(said(page)).to_contain_text("Your device is offline")
    line.mend()
    page.context.set_offline(False)
    expect(said(page)).to_have_text("24 of 24 have arrived.", timeout=60_000)
    assert not AwaitedFrame.objects.exists()
    finish(page)
    assert Report.objects.get().state == "submitted"


def test_a_tab_closed_half_way_is_no_loss(open_page, gear, worker, folder):
    page = open_page("/")
    start_a_report(page, "Dunlin")
    Line(page, cut_after=HALF)
    page.set_input_files("#folder", folder)
    wait_until_arrived(page, HALF)
    address, tab = page.url, page.context.new_page()
    page.close()

    tab.goto(address)
    expect(tab.locator("#awaited")).to_contain_text("12 of 24 frames have arrived")
    expect(tab.locator("#awaited")).to_contain_text("only the missing 12 are sent")
    sent = []
    tab.on("request", lambda request: request.headers.get("x-one-frame") and sent.append(request))
    tab.set_input_files("#folder", folder)
    expect(said(tab)).to_have_text("24 of 24 have arrived (12 of them before).", timeout=60_000)
    assert len(sent) == 24 - HALF
    finish(tab)


def test_sending_can_be_paused_and_goes_on(open_page, gear, folder):
    page = open_page("/")
    start_a_report(page, "Knot")
    held = []
    page.route(re.compile(r"/frames/$"), lambda route: held.append(route))
    page.set_input_files("#folder", folder)
    expect(page.get_by_text(re.compile("^sent, being looked at|^sending"))).to_have_count(3)
    page.get_by_role("button", name="Pause").click()
    expect(said(page)).to_have_text("Paused. 0 of 24 have arrived.")
    expect(page.get_by_text(re.compile("^waiting"))).to_have_count(24)
    page.unroute_all()
    page.get_by_role("button", name="Go on").click()
    expect(said(page)).to_have_text("24 of 24 have arrived.", timeout=60_000)


def test_signing_in_again_in_another_tab_lets_sending_go_on(open_page, gear, folder):
    page = open_page("/")
    start_a_report(page, "Plover")
    page.context.clear_cookies(name="sessionid")
    page.set_input_files("#folder", folder)
    expect(page.locator("#signed-out")).to_be_visible(timeout=30_000)
    other = page.context.new_page()
    other.goto("/accounts/login/")
    other.get_by_label("Email").fill("plover@saltmarsh.example")
    other.get_by_label("Password").fill("marram-grass-at-dusk")
    other.locator("main").get_by_role("button", name="Sign in").click()
    page.bring_to_front()
    page.get_by_role("button", name="Go on").click()
    expect(said(page)).to_have_text("24 of 24 have arrived.", timeout=60_000)


def test_a_file_that_the_server_stumbles_over_is_tried_again_and_holds_nobody_up(open_page, gear, folder):
    page = open_page("/")
    start_a_report(page, "Ruff")
    stumbles = [503, 502]

    def stumble(route):
        if route.request.method == "POST" and stumbles:
            return route.fulfill(status=stumbles.pop(), headers={"Retry-After": "1"})
        return route.continue_()

    page.route(re.compile(r"/frames/$"), stumble)
    page.set_input_files("#folder", folder)
    expect(said(page)).to_have_text("24 of 24 have arrived.", timeout=60_000)
    assert arrived() == 24
