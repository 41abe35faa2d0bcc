from registry.reports.services.awaiting import announce_frames, stop_awaiting, turn_away
from registry.reports.services.drafts import change_draft, discard_draft, start_draft
from registry.reports.services.equipment import save_copy, save_rig
from registry.reports.services.evidence import (
    enter_claim,
    enter_finding,
    enter_readings,
    remove_claim,
    remove_finding,
    remove_readings,
)
from registry.reports.services.filing import file_report
from registry.reports.services.frames import (
    add_frame,
    attach_image,
    correct_image,
    correct_images,
    keep_image,
    remove_image,
    remove_images,
)
from registry.reports.services.life import (
    restore,
    revise_report,
    rewrite_draft,
    set_aside,
    submit_report,
    withdraw_report,
)
from registry.reports.services.measuring import (
    give_up_sweep,
    record_intake,
    record_measurement,
    record_sweep,
    record_unreadable,
)
from registry.reports.services.summary import say_summary, stand_by_summary

__all__ = [
    "add_frame",
    "announce_frames",
    "attach_image",
    "change_draft",
    "correct_image",
    "correct_images",
    "discard_draft",
    "enter_claim",
    "enter_finding",
    "enter_readings",
    "file_report",
    "give_up_sweep",
    "keep_image",
    "record_intake",
    "record_measurement",
    "record_sweep",
    "record_unreadable",
    "remove_claim",
    "remove_finding",
    "remove_image",
    "remove_images",
    "remove_readings",
    "restore",
    "revise_report",
    "rewrite_draft",
    "save_copy",
    "save_rig",
    "say_summary",
    "set_aside",
    "stand_by_summary",
    "start_draft",
    "stop_awaiting",
    "submit_report",
    "turn_away",
    "withdraw_report",
]
