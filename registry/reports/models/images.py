"""Pictures of a report and what was measured in them."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from registry.identifiers import new_public_id


class ImagePurpose(models.TextChoices):
    TARGET = "target", "test frame of a plain target"
    CONTROL = "control", "control frame"
    PROOF = "proof", "proof picture of a scene"


class ImageState(models.TextChoices):
    ARRIVED = "arrived", "waiting to be measured"
    TAKEN_IN = "taken-in", "being measured"
    MEASURED = "measured", "measured"
    UNCERTAIN = "uncertain", "measured, but uncertain"
    REJECTED = "rejected", "could not be judged; grade it by eye"
    UNREADABLE = "unreadable", "could not be read"
    KEPT = "kept", "kept as a picture"


class SampleImage(models.Model):
    """One uploaded picture. `original` exists only until it is sanitised; `kept` is what measuring again needs,
    pixel data only; `picture` and `thumbnail` are re-encoded and may be shown."""

    public_id = models.CharField(max_length=10, unique=True, default=new_public_id, editable=False)
    owner = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="images")
    report = models.ForeignKey(
        "reports.Report", null=True, blank=True, on_delete=models.PROTECT, related_name="images"
    )
    purpose = models.CharField(max_length=10, choices=ImagePurpose.choices, default=ImagePurpose.TARGET)
    state = models.CharField(max_length=12, choices=ImageState.choices, default=ImageState.ARRIVED)
    file_name = models.CharField(max_length=200)
    byte_size = models.PositiveBigIntegerField()
    content_hash = models.CharField(max_length=64, db_index=True)
    perceptual_hash = models.CharField(max_length=200, blank=True)
    kind = models.CharField(max_length=10, blank=True)
    width = models.PositiveIntegerField(null=True, blank=True)
    height = models.PositiveIntegerField(null=True, blank=True)
    exif = models.JSONField(default=dict, blank=True)  # the kept fields only
    f_number = models.FloatField(null=True, blank=True)  # from EXIF, or corrected by hand
    focal_length_mm = models.FloatField(null=True, blank=True)
    grade = models.PositiveSmallIntegerField(null=True, blank=True)  # by eye, where measuring was refused
    problem = models.JSONField(null=True, blank=True)  # why it could not be read: a registry.errors.Problem
    original = models.CharField(max_length=200, blank=True)  # name in private storage; emptied when deleted
    kept = models.CharField(max_length=200, blank=True)  # name in private storage
    picture = models.CharField(max_length=200, blank=True)  # name in public storage
    thumbnail = models.CharField(max_length=200, blank=True)
    # While a flagged picture is hidden: what `picture` and `thumbnail` said, which are empty meanwhile.
    withheld = models.JSONField(default=dict, blank=True)
    created_at = models.DateTimeField(auto_now_add=True)
    updated_at = models.DateTimeField(auto_now=True)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(fields=["report", "content_hash"], name="image_once_per_report"),
            models.CheckConstraint(
                condition=Q(grade__isnull=True) | Q(grade__lte=4), name="image_grade_in_range"
            ),
        ]

    def __str__(self) -> str:
        return self.file_name


class Measurement(models.Model):
    """One measurement of one image under one version of the method, alone or as part of its sweep.
    Append-only: measuring again adds rows; the newest of the newest version counts."""

    image = models.ForeignKey(SampleImage, on_delete=models.CASCADE, related_name="measurements")
    method_version = models.CharField(max_length=20)
    from_sweep = models.BooleanField(default=False)
    status = models.CharField(max_length=10)
    result = models.JSONField()  # photometry's Measurement.to_dict()
    measured_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["id"]
        get_latest_by = "id"

    def __str__(self) -> str:
        return f"{self.image}: {self.status}"
