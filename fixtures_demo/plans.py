"""Who tests what, when and with what: the circle's evenings, drawn deterministically from the world's tables.

Each lens has a *story* (world/behaviour.csv): settled, thin, untested, or one of the troubles a registry meets.
A story only chooses testers, light paths and shifts of the limit; what is then seen follows from behaviour.py.
"""

from __future__ import annotations

import csv
import datetime
import math
import zlib
from collections.abc import Iterator
from dataclasses import dataclass, field, replace

import numpy as np

from fixtures_demo.behaviour import WORLD, Behaviour
from registry.optics.stops import full_stops_between

FIRST_EVENING = datetime.date(2025, 3, 1)
DAYS = 600
COPY_SPREAD_STOPS = 0.3
SITES = (
    "Long Slack",
    "the Bar dunes",
    "Sluice meadow",
    "the club room",
    "Heron creek",
    "Cockle strand",
    "the lookout",
)
TARGETS = (
    "opal acrylic sheet",
    "grey card, defocused",
    "white wall, defocused",
    "overcast sky through opal sheet",
)
LIGHTS = ("overcast daylight", "open shade", "halogen lamp through a diffuser", "low sun on the sheet")


@dataclass(frozen=True)
class PlannedRig:
    body: str
    conversion: str
    cut_on_nm: float | None
    mount: str


@dataclass(frozen=True)
class Person:
    name: str
    role: str
    rigs: tuple[PlannedRig, ...]


@dataclass(frozen=True)
class PlannedLens:
    slug: str
    mounts: tuple[str, ...]
    focal_min_mm: float
    focal_max_mm: float
    widest_f: float
    widest_f_tele: float
    narrowest_f: float

    @property
    def focal_lengths(self) -> list[float]:
        """Both ends and the middle of a zoom's range on a log scale."""
        if self.focal_min_mm == self.focal_max_mm:
            return [self.focal_min_mm]
        return [
            self.focal_min_mm,
            float(round(math.sqrt(self.focal_min_mm * self.focal_max_mm))),
            self.focal_max_mm,
        ]

    def stops_at(self, focal_mm: float) -> list[float]:
        return full_stops_between(
            self.widest_f if focal_mm <= self.focal_min_mm else self.widest_f_tele, self.narrowest_f
        )


@dataclass(frozen=True)
class PlannedReport:
    """One evening. `shift` moves the limit in stops: the copy, the filter's position, a fault."""

    number: int
    lens: PlannedLens
    behaviour: Behaviour
    author: str
    rig: PlannedRig | None
    filter: str = ""
    filter_position: str = ""
    cut_on_nm: float = 720.0
    shift: float = 0.0
    copy_label: str = "my copy"
    serial_number: str = ""
    adapter: str = ""
    teleconverter: str = ""
    day: datetime.date = FIRST_EVENING
    basis: str = "graded"  # "measured", "graded", "claimed", "relayed"
    scene_instead_of_target: bool = False
    source: dict = field(default_factory=dict)
    focal_lengths: tuple[float, ...] = ()
    blunder: str = ""  # "hot throughout": what is reported has nothing to do with the lens

    @property
    def seed(self) -> int:
        return zlib.crc32(f"{self.lens.slug} {self.number} {self.author}".encode())


def read_people(bodies: dict[str, str]) -> list[Person]:
    """bodies: body name → mount name."""
    with open(WORLD / "people.csv", encoding="utf-8", newline="") as file:
        return [
            Person(
                row["name"],
                row["role"],
                tuple(
                    PlannedRig(body, conversion, float(nm) if nm else None, bodies[body])
                    for body, conversion, nm in (rig.split("|") for rig in row["rigs"].split(";"))
                ),
            )
            for row in csv.DictReader(file)
        ]


# What lies between lens and sensor: (filter, its cut-on in nm) for the target cut-on.
FRONT_FILTERS = {590: "Dusk 590", 630: "Umber 630", 665: "Dusk 665", 720: "Dusk 720", 830: "Dusk 830"}
BRIDGES = {"Teal": "Bridge Curlew to Teal", "Plover": "Bridge Curlew to Plover"}


