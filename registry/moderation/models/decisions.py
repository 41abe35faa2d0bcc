"""What moderators decided. Append-only, and the database refuses to change it: taking back is another row."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from registry.identifiers import new_public_id
from registry.standings.models import Conflict


class Act(models.TextChoices):
    """The first ones are decisions; the last four answer one. Two are about accounts, the others about reports."""

    ASK = "ask", "asked the author"
    SET_ASIDE = "set-aside", "set aside"
    RESTORE = "restore", "restored"
    SAME_COPY = "same-copy", "counted as tests of one copy"
    SAME_SOURCE = "same-source", "counted as one source"
    SAME_FRAMES = "same-frames", "counted as the same frames"
    KEEP_APART = "keep-apart", "kept as evidence of their own"
    SPLIT = "split", "stated by condition"
    ACCEPT = "accept", "accepted as unexplained copy variation"
    CORRECT_GEAR = "correct-gear", "corrected the gear"
    SAME_VOICE = "same-voice", "counted as one voice"
    OWN_VOICES = "own-voices", "kept as voices of their own"
    UNDO = "undo", "took back"
    APPROVE = "approve", "agreed"
    CONSENT = "consent", "consented as the author"
    DECLINE = "decline", "declined"


ANSWERS = (Act.APPROVE, Act.CONSENT, Act.DECLINE)


class Decision(models.Model):
    """One act of one moderator.

    conflict and lens are kept by number and slug: both may go or move (a merge), and this row may not.
    proposed: it only takes effect once someone else agrees. about: the decision that this one takes back or answers.
    details: what the act needs besides (due, factor, changes, name, accounts by public id), what it replaced
    (before), and what it was expected to change (standings, each with before and after). About accounts it names no
    lens: lens_slug is empty, and reports are theirs on the lenses that several of them tested.
    """

    public_id = models.CharField(max_length=10, unique=True, default=new_public_id, editable=False)
    act = models.CharField(max_length=14, choices=Act.choices)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="decisions")
    role = models.CharField(max_length=12)  # whose part they acted in: a role, or "author"
    at = models.DateTimeField(auto_now_add=True)
    conflict = models.ForeignKey(
        Conflict, null=True, on_delete=models.DO_NOTHING, db_constraint=False, related_name="decisions"
    )
    lens_slug = models.SlugField(max_length=140, blank=True)
    reports = models.ManyToManyField("reports.Report", through="DecisionReport", related_name="decisions")
    reason_code = models.CharField(max_length=30, blank=True)
    reason = models.TextField()
    proposed = models.BooleanField(default=False)
    about = models.ForeignKey(
        "self", null=True, on_delete=models.PROTECT, related_name="answers", db_index=False
    )
    details = models.JSONField(default=dict)

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.CheckConstraint(condition=Q(act__in=Act.values), name="decision_act_known"),
            models.UniqueConstraint(
                fields=["about"], condition=Q(act__in=ANSWERS), name="decision_answered_once"
            ),
            models.UniqueConstraint(
                fields=["about"], condition=Q(act=Act.UNDO, proposed=False), name="decision_undone_once"
            ),
        ]
        indexes = [models.Index(fields=["lens_slug", "id"]), models.Index(fields=["about"])]

    def __str__(self) -> str:
        return f"decision {self.public_id}: {self.get_act_display()}"


class DecisionReport(models.Model):
    """A report that a decision is about. Append-only, as the decision is."""

    decision = models.ForeignKey(Decision, on_delete=models.PROTECT, related_name="about_reports")
    report = models.ForeignKey("reports.Report", on_delete=models.PROTECT, related_name="about_decisions")

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(fields=["decision", "report"], name="decision_names_report_once")
        ]

    def __str__(self) -> str:
        return f"{self.decision} about {self.report_id}"
