"""Addresses of API v1: one resource a line."""

from django.urls import path, re_path
from rest_framework.routers import SimpleRouter

from api.reference import Document, NoSuchAddress, Reference
from api.v1.adapters import Adapters
from api.v1.bags import Bags
from api.v1.bodies import Bodies
from api.v1.conflicts import Conflicts
from api.v1.copies import Copies
from api.v1.filters import Filters
from api.v1.images import Images
from api.v1.kit_plans import KitPlans
from api.v1.lenses import Lenses
from api.v1.makers import Makers
from api.v1.me import Me, Tokens
from api.v1.missing_facts import MissingFacts
from api.v1.mounts import Mounts
from api.v1.reports import Reports
from api.v1.rigs import Rigs
from api.v1.shot_lists import ShotLists
from api.v1.standings import Standings
from api.v1.teleconverters import Teleconverters

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
router.register("conflicts", Conflicts, basename="conflict")
router.register("bags", Bags, basename="bag")
router.register("me/tokens", Tokens, basename="token")

urlpatterns = [
    path("me/", Me.as_view({"get": "retrieve"}), name="me"),
    path("shot-lists/", ShotLists.as_view({"get": "retrieve"}), name="shot-lists"),
    path("kit-plans/", KitPlans.as_view({"post": "plan"}), name="kit-plans"),
    path("openapi.json", Document.as_view(), name="openapi"),
    path("reference/", Reference.as_view(), name="reference"),
    *router.urls,
    re_path(r"^.*$", NoSuchAddress.as_view()),
]
