"""What goes into a bag, and how its kit may look."""

from __future__ import annotations

import re
from collections.abc import Iterable
from decimal import Decimal

from django import forms

from registry.bags.contents import LONGEST_LABEL, STATES, BagBody, Carried
from registry.bags.planning import Wishes
from registry.errors import CleanstopError
from registry.kits.bag import FrontFilter, Prices, Ring
from registry.optics.field_of_view import FULL_FRAME_HALF_DIAGONAL_MM

NUMBER = {"inputmode": "decimal", "step": "any"}
# Usual sizes of sensors in mm (common practice, no source).
SENSORS = (
    ("36x24", "36 × 24 mm, full frame"),
    ("23.5x15.6", "23.5 × 15.6 mm, crop factor 1.5"),
    ("22.3x14.9", "22.3 × 14.9 mm, crop factor 1.6"),
    ("17.3x13", "17.3 × 13 mm, crop factor 2"),
    ("13.2x8.8", "13.2 × 8.8 mm, crop factor 2.7"),
    ("43.8x32.9", "43.8 × 32.9 mm, medium format"),
)
RING_LINE = re.compile(
    r"(\d+(?:[.,]\d+)?)\s*(?:-|–|→|to|>)\s*(\d+(?:[.,]\d+)?)(?:\s*mm)?[\s:=]+(\d+(?:[.,]\d+)?)"
)


def number(label: str, **more) -> forms.FloatField:
    return forms.FloatField(label=label, widget=forms.NumberInput(attrs=NUMBER), **more)


class CutOnForm(forms.Form):
    """A cut-on to photograph at."""

    prefix = "cut-on"
    cut_on_nm = number("Cut-on, nm")


class BodyForm(forms.Form):
    """A camera that the bag's lenses are used on."""

    prefix = "body"
    label = forms.CharField(label="Camera", required=False, max_length=LONGEST_LABEL)
    conversion_nm = number(
        "Converted at, nm",
        required=False,
        help_text="Leave it empty for full spectrum or an unconverted camera: then each cut-on needs a filter.",
    )
    sensor = forms.ChoiceField(label="Sensor", choices=SENSORS, required=False)

    def body(self) -> BagBody:
        width, _, height = (self.cleaned_data["sensor"] or SENSORS[0][0]).partition("x")
        diagonal = (float(width) ** 2 + float(height) ** 2) ** 0.5
        half = FULL_FRAME_HALF_DIAGONAL_MM if (width, height) == ("36", "24") else diagonal / 2
        return BagBody(self.cleaned_data["label"].strip(), self.cleaned_data["conversion_nm"], half)


class FilterForm(forms.Form):
    """A screw-in filter that its owner has."""

    prefix = "filter"
    cut_on_nm = number("Cut-on, nm")
    diameter_mm = number("Diameter, mm")

    def piece(self) -> FrontFilter:
        return FrontFilter(self.cleaned_data["cut_on_nm"], self.cleaned_data["diameter_mm"])


class RingForm(forms.Form):
    """An adapter ring that its owner has."""

    prefix = "ring"
    lens_side_mm = number("Screws into, mm")
    filter_side_mm = number("Takes filters of, mm")

    def piece(self) -> Ring:
        return Ring(self.cleaned_data["lens_side_mm"], self.cleaned_data["filter_side_mm"])


class CarriedForm(forms.Form):
    """How a lens is carried."""

    state = forms.ChoiceField(choices=[(state, state) for state in STATES])
    hood = forms.BooleanField(required=False)

    def carried(self, slug: str) -> Carried:
        return Carried(slug, self.cleaned_data["state"], self.cleaned_data["hood"])


class WishesForm(forms.Form):
    """How a plan may look; everything stands in the address, so that a plan can be linked."""

    lenses = forms.ChoiceField(
        label="Lenses",
        required=False,
        choices=[("", "owned and considered"), ("owned", "owned only")],
    )
    by = forms.ChoiceField(
        label="Best is",
        required=False,
        choices=[("", "the cheapest"), ("pieces", "the fewest pieces")],
    )
    rings = forms.ChoiceField(
        label="Rings",
        required=False,
        choices=[("", "shared by lenses"), ("own", "one for each lens")],
    )
    most_rings = forms.TypedChoiceField(
        label="Stacked on one lens",
        required=False,
        coerce=int,
        empty_value=2,
        choices=[("", "two rings at most"), ("1", "one ring at most"), ("0", "no ring")],
    )
    ring_mm = number("A ring’s thickness, mm", required=False, help_text="4 unless yours are slimmer.")
    narrower_by_mm = number(
        "Narrower than a thread by, mm",
        required=False,
        help_text="0: never. What is narrower may darken the corners.",
    )

    def wishes(self, *, has_prices: bool) -> Wishes:
        typed = self.cleaned_data if self.is_valid() else {}
        return Wishes(
            priced=has_prices and typed.get("by") != "pieces",
            considered=typed.get("lenses") != "owned",
            share_rings=typed.get("rings") != "own",
            narrower_by_mm=typed.get("narrower_by_mm") or 0.0,
            most_rings=typed.get("most_rings", 2),
            ring_mm=typed.get("ring_mm") or Wishes.ring_mm,
        )


