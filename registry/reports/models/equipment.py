"""What a contributor tests with: their own converted body, and the one physical lens they hold."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from registry.gear.models import WAVELENGTH_RANGE
from registry.identifiers import new_public_id


class ConversionKind(models.TextChoices):
    LONG_PASS = "long-pass", "long-pass filter on the sensor"
    FULL_SPECTRUM = "full-spectrum", "full spectrum"
    BAND_PASS = "band-pass", "band-pass filter on the sensor"
    DUAL_BAND = "dual-band", "dual-band filter on the sensor"
    UNCONVERTED = "unconverted", "unconverted"


class Rig(models.Model):
    """A contributor's own body with its conversion."""

    public_id = models.CharField(max_length=10, unique=True, default=new_public_id, editable=False)
    owner = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="rigs")
    body = models.ForeignKey("gear.Body", on_delete=models.PROTECT, related_name="rigs")
    conversion = models.CharField(max_length=15, choices=ConversionKind.choices)
    cut_on_nm = models.FloatField(null=True, blank=True, validators=WAVELENGTH_RANGE)
    label = models.CharField(max_length=80, blank=True)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["owner", "body", "cut_on_nm"]
        constraints = [
            models.UniqueConstraint(
                fields=["owner", "body", "conversion", "cut_on_nm", "label"], name="rig_once_per_owner"
            ),
            models.CheckConstraint(
                condition=~Q(conversion=ConversionKind.LONG_PASS) | Q(cut_on_nm__isnull=False),
                name="rig_long_pass_has_cut_on",
            ),
            models.CheckConstraint(
                condition=Q(cut_on_nm__isnull=True) | Q(cut_on_nm__gte=400, cut_on_nm__lte=1100),
                name="rig_cut_on_in_range",
            ),
        ]

    def __str__(self) -> str:
        conversion = f"{self.cut_on_nm:g} nm" if self.cut_on_nm else self.get_conversion_display()
        return f"{self.body}, {conversion}"


class Copy(models.Model):
    """One physical example of a lens, as its holder calls it. A serial number is kept only as a keyed hash,
    which is how two contributors who test one copy are recognised."""

    public_id = models.CharField(max_length=10, unique=True, default=new_public_id, editable=False)
    lens = models.ForeignKey("gear.Lens", on_delete=models.PROTECT, related_name="copies")
    holder = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="copies")
    label = models.CharField(max_length=80, default="my copy")
    serial_hash = models.CharField(max_length=64, blank=True, db_index=True)
    same_as = models.ForeignKey(
        "self", null=True, blank=True, on_delete=models.SET_NULL, related_name="twins"
    )
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        verbose_name_plural = "copies"
        constraints = [
            models.UniqueConstraint(fields=["lens", "holder", "label"], name="copy_label_once_per_holder")
        ]

    def __str__(self) -> str:
        return f"{self.lens}, {self.label}"

    def give_way(self, twin: "Copy") -> bool:
        """Two lenses turned out to be one (registry.gear.carrying): so did copies of one label, unless their serial
        numbers tell them apart."""
        if self.serial_hash and twin.serial_hash and self.serial_hash != twin.serial_hash:
            self.label = f"{self.label[:60]} ({self.public_id})"
            return True
        twin.serial_hash = twin.serial_hash or self.serial_hash
        return False
