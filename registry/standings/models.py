"""What the registry says today, what it said before, and where it cannot reconcile the evidence."""

from django.db import models
from django.db.models import Q
from django.utils import timezone

from registry.consensus.cells import band_label, zone_label


class NamedCell:
    """Of rows about one lens, cut-on group and focal zone: what people call the two."""

    @property
    def group_label(self) -> str:
        return band_label(self.cut_on_group)

    @property
    def zone_label(self) -> str:
        return zone_label(self.focal_zone, self.lens.focal_min_mm, self.lens.focal_max_mm)


class PriorsEdition(models.Model):
    """One edition of the empirical-Bayes priors; standings name the edition they were computed under."""

    number = models.PositiveIntegerField(unique=True)
    method_version = models.CharField(max_length=20)
    content = models.JSONField()
    made_at = models.DateTimeField(auto_now_add=True)
    in_force = models.BooleanField(default=False)

    class Meta:
        ordering = ["-number"]
        constraints = [
            models.UniqueConstraint(
                fields=["in_force"], condition=Q(in_force=True), name="one_edition_in_force"
            )
        ]

    def __str__(self) -> str:
        return f"priors edition {self.number}"


class Standing(NamedCell, models.Model):
    """One lens (with or without a teleconverter or an adapter with glass) in one cut-on group and focal zone.
    `stops`, `limit`, `causes`, `suspects` and `agreement` are JSON as registry.standings.services writes them."""

    lens = models.ForeignKey("gear.Lens", on_delete=models.CASCADE, related_name="standings")
    teleconverter = models.ForeignKey(
        "gear.Teleconverter", null=True, blank=True, on_delete=models.CASCADE, related_name="standings"
    )
    adapter = models.ForeignKey(
        "gear.Adapter", null=True, blank=True, on_delete=models.CASCADE, related_name="standings"
    )
    cut_on_group = models.CharField(max_length=20)
    focal_zone = models.CharField(max_length=20)
    verdict = models.CharField(max_length=30)
    f_number = models.FloatField(null=True, blank=True)
    words = models.CharField(max_length=400)  # the verdict in words, for each condition where it is so stated
    clean_to_av = models.FloatField(
        null=True, blank=True
    )  # Av up to which the verdict, or the one report, says clean
    leads = models.BooleanField(
        default=False
    )  # the worst tested zone of its group: the lens's sentence is about it
    sentence = models.TextField(blank=True)  # of the whole group, on the row that leads
    confidence = models.CharField(max_length=10, blank=True)
    n_reports = models.PositiveIntegerField(default=0)
    n_independent = models.PositiveIntegerField(default=0)
    stops = models.JSONField(default=list)
    limit = models.JSONField(default=dict)
    causes = models.JSONField(default=list)
    suspects = models.JSONField(default=list)
    agreement = models.JSONField(default=dict)
    detail = models.JSONField(default=dict)
    expected_information = models.FloatField(default=0)
    fingerprint = models.CharField(max_length=64)
    method_version = models.CharField(max_length=20)
    priors = models.ForeignKey(PriorsEdition, on_delete=models.PROTECT, related_name="standings")
    computed_at = models.DateTimeField(auto_now=True)

    class Meta:
        ordering = ["lens", "cut_on_group", "focal_zone"]
        constraints = [
            models.UniqueConstraint(
                fields=["lens", "cut_on_group", "focal_zone"],
                condition=Q(teleconverter__isnull=True, adapter__isnull=True),
                name="standing_once_bare_lens",
            ),
            models.UniqueConstraint(
                fields=["lens", "teleconverter", "cut_on_group", "focal_zone"],
                condition=Q(teleconverter__isnull=False, adapter__isnull=True),
                name="standing_once_with_teleconverter",
            ),
            models.UniqueConstraint(
                fields=["lens", "adapter", "cut_on_group", "focal_zone"],
                condition=Q(teleconverter__isnull=True, adapter__isnull=False),
                name="standing_once_with_adapter",
            ),
            models.UniqueConstraint(
                fields=["lens", "teleconverter", "adapter", "cut_on_group", "focal_zone"],
                condition=Q(teleconverter__isnull=False, adapter__isnull=False),
                name="standing_once_with_both",
            ),
        ]
        indexes = [
            models.Index(fields=["cut_on_group", "verdict"]),
            models.Index(fields=["lens", "cut_on_group"], condition=Q(leads=True), name="standing_leads"),
            models.Index(fields=["computed_at"], name="standing_computed_at"),  # the newest is a list's stamp
        ]

    def __str__(self) -> str:
        return f"{self.lens}, {self.cut_on_group}, {self.focal_zone}: {self.words}"


