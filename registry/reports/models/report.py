"""A report: one contributor's test of one copy of one lens with one rig and filter, in one place and evening."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from registry.gear.models import WAVELENGTH_RANGE
from registry.identifiers import new_public_id


class Basis(models.TextChoices):
    MEASURED = "measured", "measured from frames"
    GRADED = "graded", "graded by eye"
    RELAYED = "relayed", "relayed from a published source"


class ReportState(models.TextChoices):
    DRAFT = "draft", "draft"
    WAITING = "waiting", "waiting for a confirmation"
    SUBMITTED = "submitted", "submitted"
    SET_ASIDE = "set-aside", "set aside"
    WITHDRAWN = "withdrawn", "withdrawn"


class FilterPosition(models.TextChoices):
    FRONT = "front", "in front of the lens"
    REAR = "rear", "behind the lens"
    CLIP_IN = "clip-in", "clipped in before the sensor"
    SENSOR = "sensor", "on the sensor"


class Report(models.Model):
    """`tester_name` and the citation are set for relays only: the tester is then the cited person or source,
    and the author merely passes the result on. What a source does not state stays empty."""

    public_id = models.CharField(max_length=10, unique=True, default=new_public_id, editable=False)
    author = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="reports")
    basis = models.CharField(max_length=10, choices=Basis.choices)
    state = models.CharField(max_length=10, choices=ReportState.choices, default=ReportState.DRAFT)
    state_reason = models.TextField(blank=True)

    lens = models.ForeignKey("gear.Lens", on_delete=models.PROTECT, related_name="reports")
    teleconverter = models.ForeignKey(
        "gear.Teleconverter", null=True, blank=True, on_delete=models.PROTECT, related_name="reports"
    )
    adapter = models.ForeignKey(
        "gear.Adapter", null=True, blank=True, on_delete=models.PROTECT, related_name="reports"
    )
    copy = models.ForeignKey(
        "reports.Copy", null=True, blank=True, on_delete=models.PROTECT, related_name="reports"
    )
    rig = models.ForeignKey(
        "reports.Rig", null=True, blank=True, on_delete=models.PROTECT, related_name="reports"
    )
    body = models.ForeignKey(
        "gear.Body", null=True, blank=True, on_delete=models.PROTECT, related_name="reports"
    )
    filter = models.ForeignKey(
        "gear.Filter", null=True, blank=True, on_delete=models.PROTECT, related_name="reports"
    )
    filter_position = models.CharField(max_length=10, choices=FilterPosition.choices, blank=True)
    cut_on_nm = models.FloatField(null=True, blank=True, validators=WAVELENGTH_RANGE)
    light_group = models.CharField(max_length=20, blank=True)  # when there is no single cut-on: see rules

    accessories = models.CharField(max_length=200, blank=True)
    target = models.CharField(max_length=120, blank=True)
    light = models.CharField(max_length=120, blank=True)
    place = models.CharField(max_length=120, blank=True)
    notes = models.TextField(blank=True)
    shot_on = models.DateField(null=True, blank=True)
    licence = models.CharField(max_length=40, default="CC0-1.0")

    citation_url = models.URLField(max_length=500, blank=True)
    citation_title = models.CharField(max_length=300, blank=True)
    citation_author = models.CharField(max_length=120, blank=True)
    citation_date = models.DateField(null=True, blank=True)
    citation_archive_url = models.URLField(max_length=500, blank=True)
    tester_name = models.CharField(max_length=120, blank=True)

    # Filed before its frames were measured: it goes in by itself once they are, or says why it could not.
    submit_when_measured = models.BooleanField(default=False)
    submit_problems = models.JSONField(default=list, blank=True)
    sweeps_due = models.JSONField(default=list, blank=True)  # focal lengths whose sweep waits to be measured

    revision = models.PositiveIntegerField(default=1)
    version = models.PositiveIntegerField(default=1)  # counts every write; the ETag
    created_at = models.DateTimeField(auto_now_add=True)
    updated_at = models.DateTimeField(auto_now=True)
    submitted_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-submitted_at", "-id"]
        indexes = [
            models.Index(fields=["lens", "state"]),
            models.Index(fields=["author", "state"]),
            # How often a lens's reports were written: its page's stamp.
            models.Index(fields=["lens", "version"]),
        ]
        constraints = [
            models.CheckConstraint(condition=Q(basis__in=Basis.values), name="report_basis_known"),
            models.CheckConstraint(condition=Q(state__in=ReportState.values), name="report_state_known"),
            models.CheckConstraint(
                condition=Q(state=ReportState.DRAFT) | Q(submitted_at__isnull=False),
                name="report_submitted_when_not_draft",
            ),
            models.CheckConstraint(
                condition=Q(state=ReportState.DRAFT) | ~Q(basis=Basis.RELAYED) | ~Q(citation_title=""),
                name="report_relay_has_citation",
            ),
            models.CheckConstraint(
                condition=Q(cut_on_nm__isnull=True) | Q(cut_on_nm__gte=400, cut_on_nm__lte=1100),
                name="report_cut_on_in_range",
            ),
        ]

    def __str__(self) -> str:
        return f"report {self.public_id} on {self.lens}"


class ReportRevision(models.Model):
    """What a report said before an edit, whole. Append-only."""

    report = models.ForeignKey(Report, on_delete=models.PROTECT, related_name="revisions")
    number = models.PositiveIntegerField()
    reason = models.CharField(max_length=300, blank=True)
    by = models.ForeignKey(  # empty: the registry itself, measuring again
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    at = models.DateTimeField(auto_now_add=True)
    content = models.JSONField()

    class Meta:
        ordering = ["report", "number"]
        constraints = [models.UniqueConstraint(fields=["report", "number"], name="revision_numbered_once")]

    def __str__(self) -> str:
        return f"{self.report} revision {self.number}"
