"""Who acts on which event: the only door upwards. Dotted paths, so that no lower room imports a higher one."""

from datetime import timedelta

FOLLOWERS: dict[str, list[str]] = {
    "report.submitted": [
        "registry.standings.tasks.refresh_for_report",
        "registry.moderation.tasks.look_at_voices",
        "registry.wanted.tasks.fulfil_reservation",
    ],
    "report.confirmed": [
        "registry.standings.tasks.refresh_for_report",
        "registry.wanted.tasks.fulfil_reservation",
        "registry.watching.tasks.tell_author",
    ],
    "report.waiting": ["registry.moderation.tasks.look_at_voices"],
    "report.revised": [
        "registry.standings.tasks.refresh_for_report",
        "registry.moderation.tasks.look_at_voices",
    ],
    "report.withdrawn": ["registry.standings.tasks.refresh_for_report"],
    "report.questioned": ["registry.watching.tasks.tell_author"],
    "report.set-aside": [
        "registry.standings.tasks.refresh_for_report",
        "registry.watching.tasks.tell_author",
    ],
    "report.restored": [
        "registry.standings.tasks.refresh_for_report",
        "registry.watching.tasks.tell_author",
    ],
    "report.corrected": [
        "registry.standings.tasks.refresh_for_report",
        "registry.watching.tasks.tell_author",
    ],
    "report.picture-withheld": ["registry.watching.tasks.tell_author"],
    "report.picture-shown-again": ["registry.watching.tasks.tell_author"],
    "voices.joined": ["registry.standings.tasks.refresh_for_voices", "registry.watching.tasks.tell_accounts"],
    "voices.parted": ["registry.standings.tasks.refresh_for_voices", "registry.watching.tasks.tell_accounts"],
    "account.blocked": ["registry.watching.tasks.tell_accounts"],
    "account.block-lifted": ["registry.watching.tasks.tell_accounts"],
    "appeal.answered": ["registry.watching.tasks.tell_accounts"],
    "evidence.joined": ["registry.standings.tasks.refresh_for_report"],
    "evidence.parted": ["registry.standings.tasks.refresh_for_report"],
    "standing.split": ["registry.standings.tasks.refresh_for_report"],
    "standing.joined": ["registry.standings.tasks.refresh_for_report"],
    "report.remeasured": ["registry.standings.tasks.refresh_for_report"],
    "gear.listed": ["registry.watching.tasks.tell_proposer"],
    "gear.refused": ["registry.watching.tasks.tell_proposer"],
    "gear.merged": ["registry.standings.tasks.refresh_for_gear", "registry.watching.tasks.tell_proposer"],
    "gear.merge-taken-back": ["registry.standings.tasks.refresh_for_gear"],
    "account.closed": ["registry.picks.tasks.sign_anew"],
    "account.renamed": ["registry.picks.tasks.sign_anew"],
    "standing.changed": [
        "registry.watching.tasks.tell_concerned",
        "registry.wanted.tasks.rank_lens_anew",
    ],
}

# What recurs, and how often; the task worker sees to it.
EVERY: dict[str, timedelta] = {
    "registry.reports.tasks.finish_stale_frames": timedelta(hours=1),
    "registry.standings.tasks.renew_priors_and_standings": timedelta(days=1),
    "registry.moderation.tasks.note_figures": timedelta(days=1),
    "registry.moderation.tasks.forget_addresses": timedelta(days=1),
    "registry.wanted.tasks.rank_what_is_wanted": timedelta(hours=1),
    "registry.watching.tasks.send_mail_due": timedelta(hours=1),
}
