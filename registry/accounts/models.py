"""People, their roles, and what their API tokens may do."""

from django.contrib.auth.models import AbstractBaseUser, BaseUserManager, PermissionsMixin
from django.db import models
from django.db.models.functions import Lower
from django.utils import timezone

from registry.identifiers import new_public_id


class AccountManager(BaseUserManager["Account"]):
    use_in_migrations = True

    def create_user(self, email: str, password: str | None = None, **fields) -> "Account":
        account = self.model(email=self.normalize_email(email).lower(), **fields)
        account.set_password(password)
        account.save(using=self._db)
        return account

    def create_superuser(self, email: str, password: str | None = None, **fields) -> "Account":
        fields |= {"is_staff": True, "is_superuser": True, "role": Role.STEWARD}
        fields.setdefault("name", email.split("@")[0])
        return self.create_user(email, password, **fields)

    def get_by_natural_key(self, username: str) -> "Account":
        return self.get(email__iexact=username)


class Role(models.TextChoices):
    CONTRIBUTOR = "contributor", "contributor"
    MODERATOR = "moderator", "moderator"
    STEWARD = "steward", "steward"


class Account(AbstractBaseUser, PermissionsMixin):
    """A person who signs in. `name` is what others see; the email address is never shown."""

    public_id = models.CharField(max_length=10, unique=True, default=new_public_id, editable=False)
    email = models.EmailField(unique=True)
    name = models.CharField(max_length=60, unique=True)
    role = models.CharField(max_length=12, choices=Role.choices, default=Role.CONTRIBUTOR)
    is_active = models.BooleanField(default=True)
    is_staff = models.BooleanField(default=False)
    joined_at = models.DateTimeField(default=timezone.now)

    objects = AccountManager()
    USERNAME_FIELD = "email"
    EMAIL_FIELD = "email"
    REQUIRED_FIELDS = ["name"]

    class Meta:
        constraints = [
            models.CheckConstraint(condition=models.Q(role__in=Role.values), name="account_role_known"),
            models.UniqueConstraint(Lower("name"), name="account_name_once"),
            models.UniqueConstraint(Lower("email"), name="account_email_once"),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def moderates(self) -> bool:
        return self.is_active and self.role in (Role.MODERATOR, Role.STEWARD)


class TokenGrant(models.Model):
    """What one API token is called and may do. The token itself is stored only as a hash, by its library."""

    token = models.OneToOneField("knox.AuthToken", on_delete=models.CASCADE, related_name="grant")
    name = models.CharField(max_length=60)
    scopes = models.JSONField(default=list)
    last_used_at = models.DateTimeField(null=True, blank=True)

    def __str__(self) -> str:
        return self.name


class Block(models.Model):
    """While it lasts, an account submits nothing. What it submitted before stays as it is. Kept after it ended.

    until: when it ends by itself; None where someone has to lift it.
    """

    account = models.ForeignKey(Account, on_delete=models.PROTECT, related_name="blocks")
    by = models.ForeignKey(Account, on_delete=models.PROTECT, related_name="+")
    reason = models.CharField(max_length=300)
    at = models.DateTimeField(auto_now_add=True)
    until = models.DateTimeField(null=True, blank=True)
    lifted_by = models.ForeignKey(Account, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    lifted_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["account"], condition=models.Q(lifted_at__isnull=True), name="blocked_once"
            )
        ]

    def __str__(self) -> str:
        return f"block of {self.account}"

    @property
    def is_over(self) -> bool:
        return self.lifted_at is not None or (self.until is not None and self.until <= timezone.now())


class AddressTrace(models.Model):
    """That an account registered or submitted from some address, known by a code only (registry.accounts.addresses)."""

    account = models.ForeignKey(Account, on_delete=models.CASCADE, related_name="address_traces")
    code = models.CharField(max_length=6)
    seen_at = models.DateTimeField()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(fields=["account", "code"], name="address_noted_once_per_account")
        ]
        indexes = [models.Index(fields=["code"]), models.Index(fields=["seen_at"])]

    def __str__(self) -> str:
        return f"{self.account} from {self.code}"


class SharedVoice(models.Model):
    """Accounts whose tests count as one person's, as moderators decided, until it ends."""

    name = models.CharField(max_length=10, unique=True, default=new_public_id, editable=False)
    accounts = models.ManyToManyField(Account, through="VoiceMember", related_name="shared_voices")
    made_at = models.DateTimeField(auto_now_add=True)
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["id"]

    def __str__(self) -> str:
        return f"one voice ({self.name})"


class VoiceMember(models.Model):
    """One account of a shared voice. It stays when the account is closed, whose reports stay too."""

    voice = models.ForeignKey(SharedVoice, on_delete=models.PROTECT, related_name="members")
    account = models.ForeignKey(Account, on_delete=models.PROTECT, related_name="voice_members")

    class Meta:
        ordering = ["id"]
        constraints = [models.UniqueConstraint(fields=["voice", "account"], name="in_a_voice_once")]

    def __str__(self) -> str:
        return f"{self.account} in {self.voice}"
