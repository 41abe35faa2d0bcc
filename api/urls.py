"""Addresses of API v1: one resource a line."""

from django.urls import path, re_path
from rest_framework.routers import SimpleRouter

from api.reference import Document, NoSuchAddress, Reference
from api.v1.adapters import Adapters
from api.v1.bags import Bags
from api.v1.bodies import Bodies
from api.v1.conflicts import Conflicts
from api.v1.copies import Copies
from api.v1.decisions import Decisions
from api.v1.exports import Exports
from api.v1.filters import Filters
from api.v1.images import Images
from api.v1.kit_plans import KitPlans
from api.v1.lenses import Lenses
from api.v1.makers import Makers
from api.v1.me import Me, Tokens
from api.v1.missing_facts import MissingFacts
from api.v1.mounts import Mounts
from api.v1.pick_lists import PickLists
from api.v1.releases import Releases
from api.v1.report_batches import ReportBatches
from api.v1.reports import Reports
from api.v1.rigs import Rigs
from api.v1.shot_lists import ShotLists
from api.v1.standings import Standings
from api.v1.teleconverters import Teleconverters
from api.v1.wanted_tests import WantedTests
from api.v1.watches import Notices, Watches

app_name = "v1"

router = SimpleRouter()
router.register("makers", Makers, basename="maker")
router.register("mounts", Mounts, basename="mount")
router.register("lenses", Lenses, basename="lens")
router.register("missing-facts", MissingFacts, basename="missing-fact")
router.register("bodies", Bodies, basename="body")
router.register("filters", Filters, basename="filter")
router.register("teleconverters", Teleconverters, basename="teleconverter")
router.register("adapters", Adapters, basename="adapter")
router.register("rigs", Rigs, basename="rig")
router.register("copies", Copies, basename="copy")
router.register("reports", Reports, basename="report")
router.register("images", Images, basename="image")
router.register("standings", Standings, basename="standing")
router.register("releases", Releases, basename="release")
router.register("conflicts", Conflicts, basename="conflict")
router.register("decisions", Decisions, basename="decision")
router.register("bags", Bags, basename="bag")
router.register("wanted-tests", WantedTests, basename="wanted-test")
router.register("pick-lists", PickLists, basename="pick-list")
router.register("me/tokens", Tokens, basename="token")
router.register("me/watches", Watches, basename="watch")

urlpatterns = [
    path("me/", Me.as_view({"get": "retrieve"}), name="me"),
    path("me/notices/", Notices.as_view({"get": "list"}), name="notices"),
    path("me/notices/read/", Notices.as_view({"post": "read"}), name="read-notices"),
    path("reports/batch/", ReportBatches.as_view({"post": "file"}), name="report-batch"),
    path("shot-lists/", ShotLists.as_view({"get": "retrieve"}), name="shot-lists"),
    path("kit-plans/", KitPlans.as_view({"post": "plan"}), name="kit-plans"),
    path("openapi.json", Document.as_view(), name="openapi"),
    path("reference/", Reference.as_view(), name="reference"),
    path("exports/", Exports.as_view({"get": "tables"}), name="exports"),
    re_path(
        r"^exports/(?P<table>\w{1,40})\.(?P<form>\w{1,10})$",
        Exports.as_view({"get": "export"}),
        name="export",
    ),
    path(
        "releases/<str:version>/standings/", Releases.as_view({"get": "standings"}), name="released-standings"
    ),
    *router.urls,
    re_path(r"^.*$", NoSuchAddress.as_view()),
]