def _usable_rigs(lens: PlannedLens, person: Person, up_to_nm: float) -> list[PlannedRig]:
    return [
        rig
        for rig in person.rigs
        if (rig.mount in lens.mounts or ("Curlew" in lens.mounts and rig.mount in BRIDGES))
        and (rig.cut_on_nm is None or rig.cut_on_nm <= up_to_nm)
    ]


def _light_path(plan: PlannedReport, rig: PlannedRig, wanted_nm: int) -> PlannedReport:
    """Bring the rig to the wanted cut-on: with a filter in front unless its conversion cuts on there."""
    adapter = BRIDGES[rig.mount] if rig.mount not in plan.lens.mounts else ""
    if rig.cut_on_nm == wanted_nm:
        return replace(plan, rig=rig, cut_on_nm=wanted_nm, filter_position="sensor", adapter=adapter)
    return replace(
        plan,
        rig=rig,
        cut_on_nm=wanted_nm,
        filter=FRONT_FILTERS[wanted_nm],
        filter_position="front",
        adapter=adapter,
    )


def _evenings(lens: PlannedLens, behaviour: Behaviour, people: list[Person]) -> Iterator[PlannedReport]:
    """One plain evening after another, each by another person as long as there are any."""
    rng = np.random.default_rng(zlib.crc32(lens.slug.encode()))
    order = [people[i] for i in rng.permutation(len(people))]
    number = 0
    while True:
        for person in order:
            wanted = 720 if rng.random() < 0.72 else int(rng.choice([590, 665, 830]))
            rigs = _usable_rigs(lens, person, wanted)
            if not rigs:
                continue
            count = 1 if rng.random() < 0.35 else len(lens.focal_lengths)
            plan = PlannedReport(
                number=number,
                lens=lens,
                behaviour=behaviour,
                author=person.name,
                rig=None,
                shift=float(rng.normal(0, COPY_SPREAD_STOPS)),
                day=FIRST_EVENING + datetime.timedelta(days=int(rng.integers(DAYS))),
                focal_lengths=tuple(lens.focal_lengths[:count]),
                basis="claimed" if rng.random() < 0.1 else "graded",
            )
            yield _light_path(plan, rigs[int(rng.integers(len(rigs)))], wanted)
            number += 1


def _at_720(plans: Iterator[PlannedReport], people: dict[str, Person]) -> Iterator[PlannedReport]:
    for plan in plans:
        rigs = _usable_rigs(plan.lens, people[plan.author], 720)
        if rigs:
            yield _light_path(replace(plan, filter="", basis="graded"), rigs[0], 720)


def _take(plans: Iterator[PlannedReport], count: int) -> list[PlannedReport]:
    return [next(plans) for _ in range(count)]


def _filter_position(plans: Iterator[PlannedReport], count: int) -> list[PlannedReport]:
    """A filter in front is lit from behind by the front element: hot two and a half stops sooner."""
    told = []
    for index, plan in enumerate(_take(plans, count)):
        if index % 2 == 0:
            told.append(replace(plan, filter="Dusk 720", filter_position="front", shift=plan.shift - 2.6))
        elif plan.filter:
            told.append(replace(plan, filter_position="clip-in"))
        else:
            told.append(plan)
    return told


def _wavelength(plans: Iterator[PlannedReport], people: dict[str, Person], count: int) -> list[PlannedReport]:
    told: list[PlannedReport] = []
    wanted = (630, 720, 830, 665, 720)
    for plan in plans:
        nm = wanted[len(told) % len(wanted)]
        rigs = _usable_rigs(plan.lens, people[plan.author], nm)
        if rigs:
            told.append(_light_path(replace(plan, filter="", basis="graded"), rigs[0], nm))
        if len(told) == count:
            return told
    raise AssertionError("plans never end")


def _bad_copy(plans: Iterator[PlannedReport], count: int) -> list[PlannedReport]:
    """Two people test one decentred copy; everybody else's copies agree."""
    told = _take(plans, count)
    bad = {"copy_label": "the club's lending copy", "serial_number": "SLC-0417"}
    return [replace(plan, shift=-3.2, **bad) if index in (4, 9) else plan for index, plan in enumerate(told)]


