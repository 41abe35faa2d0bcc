"""The catalogue: what people photograph with. Facts only; nothing here knows how a lens behaves in infrared."""

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Lower

from registry.optics.stops import LARGEST_F_NUMBER, SMALLEST_F_NUMBER

F_NUMBER_RANGE = [MinValueValidator(SMALLEST_F_NUMBER), MaxValueValidator(LARGEST_F_NUMBER)]
YEAR_RANGE = [MinValueValidator(1840), MaxValueValidator(2100)]
WAVELENGTH_RANGE = [MinValueValidator(400), MaxValueValidator(1100)]


class Maker(models.Model):
    name = models.CharField(max_length=60, unique=True)
    slug = models.SlugField(max_length=60, unique=True)

    class Meta:
        ordering = ["name"]
        constraints = [models.UniqueConstraint(Lower("name"), name="maker_named_once")]

    def __str__(self) -> str:
        return self.name


class Mount(models.Model):
    name = models.CharField(max_length=60, unique=True)
    slug = models.SlugField(max_length=60, unique=True)
    flange_distance_mm = models.FloatField(null=True, blank=True, validators=[MinValueValidator(1)])

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(Lower("name"), name="mount_named_once"),
            models.CheckConstraint(
                condition=Q(flange_distance_mm__isnull=True) | Q(flange_distance_mm__gt=0),
                name="mount_flange_distance_positive",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class GearStatus(models.TextChoices):
    PROPOSED = "proposed", "proposed"
    LISTED = "listed", "listed"


class GearItem(models.Model):
    """What every piece of gear has: a maker, a name, an address, and a standing in the catalogue."""

    maker = models.ForeignKey(Maker, on_delete=models.PROTECT, related_name="%(class)s_set")
    name = models.CharField(max_length=120)
    slug = models.SlugField(max_length=140, unique=True)
    status = models.CharField(max_length=10, choices=GearStatus.choices, default=GearStatus.LISTED)
    proposed_by = models.ForeignKey(
        "accounts.Account", null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    created_at = models.DateTimeField(auto_now_add=True)
    updated_at = models.DateTimeField(auto_now=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        abstract = True

    def __str__(self) -> str:
        return f"{self.maker} {self.name}"


def status_known(kind: str) -> models.CheckConstraint:
    return models.CheckConstraint(condition=Q(status__in=GearStatus.values), name=f"{kind}_status_known")


class Projection(models.TextChoices):
    RECTILINEAR = "rectilinear", "rectilinear"
    FISHEYE = "fisheye", "fisheye"
    CIRCULAR_FISHEYE = "circular-fisheye", "circular fisheye"


class FilterSeat(models.TextChoices):
    """Where a filter can sit on a lens."""

    FRONT_THREAD = "front-thread", "front thread"
    REAR_HOLDER = "rear-holder", "rear holder"
    DROP_IN = "drop-in", "drop-in slot"
    NONE = "none", "nowhere on the lens"


class Lens(GearItem):
    """One optical design. `widest_f` and `narrowest_f` are f-numbers as marked; for a zoom `widest_f` holds at
    its short end and `widest_f_tele` at its long end."""

    optical_revision = models.CharField(max_length=30, blank=True)
    mounts = models.ManyToManyField(Mount, related_name="lenses", blank=True)
    focal_min_mm = models.FloatField(validators=[MinValueValidator(1), MaxValueValidator(3000)])
    focal_max_mm = models.FloatField(validators=[MinValueValidator(1), MaxValueValidator(3000)])
    widest_f = models.FloatField(validators=F_NUMBER_RANGE)
    widest_f_tele = models.FloatField(validators=F_NUMBER_RANGE)
    narrowest_f = models.FloatField(null=True, blank=True, validators=F_NUMBER_RANGE)
    projection = models.CharField(max_length=20, choices=Projection.choices, default=Projection.RECTILINEAR)
    filter_thread_mm = models.FloatField(
        null=True, blank=True, validators=[MinValueValidator(10), MaxValueValidator(200)]
    )
    filter_seat = models.CharField(max_length=20, choices=FilterSeat.choices, default=FilterSeat.FRONT_THREAD)
    image_circle_mm = models.FloatField(null=True, blank=True, validators=[MinValueValidator(1)])
    mass_g = models.FloatField(null=True, blank=True, validators=[MinValueValidator(1)])
    length_mm = models.FloatField(null=True, blank=True, validators=[MinValueValidator(1)])
    year = models.PositiveSmallIntegerField(null=True, blank=True, validators=YEAR_RANGE)

    class Meta:
        ordering = ["maker__name", "focal_min_mm", "widest_f", "name"]
        verbose_name_plural = "lenses"
        indexes = [
            models.Index(fields=["updated_at"], name="lens_updated_at")
        ]  # the newest is a list's stamp
        constraints = [
            models.UniqueConstraint(
                fields=["maker", "name", "optical_revision"], name="lens_named_once_per_maker"
            ),
            models.CheckConstraint(
                condition=Q(focal_min_mm__gt=0, focal_max_mm__gte=F("focal_min_mm")),
                name="lens_focal_range_in_order",
            ),
            models.CheckConstraint(
                condition=Q(
                    widest_f__gte=0.7, widest_f__lte=64, widest_f_tele__gte=0.7, widest_f_tele__lte=64
                ),
                name="lens_widest_f_in_range",
            ),
            models.CheckConstraint(
                condition=Q(narrowest_f__isnull=True)
                | Q(narrowest_f__gte=F("widest_f"), narrowest_f__lte=64)
                & Q(narrowest_f__gte=F("widest_f_tele")),
                name="lens_narrowest_f_beyond_widest",
            ),
            models.CheckConstraint(
                condition=Q(projection__in=Projection.values), name="lens_projection_known"
            ),
            models.CheckConstraint(
                condition=Q(filter_seat__in=FilterSeat.values), name="lens_filter_seat_known"
            ),
            status_known("lens"),
            models.CheckConstraint(
                condition=Q(filter_thread_mm__isnull=True) | Q(filter_thread_mm__gt=0),
                name="lens_filter_thread_positive",
            ),
            models.CheckConstraint(
                condition=Q(filter_thread_mm__isnull=True) | Q(filter_seat=FilterSeat.FRONT_THREAD),
                name="lens_thread_only_with_front_seat",
            ),
        ]

    def __str__(self) -> str:
        return " ".join(part for part in (self.maker.name, self.name, self.optical_revision) if part)

    @property
    def is_zoom(self) -> bool:
        return self.focal_max_mm > self.focal_min_mm

    def widest_at(self, focal_length_mm: float) -> float:
        """The widest f-number as marked that this focal length allows: the short end's mark there, the long
        end's elsewhere unless both are equal (a zoom's marks between its ends are not published)."""
        return self.widest_f if focal_length_mm <= self.focal_min_mm * 1.02 else self.widest_f_tele


class LensAlias(models.Model):
    """Another way in which people or cameras write a lens's name."""

    lens = models.ForeignKey(Lens, on_delete=models.CASCADE, related_name="aliases")
    written = models.CharField(max_length=160, unique=True)

    class Meta:
        verbose_name_plural = "lens aliases"

    def __str__(self) -> str:
        return self.written


class Body(GearItem):
    mount = models.ForeignKey(Mount, null=True, blank=True, on_delete=models.PROTECT, related_name="bodies")
    sensor_width_mm = models.FloatField(default=36.0, validators=[MinValueValidator(1)])
    sensor_height_mm = models.FloatField(default=24.0, validators=[MinValueValidator(1)])
    megapixels = models.FloatField(null=True, blank=True, validators=[MinValueValidator(0.1)])
    year = models.PositiveSmallIntegerField(null=True, blank=True, validators=YEAR_RANGE)
    exif_model = models.CharField(max_length=120, blank=True)

    class Meta:
        ordering = ["maker__name", "name"]
        verbose_name_plural = "bodies"
        constraints = [
            models.UniqueConstraint(fields=["maker", "name"], name="body_named_once_per_maker"),
            status_known("body"),
            models.CheckConstraint(
                condition=Q(sensor_width_mm__gt=0, sensor_height_mm__gt=0), name="body_sensor_positive"
            ),
        ]

    @property
    def half_diagonal_mm(self) -> float:
        return (self.sensor_width_mm**2 + self.sensor_height_mm**2) ** 0.5 / 2


class Passes(models.TextChoices):
    LONG_PASS = "long-pass", "long-pass"
    BAND_PASS = "band-pass", "band-pass"
    DUAL_BAND = "dual-band", "dual-band"


class Filter(GearItem):
    """A filter model. `cut_on_nm` is where a long-pass reaches half its peak transmittance."""

    passes = models.CharField(max_length=10, choices=Passes.choices, default=Passes.LONG_PASS)
    cut_on_nm = models.FloatField(validators=WAVELENGTH_RANGE)
    cut_off_nm = models.FloatField(null=True, blank=True, validators=WAVELENGTH_RANGE)

    class Meta:
        ordering = ["maker__name", "cut_on_nm", "name"]
        constraints = [
            models.UniqueConstraint(fields=["maker", "name"], name="filter_named_once_per_maker"),
            status_known("filter"),
            models.CheckConstraint(condition=Q(passes__in=Passes.values), name="filter_passes_known"),
            models.CheckConstraint(
                condition=~Q(passes=Passes.BAND_PASS) | Q(cut_off_nm__isnull=False),
                name="filter_band_pass_has_cut_off",
            ),
            models.CheckConstraint(
                condition=Q(cut_on_nm__gte=400, cut_on_nm__lte=1100), name="filter_cut_on_in_range"
            ),
            models.CheckConstraint(
                condition=Q(cut_off_nm__isnull=True) | Q(cut_off_nm__gt=F("cut_on_nm")),
                name="filter_cut_off_beyond_cut_on",
            ),
        ]


class Teleconverter(GearItem):
    magnification = models.FloatField(validators=[MinValueValidator(1.01), MaxValueValidator(4)])
    mounts = models.ManyToManyField(Mount, related_name="teleconverters", blank=True)

    class Meta:
        ordering = ["maker__name", "name"]
        constraints = [
            models.UniqueConstraint(fields=["maker", "name"], name="teleconverter_named_once_per_maker"),
            status_known("teleconverter"),
            models.CheckConstraint(condition=Q(magnification__gt=1), name="teleconverter_magnifies"),
        ]


class Adapter(GearItem):
    """Carries a lens of one mount on a body of another; with glass in it, it is part of the optics."""

    lens_mount = models.ForeignKey(Mount, on_delete=models.PROTECT, related_name="adapters_for_lenses")
    body_mount = models.ForeignKey(Mount, on_delete=models.PROTECT, related_name="adapters_for_bodies")
    has_glass = models.BooleanField(default=False)
    magnification = models.FloatField(default=1.0, validators=[MinValueValidator(0.3), MaxValueValidator(3)])

    class Meta:
        ordering = ["maker__name", "name"]
        constraints = [
            models.UniqueConstraint(fields=["maker", "name"], name="adapter_named_once_per_maker"),
            status_known("adapter"),
            models.CheckConstraint(condition=Q(magnification__gt=0), name="adapter_magnification_positive"),
            models.CheckConstraint(
                condition=Q(has_glass=True) | Q(magnification=1.0), name="adapter_magnifies_only_with_glass"
            ),
            models.CheckConstraint(condition=~Q(lens_mount=F("body_mount")), name="adapter_joins_two_mounts"),
        ]


class GearKind(models.TextChoices):
    LENS = "lens", "lens"
    BODY = "body", "body"
    FILTER = "filter", "filter"
    TELECONVERTER = "teleconverter", "teleconverter"
    ADAPTER = "adapter", "adapter"


class FactSource(models.Model):
    """Where one fact about a piece of gear comes from. Append-only: a new source is a new row."""

    gear_kind = models.CharField(max_length=20, choices=GearKind.choices)
    gear_slug = models.CharField(max_length=140)
    fact = models.CharField(max_length=40)
    value = models.CharField(max_length=120)
    source = models.CharField(max_length=300)
    licence = models.CharField(max_length=60, blank=True)
    added_by = models.ForeignKey(
        "accounts.Account", null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    added_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["id"]
        indexes = [models.Index(fields=["gear_kind", "gear_slug", "fact"])]
        constraints = [
            models.CheckConstraint(condition=Q(gear_kind__in=GearKind.values), name="fact_source_kind_known"),
            models.CheckConstraint(condition=~Q(source=""), name="fact_source_named"),
        ]

    def __str__(self) -> str:
        return f"{self.gear_slug}: {self.fact} = {self.value} ({self.source})"


class Merge(models.Model):
    """Two rows of the catalogue were found to be one piece of gear; the former's address leads to the kept one.

    log: everything that the merge changed, as registry.gear.carrying writes it, so that it can be taken back.
    """

    kind = models.CharField(max_length=20, choices=GearKind.choices)
    former_slug = models.CharField(max_length=140)
    former_name = models.CharField(max_length=220)
    kept_slug = models.CharField(max_length=140)
    reason = models.CharField(max_length=300, blank=True)
    by = models.ForeignKey("accounts.Account", on_delete=models.PROTECT, related_name="gear_merges")
    at = models.DateTimeField(auto_now_add=True)
    log = models.JSONField(default=dict)
    taken_back_by = models.ForeignKey(
        "accounts.Account", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    taken_back_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-id"]
        indexes = [models.Index(fields=["kind", "kept_slug"], name="merge_into")]
        constraints = [
            models.UniqueConstraint(
                fields=["kind", "former_slug"],
                condition=Q(taken_back_at__isnull=True),
                name="merged_into_one",
            ),
            models.CheckConstraint(condition=Q(kind__in=GearKind.values), name="merge_kind_known"),
        ]

    def __str__(self) -> str:
        return f"{self.former_name} is {self.kept_slug}"


class SetApart(models.Model):
    """A moderator looked at two that seemed to be doubles and found that they are two. slugs in alphabetical order."""

    kind = models.CharField(max_length=20, choices=GearKind.choices)
    first_slug = models.CharField(max_length=140)
    second_slug = models.CharField(max_length=140)
    by = models.ForeignKey("accounts.Account", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["kind", "first_slug", "second_slug"], name="set_apart_once"),
            models.CheckConstraint(condition=Q(first_slug__lt=F("second_slug")), name="set_apart_in_order"),
        ]

    def __str__(self) -> str:
        return f"{self.first_slug} is not {self.second_slug}"
