"""Who watches which lens, what each account was told, and how its mail goes out."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone


class Watch(models.Model):
    """An account wants to hear of one lens. Nobody else sees it."""

    account = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="watches")
    lens = models.ForeignKey("gear.Lens", on_delete=models.CASCADE, related_name="watches")
    since = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["lens__maker__name", "lens__focal_min_mm", "pk"]
        constraints = [models.UniqueConstraint(fields=["account", "lens"], name="watch_once_per_lens")]

    def __str__(self) -> str:
        return f"{self.account} watches {self.lens}"


class NoticeMail(models.TextChoices):
    AT_ONCE = "at-once", "at once"
    DIGEST = "digest", "in the digest"
    NONE = "none", "not at all"


class Rhythm(models.TextChoices):
    DAILY = "daily", "every day"
    WEEKLY = "weekly", "every week"
    NEVER = "never", "never"


class Scope(models.TextChoices):
    MINE = "mine", "my lenses"
    ALL = "all", "every lens"


class MailChoice(models.Model):
    """How one account is written to. digest_from: up to when its digests have told."""

    account = models.OneToOneField(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="mail_choice"
    )
    notices = models.CharField(max_length=10, choices=NoticeMail.choices, default=NoticeMail.AT_ONCE)
    digest = models.CharField(max_length=10, choices=Rhythm.choices, default=Rhythm.NEVER)
    scope = models.CharField(max_length=10, choices=Scope.choices, default=Scope.MINE)
    digest_from = models.DateTimeField(default=timezone.now)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(notices__in=NoticeMail.values), name="mail_choice_notices_known"
            ),
            models.CheckConstraint(condition=Q(digest__in=Rhythm.values), name="mail_choice_digest_known"),
            models.CheckConstraint(condition=Q(scope__in=Scope.values), name="mail_choice_scope_known"),
            models.CheckConstraint(
                condition=~Q(notices=NoticeMail.DIGEST) | ~Q(digest=Rhythm.NEVER),
                name="mail_choice_digest_comes",
            ),
        ]

    def __str__(self) -> str:
        return f"mail to {self.account}: notices {self.notices}, digest {self.digest}"


class Why(models.TextChoices):
    """What makes an event an account's concern."""

    AUTHOR = "author", "it is your report"
    REPORTED = "reported", "you reported on it"
    IN_BAG = "in-bag", "it is in your bag"
    WATCHED = "watched", "you watch it"
    PROPOSED = "proposed", "you proposed it"
    ACCOUNT = "account", "it is about your account"


class Notice(models.Model):
    """One event that concerns one account. What it says is read from the event, which never changes."""

    account = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="notices")
    event = models.ForeignKey("ledger.Event", on_delete=models.PROTECT, related_name="notices")
    why = models.CharField(max_length=10, choices=Why.choices)
    made_at = models.DateTimeField(auto_now_add=True)
    read_at = models.DateTimeField(null=True, blank=True)
    mail_due = models.BooleanField(default=False)  # still to be mailed, at once or with a digest

    class Meta:
        ordering = ["-event_id", "-pk"]
        constraints = [
            models.UniqueConstraint(fields=["account", "event"], name="notice_once_per_event"),
            models.CheckConstraint(condition=Q(why__in=Why.values), name="notice_why_known"),
        ]
        indexes = [
            models.Index(fields=["account"], condition=Q(read_at__isnull=True), name="notice_unread"),
            models.Index(fields=["account"], condition=Q(mail_due=True), name="notice_mail_due"),
        ]

    def __str__(self) -> str:
        return f"notice of event {self.event_id} to {self.account}"
