"""What readers flagged, and what those concerned answered."""

from django.conf import settings
from django.db import models
from django.db.models import Q


class FlagReason(models.TextChoices):
    """What may be wrong. A picture flagged for one of the first three is hidden until a moderator has looked at it."""

    PERSON = "person", "it shows a person, a number plate or a private place"
    NOT_THEIRS = "not-theirs", "it is someone else’s picture"
    OFFENSIVE = "offensive", "it is offensive or unlawful"
    NOT_A_TEST = "not-a-test", "it is no test of this lens"
    WRONG = "wrong", "something in it is wrong"
    COPIED = "copied", "it repeats another report"
    SPAM = "spam", "it advertises something"


class FlagOutcome(models.TextChoices):
    OPEN = "", "not looked at yet"
    NOTHING_WRONG = "nothing-wrong", "nothing is wrong"
    HIDDEN = "hidden", "the picture stays hidden"
    SEEN_TO = "seen-to", "seen to"


class Flag(models.Model):
    """A reader asks for a report, or a picture of one, to be looked at. Who asked is known to moderators only."""

    report = models.ForeignKey("reports.Report", on_delete=models.PROTECT, related_name="flags")
    image = models.ForeignKey(
        "reports.SampleImage", null=True, blank=True, on_delete=models.PROTECT, related_name="flags"
    )
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="flags")
    reason_code = models.CharField(max_length=12, choices=FlagReason.choices)
    says = models.CharField(max_length=300, blank=True)
    at = models.DateTimeField(auto_now_add=True)
    hid = models.BooleanField(default=False)  # whether this flag hid the picture
    outcome = models.CharField(max_length=14, choices=FlagOutcome.choices, blank=True)
    settled_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    settled_at = models.DateTimeField(null=True, blank=True)
    reason = models.CharField(max_length=300, blank=True)  # of the outcome

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(condition=Q(reason_code__in=FlagReason.values), name="flag_reason_known"),
            models.UniqueConstraint(
                fields=["by", "report", "image"],
                condition=Q(outcome="", image__isnull=False),
                name="picture_flagged_once",
            ),
            models.UniqueConstraint(
                fields=["by", "report"],
                condition=Q(outcome="", image__isnull=True),
                name="report_flagged_once",
            ),
        ]
        indexes = [models.Index(fields=["at"], condition=Q(outcome=""), name="flag_open")]

    def __str__(self) -> str:
        return f"flag on {self.image or self.report}"


class Appeal(models.Model):
    """Someone whose account was blocked or counted as one voice with others, or whose picture was hidden, asks for a
    second look by another moderator."""

    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="appeals")
    block = models.ForeignKey(
        "accounts.Block", null=True, blank=True, on_delete=models.PROTECT, related_name="appeals"
    )
    image = models.ForeignKey(
        "reports.SampleImage", null=True, blank=True, on_delete=models.PROTECT, related_name="appeals"
    )
    voice = models.ForeignKey(
        "accounts.SharedVoice", null=True, blank=True, on_delete=models.PROTECT, related_name="appeals"
    )
    says = models.TextField()
    at = models.DateTimeField(auto_now_add=True)
    granted = models.BooleanField(null=True, blank=True)
    answer = models.CharField(max_length=300, blank=True)
    answered_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    answered_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(block__isnull=False, image__isnull=True, voice__isnull=True)
                | Q(block__isnull=True, image__isnull=False, voice__isnull=True)
                | Q(block__isnull=True, image__isnull=True, voice__isnull=False),
                name="appeal_about_one_thing",
            ),
            models.UniqueConstraint(
                fields=["block"], condition=Q(granted__isnull=True), name="block_appealed_once"
            ),
            models.UniqueConstraint(
                fields=["image"], condition=Q(granted__isnull=True), name="picture_appealed_once"
            ),
            models.UniqueConstraint(
                fields=["voice", "by"], condition=Q(granted__isnull=True), name="voice_appealed_once_each"
            ),
        ]

    def __str__(self) -> str:
        return f"appeal by {self.by}"
