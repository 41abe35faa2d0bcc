"""Addresses of API v1: one resource a line."""

from django.urls import path, re_path
from rest_framework.routers import SimpleRouter

from api.reference import Document, NoSuchAddress, Reference
from api.v1.accounts import Accounts
from api.v1.adapters import Adapters
from api.v1.appeals import Appeals
from api.v1.bags import Bags
from api.v1.blocks import Blocks
from api.v1.bodies import Bodies
from api.v1.conflicts import Conflicts
from api.v1.copies import Copies
from api.v1.decisions import Decisions
from api.v1.desk import Desk, DeskFigures, DeskThings
from api.v1.events import Events
from api.v1.exports import Exports
from api.v1.filters import Filters
from api.v1.flags import Flags
from api.v1.gear_doubles import GearDoubles
from api.v1.gear_history import GearHistory
from api.v1.gear_merges import GearMerges
from api.v1.gear_proposals import ProposedGear
from api.v1.hidden_pictures import HiddenPictures
from api.v1.images import Images
from api.v1.interests import Interests
from api.v1.joining import SameCopies, WorthJoining
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
from api.v1.voices import Voices
from api.v1.waiting_reports import WaitingReports
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
router.register("waiting-reports", WaitingReports, basename="waiting-report")
router.register("flags", Flags, basename="flag")
router.register("hidden-pictures", HiddenPictures, basename="hidden-picture")
router.register("accounts", Accounts, basename="account")
router.register("blocks", Blocks, basename="block")
router.register("appeals", Appeals, basename="appeal")
router.register("voices", Voices, basename="voice")
router.register("worth-joining", WorthJoining, basename="worth-joining")
router.register("same-copies", SameCopies, basename="same-copy")
router.register("gear-doubles", GearDoubles, basename="gear-double")
router.register("gear-merges", GearMerges, basename="gear-merge")
router.register("events", Events, basename="event")
router.register("bags", Bags, basename="bag")
router.register("wanted-tests", WantedTests, basename="wanted-test")
router.register("pick-lists", PickLists, basename="pick-list")
router.register("me/tokens", Tokens, basename="token")
router.register("me/interests", Interests, basename="interest")
router.register("me/watches", Watches, basename="watch")

urlpatterns = [
    path("me/", Me.as_view({"get": "retrieve"}), name="me"),
    path("me/notices/", Notices.as_view({"get": "list"}), name="notices"),
    path("me/notices/read/", Notices.as_view({"post": "read"}), name="read-notices"),
    path("desk/", Desk.as_view({"get": "retrieve"}), name="desk"),
    path("desk/figures/", DeskFigures.as_view({"get": "list"}), name="desk-figures"),
    path("desk/<str:kind>/", DeskThings.as_view({"get": "list"}), name="desk-things"),
    path("desk/<str:kind>/<str:key>/take-on/", Desk.as_view({"post": "take_on"}), name="desk-take-on"),
    path("desk/<str:kind>/<str:key>/hand-back/", Desk.as_view({"post": "hand_back"}), name="desk-hand-back"),
    path("gear-proposals/", ProposedGear.as_view({"get": "list"}), name="gear-proposals"),
    path(
        "gear-proposals/<slug:kind>/<slug:slug>/",
        ProposedGear.as_view({"get": "retrieve"}),
        name="gear-proposal",
    ),
    path(
        "gear-proposals/<slug:kind>/<slug:slug>/accept/",
        ProposedGear.as_view({"post": "accept"}),
        name="gear-proposal-accept",
    ),
    path(
        "gear-proposals/<slug:kind>/<slug:slug>/refuse/",
        ProposedGear.as_view({"post": "refuse"}),
        name="gear-proposal-refuse",
    ),
    path(
        "gear-history/<slug:kind>/<slug:slug>/",
        GearHistory.as_view({"get": "retrieve"}),
        name="gear-history",
    ),
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
