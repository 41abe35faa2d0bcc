"""One example of each operation for the reference: what is asked, by hand, and what was answered, as recorded from a
registry of invented gear. The tests send every one of them and hold the answers against their description;
`RECORD_EXAMPLES=1 pytest tests/api/test_examples.py` records the answers anew."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

ANSWERS = Path(__file__).parent / "answers.json"
METHODS = ("get", "post", "put", "patch", "delete")

LENS, OTHER_LENS = "osterby-marram-50-mm-f-1-8", "quillmark-samphire-35-mm-f-2"
LACKING_LENS = "vantorre-polder-200-mm-f-4"
BODY, TELECONVERTER, ADAPTER = "osterby-causey-5", "osterby-extender-1-4", "vantorre-curlew-to-teal"
FILTER = "ferrow-dusk-720"
REPORT, OTHERS_REPORT, DRAFT, OWN_REPORT = "3n3bdgmnhp", "8h5t2c9vzq", "9d4k7v2rjx", "w5t8c1n6qz"
IMAGE, OWN_IMAGE = "5j2w8m4tqk", "f7x3p9b6nd"
IN_FORCE, PROPOSED = "7k2m9x4w1q", "p6x3j8m2ka"
COPY, RIG, BAG, PICKS = "c4n8r2y7wt", "r9v5g3h8pm", "b3q7k6d2xj", "k8w2t5z4vc"
CONFLICT, STANDING, WANTED, TOKEN, NOTICE = 1003, 1412, 1031, 1008, 1057
RELEASE = "2026.1"
ACCOUNT, WAITING, HIDDEN, OWN_HIDDEN = "2x8d4k7m1q", "v6n3t9j5kr", "6t4n8q2xhc", "9qk2m7x4wd"
BLOCK, APPEAL, FLAG, MERGE, INTEREST, EVENT = 1061, 1071, 1081, 1091, 1101, 1042
KEPT, DOUBLE, PROPOSED_LENS = "osterby-marram-35", "osterby-maram-35", "osterby-sedge-40-mm-f-2"
ONE_VOICE, OTHER_VOICE = "j4b7s2q9fm", "d8g3x6y5tp"
PROPOSAL = {"kind": "lens", "slug": PROPOSED_LENS}
WHY = {"reason": "I looked at the frames too."}
ASIDE = {
    "act": "set-aside",
    "conflict": CONFLICT,
    "reports": [OTHERS_REPORT],
    "reason_code": "not-a-target",
    "reason": "The frames show the dunes.",
}
FRAME = {"frame": "DSC_0412.JPG", "purpose": "target"}
SWEEP = {
    "lens": LENS,
    "basis": "graded",
    "rig": {"body": BODY, "conversion": "long-pass", "cut_on_nm": 720},
    "target": "overcast sky",
    "shot_on": "2024-06-21",
    "sweeps": [
        {
            "readings": [
                {"f_number": 2.8, "grade": 0},
                {"f_number": 5.6, "grade": 0},
                {"f_number": 8, "grade": 1},
                {"f_number": 11, "grade": 3},
            ]
        }
    ],
    "findings": [{"kind": "flare", "grade": 1}],
    "submit": True,
}
RELAYED = {
    "lens": LENS,
    "basis": "relayed",
    "cut_on_nm": 720,
    "tester_name": "R. Samphire",
    "citation_title": "Infrared on the saltings, part 3",
    "citation_url": "https://saltmarsh.example/infrared-3",
    "claims": [{"says": "clean_to", "f_number": 8}],
    "submit": True,
}
KIT = {
    "lenses": [
        {"lens": LENS},
        {"lens": OTHER_LENS, "hood": True},
        {"name": "Samphire 80 mm f/4", "filter_thread_mm": 77, "focal_min_mm": 80},
    ],
    "cut_ons_nm": [720],
    "bodies": [{"label": "Causey 5", "conversion_nm": None}],
    "rings": [{"lens_side_mm": 67, "filter_side_mm": 77}],
    "prices": {
        "filters": [
            {"cut_on_nm": 720, "diameter_mm": 67, "price": "55.00"},
            {"cut_on_nm": 720, "diameter_mm": 77, "price": "70.00"},
        ],
        "ring": "9.00",
        "currency": "EUR",
    },
}


@dataclass(frozen=True)
class Asked:
    """What one operation is asked with, as an example. bodies: by what each shows; several where there are ways."""

    path: dict[str, Any] = field(default_factory=dict)
    query: dict[str, Any] = field(default_factory=dict)
    bodies: dict[str, Any] = field(default_factory=dict)


def at(**path: Any) -> Asked:
    return Asked(path)


def sent(says: str, body: Any, **path: Any) -> Asked:
    return Asked(path, bodies={says: body})


# By operation. One that is not here is asked by its bare address.
ASKED: dict[str, Asked] = {
    "accounts_retrieve": at(public_id=ACCOUNT),
    "appeals_create": sent("A statue", {"image": OWN_HIDDEN, "says": "That is a statue, not a person."}),
    "appeals_retrieve": at(id=APPEAL),
    "appeals_answer_create": sent("Granted", {"grant": True, "reason": "So it is."}, id=APPEAL),
    "blocks_create": sent(
        "Advertising", {"account": ACCOUNT, "reason": "It advertises a shop in every note."}
    ),
    "blocks_retrieve": at(id=BLOCK),
    "blocks_lift_create": sent("Why", {"reason": "The notes were cleared."}, id=BLOCK),
    "desk_list": at(kind="waiting"),
    "desk_hand_back_create": at(kind="waiting", key=WAITING),
    "desk_take_on_create": at(kind="waiting", key=WAITING),
    "events_list": Asked(query={"limit": 2}),
    "events_retrieve": at(sequence=EVENT),
    "flags_create": sent(
        "A face in a picture",
        {"report": REPORT, "image": IMAGE, "reason_code": "person", "says": "Left edge."},
    ),
    "flags_retrieve": at(id=FLAG),
    "flags_settle_create": sent(
        "A fence post", {"outcome": "nothing-wrong", "reason": "It is a post."}, id=FLAG
    ),
    "gear_doubles_list": Asked(query={"kind": "lens"}),
    "gear_doubles_apart_create": sent("Two of their own", {"kind": "lens", "first": KEPT, "second": DOUBLE}),
    "gear_history_retrieve": at(kind="lens", slug=LENS),
    "gear_merges_create": sent(
        "A slip of the pen",
        {"kind": "lens", "double": DOUBLE, "into": KEPT, "reason": "One r was lost."},
    ),
    "gear_merges_retrieve": at(id=MERGE),
    "gear_merges_take_back_create": at(id=MERGE),
    "gear_proposals_retrieve": at(**PROPOSAL),
    "gear_proposals_accept_create": at(**PROPOSAL),
    "gear_proposals_refuse_create": sent("No such lens", {"reason": "It was never made."}, **PROPOSAL),
    "hidden_pictures_list": Asked(query={"kept_hidden": False}),
    "hidden_pictures_retrieve": at(public_id=HIDDEN),
    "hidden_pictures_keep_create": sent("Why", {"reason": "A face is plain to see."}, public_id=HIDDEN),
    "hidden_pictures_picture_retrieve": at(public_id=HIDDEN),
    "hidden_pictures_show_create": sent("Why", {"reason": "It is a statue."}, public_id=HIDDEN),
    "me_interests_create": sent("A maker’s dealer", {"maker": "quillmark"}),
    "me_interests_retrieve": at(id=INTEREST),
    "me_interests_destroy": at(id=INTEREST),
    "voices_create": sent(
        "A club’s evening",
        {"act": "own-voices", "accounts": [ONE_VOICE, OTHER_VOICE], "reason": "They met for an evening."},
    ),
    "voices_retrieve": at(public_id=ONE_VOICE),
    "voices_count_create": at(public_id=ONE_VOICE),
    "waiting_reports_retrieve": at(public_id=WAITING),
    "waiting_reports_confirm_create": at(public_id=WAITING),
    "waiting_reports_refuse_create": sent(
        "A street", {"reason_code": "not-a-target", "reason": "A street was graded."}, public_id=WAITING
    ),
    "adapters_retrieve": at(slug=ADAPTER),
    "bags_retrieve": at(public_id=BAG),
    "bodies_list": Asked(query={"search": "causey"}),
    "bodies_create": sent(
        "A body that the catalogue lacks",
        {
            "maker": "Osterby",
            "name": "Causey 9",
            "mount": "Teal",
            "sensor_width_mm": 36,
            "sensor_height_mm": 24,
        },
    ),
    "bodies_retrieve": at(slug=BODY),
    "conflicts_list": Asked(query={"open": True}),
    "conflicts_retrieve": at(id=CONFLICT),
    "conflicts_foreseen_list": at(id=CONFLICT),
    "copies_create": sent("A lens of your own", {"lens": LENS, "label": "bought in 2019"}),
    "copies_retrieve": at(public_id=COPY),
    "decisions_list": Asked(query={"lens": OTHER_LENS}),
    "decisions_create": sent("Set a report aside", ASIDE),
    "decisions_foresee_create": sent("What setting a report aside would change", ASIDE),
    "decisions_retrieve": at(public_id=IN_FORCE),
    "decisions_agree_create": sent("Why", WHY, public_id=PROPOSED),
    "decisions_decline_create": sent("Why", WHY, public_id=PROPOSED),
    "decisions_undo_create": sent("Why", WHY, public_id=IN_FORCE),
    "exports_read": at(table="mounts", form="csv"),
    "filters_create": sent(
        "A filter that the catalogue lacks",
        {"maker": "Ferrow", "name": "Ember 630", "passes": "long-pass", "cut_on_nm": 630},
    ),
    "filters_retrieve": at(slug=FILTER),
    "images_create": sent("A frame as the camera wrote it", FRAME),
    "images_retrieve": at(public_id=IMAGE),
    "images_partial_update": sent("Graded by eye", {"f_number": 8, "grade": 2}, public_id=OWN_IMAGE),
    "images_destroy": at(public_id=OWN_IMAGE),
    "images_known_create": sent(
        "Two files of a folder",
        {
            "content_hashes": [
                "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08",
                "60303ae22b998861bce3b28f33eec1be758a213c86c93c076dbe9f558c11c752",
            ]
        },
    ),
    "kit_plans_plan": sent("Three threads, one cut-on, some things owned", KIT),
    "lenses_list": Asked(query={"search": "marram 50", "cut_on_nm": 720}),
    "lenses_create": sent(
        "A lens that the catalogue lacks",
        {
            "maker": "Osterby",
            "name": "Marram 85 mm f/2",
            "mounts": ["Teal"],
            "focal_min_mm": 85,
            "widest_f": 2,
            "narrowest_f": 22,
            "filter_thread_mm": 62,
            "source": "read off the lens",
        },
    ),
    "lenses_retrieve": Asked({"slug": LENS}, {"cut_on_nm": 720}),
    "makers_retrieve": at(slug="osterby"),
    "me_notices_read_create": sent("One notice", {"notice": NOTICE}),
    "me_tokens_create": sent(
        "For a program", {"name": "folder tool", "scopes": ["read", "submit"], "days": 365}
    ),
    "me_tokens_retrieve": at(id=TOKEN),
    "me_tokens_destroy": at(id=TOKEN),
    "me_watches_create": sent("A lens", {"lens": OTHER_LENS}),
    "me_watches_retrieve": at(lens=LENS),
    "me_watches_destroy": at(lens=LENS),
    "missing_facts_list": Asked(query={"mount": "teal"}),
    "missing_facts_create": sent(
        "Read off the rim", {"lens": LACKING_LENS, "filter_thread_mm": 67, "source": "read off the lens"}
    ),
    "mounts_retrieve": at(slug="teal"),
    "pick_lists_list": Asked(query={"lens": LENS}),
    "pick_lists_retrieve": at(public_id=PICKS),
    "releases_retrieve": at(version=RELEASE),
    "releases_standings_list": Asked({"version": RELEASE}, {"lens": LENS}),
    "reports_list": Asked(query={"lens": LENS, "basis": "graded"}),
    "reports_create": Asked(bodies={"A sweep graded by eye": SWEEP, "A published claim, relayed": RELAYED}),
    "reports_batch_create": Asked(bodies={"One line of many": {"key": "marram-1"} | SWEEP}),
    "reports_retrieve": at(public_id=REPORT),
    "reports_partial_update": sent("A note", {"notes": "Second evening, calmer air."}, public_id=DRAFT),
    "reports_destroy": at(public_id=DRAFT),
    "reports_frames_create": sent("A frame as the camera wrote it", FRAME, public_id=DRAFT),
    "reports_replies_create": sent(
        "An answer", {"says": "It was a wall: the frame is 2 m wide."}, public_id=OWN_REPORT
    ),
    "reports_submit_create": sent("Now", {"when_measured": False}, public_id=DRAFT),
    "reports_withdraw_create": sent("Why", {"reason": "The hood was off."}, public_id=OWN_REPORT),
    "rigs_create": sent(
        "A converted body",
        {"body": BODY, "conversion": "long-pass", "cut_on_nm": 720, "label": "the old one"},
    ),
    "rigs_retrieve": at(public_id=RIG),
    "shot_lists_retrieve": Asked(query={"lens": LENS, "conversion": "long-pass", "cut_on_nm": 720}),
    "standings_list": Asked(query={"lens": LENS}),
    "standings_retrieve": at(id=STANDING),
    "teleconverters_retrieve": at(slug=TELECONVERTER),
    "wanted_tests_list": Asked(query={"cut_on_group": "700-780", "limit": 2}),
    "wanted_tests_retrieve": at(id=WANTED),
    "wanted_tests_reserve_create": at(id=WANTED),
    "wanted_tests_release_create": at(id=WANTED),
}


def show_examples(result: dict[str, Any], generator: Any, request: Any, public: bool) -> dict[str, Any]:
    """Write the examples into the OpenAPI document."""
    for operation in operations(result):
        asked = ASKED.get(operation["operationId"], Asked())
        for parameter in operation.get("parameters", []):
            values = {"path": asked.path, "query": asked.query}.get(parameter["in"], {})
            if parameter["name"] in values:
                parameter["example"] = values[parameter["name"]]
        _show_bodies(operation.get("requestBody", {}).get("content", {}), asked)
        _show_answer(operation)
    return result


def operations(document: dict[str, Any]) -> Iterator[dict[str, Any]]:
    for methods in document["paths"].values():
        yield from (methods[method] for method in METHODS if method in methods)


@cache
def answers() -> dict[str, Any]:
    """The recorded answers by operation."""
    return json.loads(ANSWERS.read_text()) if ANSWERS.exists() else {}


def _show_bodies(content: dict[str, Any], asked: Asked) -> None:
    if content and asked.bodies:
        first = next(iter(content.values()))
        first["examples"] = {says: {"summary": says, "value": body} for says, body in asked.bodies.items()}


def _show_answer(operation: dict[str, Any]) -> None:
    answer = answers().get(operation["operationId"])
    for status, told in operation["responses"].items():
        if answer is not None and status < "300" and told.get("content"):
            shown = next(iter(told["content"].values()))
            shown.pop("examples", None)
            shown["example"] = answer
