"""Addresses of the pages. They are printed on cards and linked from elsewhere: an address, once given, stays."""

from django.urls import path

from registry.pages.views import (
    by_hand,
    filing,
    frames,
    gear,
    lens,
    look_up,
    pictures,
    report,
    revising,
    shot_list,
    words,
)

urlpatterns = [
    path("", look_up.look_up, name="home"),
    path("camera/", look_up.my_camera, name="my-camera"),
    path("lenses/suggest/", filing.suggest_lenses, name="suggest-lenses"),
    path("lenses/add/", gear.propose, {"kind": "lens"}, name="propose-lens"),
    path("bodies/add/", gear.propose, {"kind": "body"}, name="propose-body"),
    path("filters/add/", gear.propose, {"kind": "filter"}, name="propose-filter"),
    path("lenses/<slug:slug>/", lens.lens, name="lens"),
    path("shot-list/", shot_list.choose_lens, name="shot-lists"),
    path("lenses/<slug:slug>/shot-list/", shot_list.shot_list, name="shot-list"),
    path("reports/new/", filing.start, name="report-start"),
    path("reports/relay/", by_hand.relay, name="report-relay"),
    path("reports/mine/", report.my_reports, name="my-reports"),
    path("reports/<str:public_id>/", report.report, name="report"),
    path("reports/<str:public_id>/details/", filing.details, name="report-details"),
    path("reports/<str:public_id>/frames/", frames.frames, name="report-frames"),
    path("reports/<str:public_id>/frames/state/", frames.frames_state, name="report-frames-state"),
    path("reports/<str:public_id>/frames/<str:image_id>/", filing.correct_frame, name="report-frame"),
    path("reports/<str:public_id>/check/", filing.check, name="report-check"),
    path("reports/<str:public_id>/submit/", filing.submit, name="report-submit"),
    path("reports/<str:public_id>/discard/", filing.discard, name="report-discard"),
    path("reports/<str:public_id>/grades/", by_hand.grades, name="report-grades"),
    path("reports/<str:public_id>/relayed/", by_hand.relayed, name="report-relayed"),
    path("reports/<str:public_id>/revise/", revising.revise, name="report-revise"),
    path("reports/<str:public_id>/withdraw/", revising.withdraw, name="report-withdraw"),
    path("grades/<int:grade>.jpg", pictures.reference, name="reference-picture"),
    path("method/", words.method, name="method"),
    path("problems/", words.problems, name="problems"),
    path("problems/<slug:code>/", words.problem, name="problem"),
    path("pictures/<path:name>", pictures.picture, name="image-picture"),
]
