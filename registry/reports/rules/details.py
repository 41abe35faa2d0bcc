"""What surrounds a test: lens, rig, copy, filter, light, citation. Read from what was sent, checked together."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from registry.accounts.models import Account
from registry.gear.models import Adapter, Body, Filter, Lens, Teleconverter
from registry.optics.light_path import LONGEST_NM, SHORTEST_NM
from registry.reports.models import Basis, ConversionKind, Copy, FilterPosition, Report, Rig
from registry.reports.rules.inputs import Input
from registry.reports.rules.light import LIGHT_GROUPS, effective_cut_on
from registry.reports.rules.lookups import gear_item, own_thing

LICENCES = ("CC0-1.0", "CC-BY-4.0")
_GEAR = {"lens": Lens, "teleconverter": Teleconverter, "adapter": Adapter, "filter": Filter, "body": Body}
_TEXTS = {
    "accessories": (200, "List of accessories"),
    "target": (120, "Target"),
    "light": (120, "Light"),
    "place": (120, "Place"),
    "notes": (10_000, "Notes"),
    "citation_title": (300, "Title of the source"),
    "citation_author": (120, "Author of the source"),
    "tester_name": (120, "Name of the tester"),
}
_DAYS = {"shot_on": "Day of the test", "citation_date": "Date of the source"}
_ADDRESSES = {
    "citation_url": "Address of the source",
    "citation_archive_url": "Address of the archived source",
}
_CHOICES = {
    "basis": (tuple(Basis.values), "Basis"),
    "filter_position": (tuple(FilterPosition.values), "Filter position"),
    "licence": (LICENCES, "Licence"),
}
_REQUIRED = {
    "lens": ("The lens", "Name the lens that was tested."),
    "basis": ("The basis", f"Use one of: {', '.join(Basis.values)}."),
}
DETAIL_FIELDS = (
    "basis",
    "rig",
    "copy",
    "filter_position",
    "cut_on_nm",
    "light_group",
    "licence",
    *_GEAR,
    *_TEXTS,
    *_DAYS,
    *_ADDRESSES,
)


def read_details(source: Input, author: Account, report: Report | None = None) -> dict[str, Any]:
    """Model field values of a report from the fields that were sent; problems collect in source.

    report: the report being changed, whose values hold for what was not sent. A rig or a copy sent as an object
    comes back unsaved when the author has no such one yet.
    """
    sent = source.content
    values: dict[str, Any] = {
        name: gear_item(source, name, kind) for name, kind in _GEAR.items() if name in sent
    }
    values |= {
        name: source.text(name, longest=longest, what=what)
        for name, (longest, what) in _TEXTS.items()
        if name in sent
    }
    values |= {name: source.day(name, what=what) for name, what in _DAYS.items() if name in sent}
    values |= {name: source.address(name, what=what) for name, what in _ADDRESSES.items() if name in sent}
    for name, (choices, what) in _CHOICES.items():
        if name in sent:
            values[name] = source.choice(name, choices, what=what)
    if values.get("citation_author") and not values.get("tester_name", report and report.tester_name):
        values["tester_name"] = values[
            "citation_author"
        ]  # who writes of a test did it, unless they say otherwise
    if not values.get("licence", "x"):
        del values["licence"]
    if "rig" in source:
        values["rig"] = _rig(source, author)
    if "copy" in source:
        values["copy"] = _copy(source, author, values.get("lens") or (report and report.lens))
    _check_required(source, values, report)
    _settle_light(source, values, report)
    return values


def read_rig(source: Input, owner: Account) -> Rig | None:
    """A rig described by body, conversion and cut-on: the owner's equal one if there is one, else unsaved."""
    source.known(("body", "conversion", "cut_on_nm", "label"))
    before = len(source.problems)
    body = gear_item(source, "body", Body)
    if "body" not in source or source.content["body"] in (None, ""):
        source.missing("body", "The rig's body", "Name the camera body, such as its slug in the catalogue.")
    conversion = source.choice("conversion", ConversionKind.values, what="Conversion")
    if not source.content.get("conversion"):
        source.missing("conversion", "The conversion", f"Use one of: {', '.join(ConversionKind.values)}.")
    cut_on = source.number("cut_on_nm", low=SHORTEST_NM, high=LONGEST_NM, what="Cut-on", unit="nm")
    label = source.text("label", longest=80, what="Label")
    if conversion == ConversionKind.LONG_PASS and source.content.get("cut_on_nm") in (None, ""):
        source.missing(
            "cut_on_nm", "The conversion's cut-on", "Give the wavelength in nm that the converter states."
        )
    if conversion in (ConversionKind.FULL_SPECTRUM, ConversionKind.UNCONVERTED) and cut_on is not None:
        source.refuse(
            "cut-on-without-filter",
            "cut_on_nm",
            cut_on,
            f"A {conversion} body has no cut-on ({cut_on:g} nm).",
            "Leave it empty, or choose the long-pass conversion.",
        )
    if len(source.problems) > before:
        return None
    facts = {"owner": owner, "body": body, "conversion": conversion, "cut_on_nm": cut_on, "label": label}
    return Rig.objects.filter(**facts).first() or Rig(**facts)


