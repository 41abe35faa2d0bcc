"""Who may answer on a report, and where."""

from registry.accounts.models import Account
from registry.reports.models import Report, ReportState

LONGEST_REPLY = 2000
REPLIES_PER_REPORT = 100
ANSWERABLE = (ReportState.WAITING, ReportState.SUBMITTED, ReportState.SET_ASIDE)


def may_reply(report: Report, account: Account) -> bool:
    """Its author, and moderators: they ask, and are answered. A draft or a withdrawn report is not discussed."""
    return (
        account.is_active
        and report.state in ANSWERABLE
        and (report.author_id == account.pk or account.moderates)
    )
