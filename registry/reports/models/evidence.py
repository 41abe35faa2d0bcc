"""What a report says: sweeps of readings, coarse claims, and other infrared traits seen."""

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q

from registry.gear.models import F_NUMBER_RANGE


class Sweep(models.Model):
    """The readings of a report at one focal length, from the widest to the narrowest aperture."""

    report = models.ForeignKey("reports.Report", on_delete=models.CASCADE, related_name="sweeps")
    focal_length_mm = models.FloatField(validators=[MinValueValidator(1), MaxValueValidator(3000)])
    focus_distance_m = models.FloatField(null=True, blank=True, validators=[MinValueValidator(0.01)])
    repeatability_ev = models.FloatField(null=True, blank=True)

    class Meta:
        ordering = ["focal_length_mm", "id"]
        constraints = [
            models.UniqueConstraint(fields=["report", "focal_length_mm"], name="sweep_once_per_focal_length"),
            models.CheckConstraint(condition=Q(focal_length_mm__gt=0), name="sweep_focal_length_positive"),
        ]

    def __str__(self) -> str:
        return f"{self.report} at {self.focal_length_mm:g} mm"


class Reading(models.Model):
    """One frame's result. `f_number` as marked, `av` its exact aperture value (registry.optics.stops).
    `excess_ev` with `excess_se` when measured; `grade` 0–4 when judged by eye."""

    sweep = models.ForeignKey(Sweep, on_delete=models.CASCADE, related_name="readings")
    f_number = models.FloatField(validators=F_NUMBER_RANGE)
    av = models.FloatField()
    excess_ev = models.FloatField(null=True, blank=True)
    excess_se = models.FloatField(null=True, blank=True)
    radius = models.FloatField(null=True, blank=True)
    tint_rg = models.FloatField(null=True, blank=True)
    tint_bg = models.FloatField(null=True, blank=True)
    grade = models.PositiveSmallIntegerField(null=True, blank=True, validators=[MaxValueValidator(4)])
    image = models.ForeignKey(
        "reports.SampleImage", null=True, blank=True, on_delete=models.PROTECT, related_name="readings"
    )
    method_version = models.CharField(max_length=20, blank=True)

    class Meta:
        ordering = ["av", "id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(f_number__gte=0.7, f_number__lte=64), name="reading_f_number_in_range"
            ),
            models.CheckConstraint(
                condition=Q(excess_ev__isnull=False, excess_se__isnull=False) | Q(grade__isnull=False),
                name="reading_measured_or_graded",
            ),
            models.CheckConstraint(
                condition=Q(excess_se__isnull=True) | Q(excess_se__gt=0), name="reading_se_positive"
            ),
            models.CheckConstraint(
                condition=Q(grade__isnull=True) | Q(grade__lte=4), name="reading_grade_in_range"
            ),
        ]

    def __str__(self) -> str:
        return f"f/{self.f_number:g}"


class ClaimSays(models.TextChoices):
    CLEAN_TO = "clean_to", "clean to"
    HOT_FROM = "hot_from", "hot from"
    CLEAN_ALL = "clean_all", "clean throughout"
    HOT_ALL = "hot_all", "hot throughout"
    MIXED = "mixed", "mixed results"
    NOTHING_FOUND = "nothing_found", "searched and found nothing"


class Claim(models.Model):
    """A coarse statement without readings; `focal_length_mm` empty when the source names none."""

    report = models.ForeignKey("reports.Report", on_delete=models.CASCADE, related_name="claims")
    says = models.CharField(max_length=15, choices=ClaimSays.choices)
    focal_length_mm = models.FloatField(null=True, blank=True, validators=[MinValueValidator(1)])
    f_number = models.FloatField(null=True, blank=True, validators=F_NUMBER_RANGE)
    av = models.FloatField(null=True, blank=True)

    class Meta:
        ordering = ["focal_length_mm", "id"]
        constraints = [
            models.CheckConstraint(
                condition=~Q(says__in=["clean_to", "hot_from"]) | Q(f_number__isnull=False),
                name="claim_about_a_stop_names_it",
            )
        ]

    def __str__(self) -> str:
        stop = f" f/{self.f_number:g}" if self.f_number else ""
        return f"{self.get_says_display()}{stop}"


class FindingKind(models.TextChoices):
    CORNERS = "corner-softness", "corner softness"
    FOCUS_SHIFT = "focus-shift", "focus shift"
    FLARE = "flare", "flare"
    CAST = "false-colour-cast", "false-colour cast"


class Finding(models.Model):
    """Another infrared trait seen, graded 0 (none) to 4 (dominating)."""

    report = models.ForeignKey("reports.Report", on_delete=models.CASCADE, related_name="findings")
    kind = models.CharField(max_length=20, choices=FindingKind.choices)
    grade = models.PositiveSmallIntegerField(validators=[MaxValueValidator(4)])
    note = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["kind"]
        constraints = [
            models.UniqueConstraint(fields=["report", "kind"], name="finding_once_per_kind"),
            models.CheckConstraint(condition=Q(grade__lte=4), name="finding_grade_in_range"),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()}: {self.grade}"