def _rig(source: Input, author: Account) -> Rig | None:
    sent = source.content["rig"]
    if sent in (None, ""):
        return None
    if isinstance(sent, Mapping):
        return read_rig(Input(sent, source.field("rig"), source.problems), author)
    return own_thing(source, "rig", Rig, author)


def _copy(source: Input, author: Account, lens: Lens | None) -> Copy | dict[str, str] | None:
    """A copy by reference, or the label and serial number from which services.save_copy makes one."""
    sent = source.content["copy"]
    if sent in (None, ""):
        return None
    if isinstance(sent, Mapping):
        nested = Input(sent, source.field("copy"), source.problems)
        nested.known(("label", "serial_number"))
        return {
            "label": nested.text("label", longest=80, what="Label") or "my copy",
            "serial_number": nested.text("serial_number", longest=60, what="Serial number"),
        }
    copy = own_thing(source, "copy", Copy, author)
    if copy and lens and copy.lens_id != lens.pk:
        source.refuse(
            "copy-of-another-lens",
            "copy",
            copy.public_id,
            f"That copy is one of {copy.lens}, not of {lens}.",
            "Choose a copy of the lens that was tested.",
        )
    return copy


def _check_required(source: Input, values: dict[str, Any], report: Report | None) -> None:
    for name, (what, remedy) in _REQUIRED.items():
        sent_empty = name in source and source.content[name] in (None, "")
        if sent_empty or (report is None and name not in source):
            source.missing(name, what, remedy)
    lens = values.get("lens") or (report and report.lens)
    copy = report.copy if report and "copy" not in values else None
    if copy and lens and copy.lens_id != lens.pk:
        values["copy"] = None  # the lens was corrected: the copy belonged to the one named by mistake


def _settle_light(source: Input, values: dict[str, Any], report: Report | None) -> None:
    """Fill body, cut-on and light group: from rig and filter where there are any, else as stated."""
    rig = values.get("rig", report and report.rig)
    filter_item = values.get("filter", report and report.filter)
    cut_on, group = effective_cut_on(rig, filter_item)
    stated = source.number("cut_on_nm", low=SHORTEST_NM, high=LONGEST_NM, what="Cut-on", unit="nm")
    stated_group = source.choice("light_group", LIGHT_GROUPS, what="Light group")
    if rig is not None:
        values["body"] = rig.body
        if stated is not None and stated != cut_on:
            named = f"{cut_on:g} nm" if cut_on else group
            source.refuse(
                "cut-on-disagrees",
                "cut_on_nm",
                stated,
                f"{stated:g} nm disagrees with the rig and filter ({named}).",
                "Leave it out: it follows from the rig and the filter.",
            )
        values["cut_on_nm"], values["light_group"] = cut_on, group
    elif stated is not None or stated_group:
        values["cut_on_nm"], values["light_group"] = (None, stated_group) if stated_group else (stated, "")
    elif {"filter", "rig", "cut_on_nm", "light_group"} & set(source.content) or report is None:
        values["cut_on_nm"], values["light_group"] = cut_on, group
    if "filter" in values and values["filter"] is None:
        values["filter_position"] = ""