def _twenty(plans: Iterator[PlannedReport], count: int) -> list[PlannedReport]:
    """One person files twenty wrong reports against four honest ones."""
    honest = _take(plans, count - 20)
    author = next(plan for plan in plans if plan.author not in {plan.author for plan in honest})
    return honest + [
        replace(
            author,
            number=100 + index,
            blunder="hot throughout",
            day=author.day + datetime.timedelta(days=index),
        )
        for index in range(20)
    ]


def _relayed_source(plans: Iterator[PlannedReport], count: int) -> list[PlannedReport]:
    source = {
        "citation_url": "https://saltmarsh.example/bulletin/14",
        "citation_title": "Bulletin 14: old wide angles on the marsh",
        "citation_date": "2019-05-01",
        "tester_name": "The bulletin's lens column",
    }
    told = _take(plans, count)
    return told[:3] + [replace(plan, basis="relayed", rig=None, source=source) for plan in told[3:]]


def _claims(plans: Iterator[PlannedReport], count: int) -> list[PlannedReport]:
    """Only hearsay: each from a source of its own."""
    return [
        replace(
            plan,
            basis="relayed",
            rig=None,
            source={
                "citation_url": f"https://dunewalk.example/notes/{plan.lens.slug}/{index}",
                "citation_title": f"Field notes, part {index + 1}",
                "citation_date": "2021-09-12",
                "tester_name": f"Dunewalk correspondent {index + 1}",
            },
        )
        for index, plan in enumerate(_take(plans, count))
    ]


def _differs(plans: Iterator[PlannedReport], count: int) -> list[PlannedReport]:
    return [
        replace(plan, shift=plan.shift + (1.8 if index % 2 else -1.6))
        for index, plan in enumerate(_take(plans, count))
    ]


def _scene(plans: Iterator[PlannedReport], count: int) -> list[PlannedReport]:
    told = _take(plans, count)
    told[-1] = replace(told[-1], scene_instead_of_target=True, basis="measured")
    return told


# Glass that makes a lens another lens: standings of their own.
ACCESSORY_EVENINGS = {
    "osterby-marram-70-300-mm-f-4-5-5-6": ("teleconverter", "Extender 1.4×", -1.0, 3),
    "vantorre-polder-105-mm-f-2-5": ("adapter", "Reducing bridge Curlew to Teal", -4.5, 3),
}


def _with_accessories(lens: PlannedLens, plans: Iterator[PlannedReport], first: int) -> list[PlannedReport]:
    if lens.slug not in ACCESSORY_EVENINGS:
        return []
    kind, name, shift, count = ACCESSORY_EVENINGS[lens.slug]
    teal = (plan for plan in plans if plan.rig.mount == "Teal")
    return [
        replace(plan, number=first + index, shift=plan.shift + shift, **{kind: name})
        for index, plan in enumerate(_take(teal, count))
    ]


def plan_lens(lens: PlannedLens, behaviour: Behaviour, people: list[Person]) -> list[PlannedReport]:
    """All reports on one lens, the framed ones measured from rendered frames."""
    by_name = {person.name: person for person in people}
    evenings = _evenings(lens, behaviour, people)
    at_720 = _at_720(_evenings(lens, behaviour, people), by_name)
    count = behaviour.reports
    told = {
        "settled": lambda: _take(evenings, count),
        "thin": lambda: _take(evenings, count),
        "untested": list,
        "filter-position": lambda: _filter_position(at_720, count),
        "wavelength": lambda: _wavelength(evenings, by_name, count),
        "bad-copy": lambda: _bad_copy(at_720, count),
        "twenty": lambda: _twenty(at_720, count),
        "relayed-source": lambda: _relayed_source(at_720, count),
        "claims": lambda: _claims(evenings, count),
        "differs": lambda: _differs(at_720, count),
        "scene": lambda: _scene(at_720, count),
    }[behaviour.story]()
    framed = behaviour.framed
    for index, plan in enumerate(told):
        if framed and plan.basis in ("graded", "claimed") and not plan.blunder:
            told[index] = replace(plan, basis="measured", focal_lengths=plan.focal_lengths[:1])
            framed -= 1
    return told + _with_accessories(lens, at_720, len(told))
