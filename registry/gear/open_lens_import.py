"""Taking an open lens-correction data set into the catalogue: what is new, what is known, what is doubtful.

Nothing that the catalogue states already is overwritten, and what can't be told apart from a lens that people
entered is left for them to judge. Taking the same set again changes nothing.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from django.db import transaction

from registry.accounts.models import Account
from registry.errors import InvalidInput
from registry.gear.designations import names_added_glass
from registry.gear.facts import KnownNames, read_facts
from registry.gear.holding import held
from registry.gear.models import FactSource, GearItem, Lens, LensAlias, Mount
from registry.gear.names import comparable, slug_for
from registry.gear.open_lens_data import LICENCE, CameraEntry, LensEntry, OpenLensData, sensor_of
from registry.gear.queries import kept_under_other_names, slugs_ever
from registry.gear.rules import KIND_MODELS
from registry.gear.search import NameIndex
from registry.gear.storing import new_item, save_item
from registry.ledger.services import record

SOURCE = "open lens-correction data set"
MAYBE_THE_SAME = 0.9  # likeness of two names, of 0 to 1, from which people should look
SAME_FIGURE = 0.02  # two data sheets round a focal length or f-number differently by less


@dataclass(frozen=True)
class Doubt:
    """An entry that was left out, or a fact of it, and why."""

    kind: str
    entry: str
    file: str
    why: str


@dataclass
class OpenLensOutcome:
    """new, matched: counts by kind (mounts, bodies, lenses). doubts: what people should look at."""

    new: Counter = field(default_factory=Counter)
    matched: Counter = field(default_factory=Counter)
    doubts: list[Doubt] = field(default_factory=list)


def import_open_lens_data(
    data: OpenLensData, *, by: Account | None = None, dry_run: bool = False
) -> OpenLensOutcome:
    """Add the mounts, camera models and lenses that the catalogue lacks, each fact with its source and licence.

    dry_run: change nothing, only tell. One transaction: an interrupted import leaves nothing half taken.
    """
    outcome = OpenLensOutcome()
    with transaction.atomic():
        _Intake(outcome, by).take(data)
        if dry_run:
            transaction.set_rollback(True)
        elif outcome.new:
            record(
                "gear.imported",
                actor=by,
                subject_kind="catalogue",
                subject_id="open-lens-data",
                data={"new": dict(sorted(outcome.new.items())), "licence": LICENCE},
            )
    return outcome


class _Intake:
    def __init__(self, outcome: OpenLensOutcome, by: Account | None):
        self.outcome, self.by = outcome, by
        self.slugs = {kind: set(_slugs(kind)) for kind in ("lenses", "bodies", "mounts")}

    def take(self, data: OpenLensData) -> None:
        self._take_mounts(data)
        self.known = KnownNames.load(may_make_makers=True)
        self._take_bodies(data.cameras)
        self._take_lenses(data.lenses)

    def _take_mounts(self, data: OpenLensData) -> None:
        """Those on which a lens of the set is changed; the set also lists a mount for every fixed lens."""
        known = {mount.name.casefold() for mount in Mount.objects.all()}
        used = {mount for lens in data.lenses for mount in lens.mounts}
        for name in data.mounts:
            if name.casefold() in known:
                self.outcome.matched["mounts"] += 1
            elif name in used:
                slug = slug_for(name, taken=self.slugs["mounts"], limit=60)
                Mount.objects.create(name=name, slug=slug)
                self.slugs["mounts"].add(slug)
                self.outcome.new["mounts"] += 1

    def _take_bodies(self, cameras: Iterable[CameraEntry]) -> None:
        model = KIND_MODELS["bodies"]
        known = {_key(body) for body in model.objects.select_related("maker")}
        known |= {_key(former) for former, _ in kept_under_other_names(model)}
        for camera in cameras:
            if (comparable(camera.maker), comparable(camera.name)) in known:
                self.outcome.matched["bodies"] += 1
                continue
            width, height = sensor_of(camera.crop_factor)
            row = {
                "maker": camera.maker,
                "name": camera.name,
                "exif_model": camera.exif_model,
                "sensor_width_mm": width,
                "sensor_height_mm": height,
            }
            if camera.mount.casefold() in self.known.mounts:
                row["mount"] = camera.mount
            body = self._add("bodies", row, f"{camera.maker} {camera.name}", camera.file)
            known |= {_key(body)} if body else set()

    def _take_lenses(self, entries: Iterable[LensEntry]) -> None:
        standing = list(Lens.objects.select_related("maker").prefetch_related("mounts"))
        by_key = {_key(former): kept for former, kept in kept_under_other_names(Lens)}
        by_key |= {_key(lens): lens for lens in standing}
        from_the_set = set(
            FactSource.objects.filter(gear_kind="lens", source__startswith=SOURCE).values_list(
                "gear_slug", flat=True
            )
        )
        by_people = [lens for lens in standing if lens.slug not in from_the_set]
        index = NameIndex((number, str(lens)) for number, lens in enumerate(by_people))
        aliases = set(LensAlias.objects.values_list("written", flat=True))
        for entry in entries:
            name = f"{entry.maker} {entry.name}"
            known = by_key.get((comparable(entry.maker), comparable(entry.name)))
            if known is not None:
                self._match(known, entry)
            elif doubt := _why_not(entry) or _maybe(by_people, index, entry):
                self.outcome.doubts.append(Doubt("lenses", name, entry.file, doubt))
            else:
                lens = self._add("lenses", _lens_row(entry, self.known, aliases), name, entry.file)
                if lens:
                    by_key[_key(lens)] = lens
                    aliases |= entry.written

    def _match(self, lens: Lens, entry: LensEntry) -> None:
        """Known: its mounts are completed, its figures are compared and never changed."""
        self.outcome.matched["lenses"] += 1
        lens = held(lens)
        mounts = {self.known.mounts[name.casefold()] for name in _known_mounts(entry, self.known)}
        lens.mounts.add(*(mounts - set(lens.mounts.all())))
        for fact, stated, told in _figures(lens, entry):
            if stated and told and abs(stated - told) > SAME_FIGURE * stated:
                why = (
                    f"{fact} is {stated:g} in the catalogue and {told:g} in the set; the catalogue's was kept"
                )
                self.outcome.doubts.append(Doubt("lenses", str(lens), entry.file, why))

    def _add(self, kind: str, row: dict, name: str, file: str):
        row |= {"source": f"{SOURCE}, {file}", "licence": LICENCE}
        facts, problems = read_facts(kind, row, self.known)
        try:
            if problems:
                raise InvalidInput(problems)
            item = new_item(kind, facts, taken=self.slugs[kind])
            with transaction.atomic():
                save_item(item, facts, facts.values, by=self.by)
        except InvalidInput as refusal:
            self.outcome.doubts += [Doubt(kind, name, file, str(problem)) for problem in refusal.problems]
            self.known.makers = {key: maker for key, maker in self.known.makers.items() if maker.pk}
            return None
        self.slugs[kind].add(item.slug)
        self.outcome.new[kind] += 1
        return item


def _lens_row(entry: LensEntry, known: KnownNames, aliases: set[str]) -> dict:
    optics = entry.optics
    row = {
        "maker": entry.maker,
        "name": entry.name,
        "mounts": _known_mounts(entry, known),
        # A name that cameras write for two lenses tells neither.
        "aliases": sorted(written for written in entry.written if written not in aliases),
        "focal_min_mm": optics.focal_min_mm,
        "focal_max_mm": optics.focal_max_mm,
        "widest_f": optics.widest_f,
        "widest_f_tele": optics.widest_f_tele,
    }
    return row | ({"projection": "fisheye"} if entry.is_fisheye else {})


def _why_not(entry: LensEntry) -> str | None:
    if names_added_glass(entry.name):
        return "it is a lens together with other glass; enter the lens and the converter apart"
    missing = [
        what
        for what, figure in (
            ("focal length", entry.optics.focal_min_mm),
            ("widest aperture", entry.optics.widest_f),
        )
        if figure is None
    ]
    return f"neither an element nor its name states the {' or the '.join(missing)}" if missing else None


def _maybe(by_people: list[Lens], index: NameIndex, entry: LensEntry) -> str | None:
    """Whether people entered what may be the same lens under another name."""
    for hit in index.find(f"{entry.maker} {entry.name}")[:5]:
        lens = by_people[hit.number]
        same = all(
            abs(stated - told) <= SAME_FIGURE * stated
            for _, stated, told in _figures(lens, entry)
            if stated and told
        )
        if hit.score >= MAYBE_THE_SAME and same:
            return f"it may be “{lens}”, which is in the catalogue; if not, enter it by hand"
    return None


def _figures(lens: Lens, entry: LensEntry) -> Iterator[tuple[str, float | None, float | None]]:
    for fact in ("focal_min_mm", "focal_max_mm", "widest_f", "widest_f_tele"):
        yield fact, getattr(lens, fact), getattr(entry.optics, fact)


def _known_mounts(entry: LensEntry, known: KnownNames) -> list[str]:
    return sorted(name for name in entry.mounts if name.casefold() in known.mounts)


def _key(item) -> tuple[str, str]:
    revision = getattr(item, "optical_revision", "")
    return comparable(item.maker.name), comparable(f"{item.name} {revision}")


def _slugs(kind: str) -> Iterable[str]:
    model = KIND_MODELS[kind]
    return slugs_ever(model) if issubclass(model, GearItem) else model.objects.values_list("slug", flat=True)