class PricesForm(forms.Form):
    """What filters and rings cost, in any one currency; what has no price is not for sale."""

    prefix = "price"

    def __init__(
        self, *args, sizes: Iterable[float], cut_ons: Iterable[float], prices: Prices | None, **more
    ):
        super().__init__(*args, **more)
        known = prices.filters if prices else {}
        self.sizes, self.cut_ons = list(sizes), list(cut_ons)
        for one in self._offered():
            self.fields[_name_of(one)] = _money(
                f"{one.diameter_mm:g} mm filter of {one.cut_on_nm:g} nm", known.get(one)
            )
        self.fields["ring"] = _money("Any step-up ring", prices.ring if prices else None)
        self.fields["rings"] = forms.CharField(
            label="Rings with a price of their own",
            required=False,
            max_length=4000,
            widget=forms.Textarea(attrs={"rows": 2}),
            help_text="One a line: “52-77 9.50” screws into 52 mm, takes 77 mm filters and costs 9.50.",
            initial="\n".join(_ring_line(ring, price) for ring, price in prices.rings.items())
            if prices
            else "",
        )
        self.fields["currency"] = forms.CharField(
            label="Currency", required=False, max_length=12, initial=prices.currency if prices else ""
        )

    def _offered(self) -> list[FrontFilter]:
        return [FrontFilter(nm, size) for size in self.sizes for nm in self.cut_ons]

    @property
    def table(self) -> list[tuple[float, list]]:
        """Bound fields by diameter, one for each cut-on."""
        return [(size, [self[_name_of(FrontFilter(nm, size))] for nm in self.cut_ons]) for size in self.sizes]

    def clean_rings(self) -> dict[Ring, str]:
        found = {}
        for line in filter(None, (line.strip() for line in self.cleaned_data["rings"].splitlines())):
            match = RING_LINE.fullmatch(line)
            if not match:
                raise forms.ValidationError(f"“{line[:40]}” is no ring with its price, such as “52-77 9.50”.")
            lens_side, filter_side, price = (part.replace(",", ".") for part in match.groups())
            found[Ring(float(lens_side), float(filter_side))] = price
        return found

    def prices(self) -> Prices | None:
        """The prices typed; None where none is."""
        typed = self.cleaned_data
        filters = {
            one: str(price) for one in self._offered() if (price := typed.get(_name_of(one))) is not None
        }
        ring = None if typed["ring"] is None else str(typed["ring"])
        if not filters and ring is None and not typed["rings"]:
            return None
        return Prices(filters, ring, typed["rings"], typed["currency"].strip())


class UseForm(forms.Form):
    """The summary of use that the folder command writes."""

    summary = forms.FileField(
        label="Summary file", widget=forms.FileInput(attrs={"accept": "application/json,.json"})
    )


class SidesForm(forms.Form):
    """A zoom and primes, as people name them."""

    zoom_name = forms.CharField(label="Zoom", required=False, max_length=160)
    prime_name = forms.CharField(label="Another prime", required=False, max_length=160)


def put_beside(form: forms.Form, error: CleanstopError) -> None:
    """Problems of a bag's part beside the field of the same name: filters.3.diameter_mm → diameter_mm."""
    for problem in error.problems:
        name = problem.field.rsplit(".", 1)[-1]
        form.add_error(name if name in form.fields else None, str(problem))


def _name_of(one: FrontFilter) -> str:
    return f"{one.cut_on_nm:g}-{one.diameter_mm:g}"


def _money(label: str, price) -> forms.DecimalField:
    return forms.DecimalField(
        label=label,
        required=False,
        min_value=0,
        max_value=1_000_000,
        decimal_places=2,
        initial=None if price is None else Decimal(str(price)),
        widget=forms.NumberInput(attrs={"inputmode": "decimal", "step": "0.01"}),
    )


def _ring_line(ring: Ring, price) -> str:
    return f"{ring.lens_side_mm:g}-{ring.filter_side_mm:g} {price}"