class StandingChange(models.Model):
    """History: one row each time a verdict, limit or confidence changes, with the event that caused it.
    Append-only."""

    lens = models.ForeignKey("gear.Lens", on_delete=models.CASCADE, related_name="standing_changes")
    teleconverter = models.ForeignKey(
        "gear.Teleconverter", null=True, blank=True, on_delete=models.CASCADE, related_name="+"
    )
    adapter = models.ForeignKey(
        "gear.Adapter", null=True, blank=True, on_delete=models.CASCADE, related_name="+"
    )
    cut_on_group = models.CharField(max_length=20)
    focal_zone = models.CharField(max_length=20)
    at = models.DateTimeField(auto_now_add=True)
    before = models.CharField(max_length=420, blank=True)
    after = models.CharField(max_length=420)
    snapshot = models.JSONField(default=dict)
    cause_event = models.BigIntegerField(null=True, blank=True)  # ledger sequence
    cause = models.CharField(max_length=120, blank=True)
    method_version = models.CharField(max_length=20)
    priors_number = models.PositiveIntegerField()

    class Meta:
        ordering = ["-id"]

    def __str__(self) -> str:
        return f"{self.lens}: {self.before} → {self.after}"

    @property
    def group_label(self) -> str:
        return band_label(self.cut_on_group)


class ConditionSplit(models.Model):
    """A lens's standings are stated apart for two conditions, since a moderator decided that the condition matters.

    group: the value of the factor on the first side; the second is every other stated one. labels: both sides in
    words, "with the filter in front of the lens".
    """

    lens = models.ForeignKey("gear.Lens", on_delete=models.CASCADE, related_name="condition_splits")
    teleconverter = models.ForeignKey(
        "gear.Teleconverter", null=True, blank=True, on_delete=models.CASCADE, related_name="+"
    )
    adapter = models.ForeignKey(
        "gear.Adapter", null=True, blank=True, on_delete=models.CASCADE, related_name="+"
    )
    factor = models.CharField(max_length=20)
    group = models.CharField(max_length=140)
    labels = models.JSONField(default=list)
    made_at = models.DateTimeField(auto_now_add=True)
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["id"]

    def __str__(self) -> str:
        return f"{self.lens} by {self.factor}"


class Conflict(models.Model):
    """Independent evidence that the model cannot reconcile, with candidate explanations.

    also_at: the other cells of its light path in which the same split shows, as [cut-on group, focal zone].
    stake: by how much the chance of a clean frame could change, at a stop that readers use, if one side were right.
    version counts every write: who decides must have seen the present one.
    """

    standing = models.ForeignKey(Standing, on_delete=models.CASCADE, related_name="conflicts")
    open = models.BooleanField(default=True)
    kind = models.CharField(max_length=20)  # "reports-differ", "suspect", "cause", "between-cells"
    key = models.CharField(max_length=64)  # what the split is about; one open conflict per key and standing
    explanations = models.JSONField(default=list)
    camps = models.JSONField(default=dict)
    also_at = models.JSONField(default=list)
    stake = models.FloatField(default=0)
    version = models.PositiveIntegerField(default=1)
    opened_at = models.DateTimeField(auto_now_add=True)
    updated_at = models.DateTimeField(auto_now=True)
    closed_at = models.DateTimeField(null=True, blank=True)
    close_reason = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["-opened_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["standing", "key"], condition=Q(open=True), name="conflict_open_once_per_split"
            )
        ]

    def __str__(self) -> str:
        return f"conflict on {self.standing}"

    def give_way(self, twin: "Conflict") -> bool:
        """Two lenses turned out to be one (registry.gear.carrying): the split goes on as the other conflict."""
        self.open, self.closed_at = False, timezone.now()
        self.close_reason = "the lens was merged with another, whose conflict goes on"
        return True
