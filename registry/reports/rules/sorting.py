"""A draft's frames sorted into sweeps, and which of them don't go with the rest."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

from registry.errors import CleanstopError
from registry.gear.exif_bodies import match_exif_body
from registry.gear.models import Body, Lens
from registry.gear.queries import find_lenses, match_exif_lens
from registry.optics.stops import exact_av, mark_of
from registry.reports.models import ImagePurpose, ImageState, Report, SampleImage
from registry.reports.rules.stops import check_focal_length, distinct_stops, sweep_focal_length
from registry.reports.rules.sweeps import STOPS_OF_A_SWEEP, by_stop

READ = (ImageState.TAKEN_IN, ImageState.MEASURED, ImageState.UNCERTAIN, ImageState.REJECTED, ImageState.KEPT)
MAYBE_MEANT, OFFERED = 25, 3  # lenses near what a camera writes, and how many of them are offered
NAMED = 3  # how many frames a sentence names before it counts the others


@dataclass(frozen=True)
class SortedSweep:
    """The frames that EXIF, or the contributor, puts at one focal length."""

    focal_length_mm: float
    frames: list[SampleImage]

    @property
    def stops(self) -> list[tuple[str, int]]:
        """The marks of its stops from the widest on, each with its number of frames."""
        marks = Counter(mark_of(frame.f_number) for frame in self.frames)
        return sorted(marks.items(), key=lambda stop: exact_av(float(stop[0][2:])))


@dataclass(frozen=True)
class StandsApart:
    """Frames that differ from the rest in one matter. says: what differs, in a sentence; remedy: what to do.

    what: "body", "lens", "focal length" or "shot". from_rest: False where all frames differ from what the report names.
    meant: lenses that the report may be on instead.
    """

    what: str
    frames: list[SampleImage]
    says: str
    remedy: str
    from_rest: bool = True
    meant: tuple[Lens, ...] = ()

    @property
    def of_a_frame(self) -> str:
        """What is to be said beside each of its frames."""
        if self.what == "shot":
            return "the same shot as another file"
        return f"another {self.what} than the rest"


@dataclass(frozen=True)
class Sorting:
    """Sweeps, shortest focal length first; controls and proof pictures; frames that lack an f-number or a focal
    length; and what stands apart."""

    sweeps: list[SortedSweep]
    controls: list[SampleImage]
    proofs: list[SampleImage]
    unsorted: list[SampleImage]
    apart: list[StandsApart]


def sort_frames(report: Report, images: Iterable[SampleImage]) -> Sorting:
    """Sort the frames that have been read; those still to be read or unreadable are left out."""
    read = [image for image in images if image.state in READ]
    targets = [image for image in read if image.purpose == ImagePurpose.TARGET]
    places: dict[float, list[SampleImage]] = {}
    unsorted = []
    for image in targets:
        focal = sweep_focal_length(report.lens, image.focal_length_mm)
        if focal is None or image.f_number is None:
            unsorted.append(image)
        else:
            places.setdefault(focal, []).append(image)
    sweeps = [SortedSweep(focal, by_stop(frames)) for focal, frames in sorted(places.items())]
    measured = [image for image in read if image.purpose != ImagePurpose.PROOF]
    apart = [
        *_cameras(report, measured),
        *_lenses(report, measured),
        *_focal_lengths(report, sweeps),
        *_shots_twice(measured),
    ]
    return Sorting(
        sweeps,
        by_stop_or_name([image for image in read if image.purpose == ImagePurpose.CONTROL]),
        [image for image in read if image.purpose == ImagePurpose.PROOF],
        unsorted,
        apart,
    )


def by_stop_or_name(images: list[SampleImage]) -> list[SampleImage]:
    return sorted(images, key=lambda image: (image.f_number or 0, image.file_name))


def _cameras(report: Report, images: list[SampleImage]) -> Iterator[StandsApart]:
    usual, strays = _usual(images, lambda image: image.exif.get("body_model") or "")
    for model, frames in strays.items():
        yield StandsApart(
            "body",
            frames,
            f"{_names(frames)} shot with the body “{model}”, the others with “{usual}”.",
            "One report is one camera: take them out in the table. They can make a report of their own.",
        )
    other = _another_body(report, usual, images)
    if other is not None:
        yield StandsApart(
            "body",
            [],
            f"The files name the body “{usual}”, which is {other}; the report names {report.body}.",
            "Correct what you tested, if another camera was used.",
            from_rest=False,
        )


def _lenses(report: Report, images: list[SampleImage]) -> Iterator[StandsApart]:
    usual, strays = _usual(images, lambda image: image.exif.get("lens_model") or "")
    for model, frames in strays.items():
        yield StandsApart(
            "lens",
            frames,
            f"{_names(frames)} shot with the lens “{model}”, the others with “{usual}”.",
            "One report is one lens: take them out in the table. They can make a report of their own.",
        )
    meant, surely = _other_lenses(report, usual)
    if meant:
        which = f"is {meant[0]}" if surely else "the catalogue doesn’t know by that name"
        yield StandsApart(
            "lens",
            [],
            f"The files name the lens “{usual}”, which {which}; the report is on {report.lens}.",
            "Correct what you tested, if another lens was on the camera.",
            from_rest=False,
            meant=meant,
        )


def _other_lenses(report: Report, written: str) -> tuple[tuple[Lens, ...], bool]:
    """The registered lens that the camera means, or where none fits surely the nearest ones; nothing where that may
    be the report's own. The second is whether it fits surely."""
    if not written:
        return (), False
    if lens := match_exif_lens(written):
        return ((lens,) if lens.pk != report.lens_id else ()), True
    near = [match.lens for match in find_lenses(written, limit=MAYBE_MEANT)]
    if any(lens.pk == report.lens_id for lens in near):
        return (), False
    return tuple(near[:OFFERED]), False


def _another_body(report: Report, written: str, images: list[SampleImage]) -> Body | None:
    """The registered body that the camera means, where it is not the report's."""
    if not written or report.body is None:
        return None
    makers = (image.exif.get("body_maker") for image in images if image.exif.get("body_model") == written)
    body = match_exif_body(next(makers) or "", written)
    return body if body is not None and body.pk != report.body_id else None


def _focal_lengths(report: Report, sweeps: list[SortedSweep]) -> Iterator[StandsApart]:
    """Focal lengths that the lens hasn't, and a few frames beside a whole sweep."""
    whole = [sweep for sweep in sweeps if _stops(sweep) >= STOPS_OF_A_SWEEP]
    for sweep in sweeps:
        try:
            check_focal_length(report.lens, sweep.focal_length_mm, teleconverter=report.teleconverter)
        except CleanstopError as error:
            says = f"{_names(sweep.frames)} at {sweep.focal_length_mm:g} mm by EXIF. {error.first.says}"
            yield StandsApart("focal length", sweep.frames, says, error.first.remedy)
            continue
        if whole and sweep not in whole:
            near = min(whole, key=lambda other: abs(other.focal_length_mm - sweep.focal_length_mm))
            yield StandsApart(
                "focal length",
                sweep.frames,
                f"{_names(sweep.frames)} at {sweep.focal_length_mm:g} mm, beside {len(near.frames)} frames "
                f"at {near.focal_length_mm:g} mm.",
                f"If the zoom ring only slipped, set them to {near.focal_length_mm:g} mm; else add the missing "
                "stops.",
            )


def _shots_twice(images: list[SampleImage]) -> Iterator[StandsApart]:
    """Shots that are here both as raw and as the camera's own picture: one shot would pass for two that agree."""
    raw = {_shot_of(image) for image in images if image.kind == "raw"}
    twice = [image for image in images if image.kind != "raw" and _shot_of(image) in raw]
    if twice:
        yield StandsApart(
            "shot",
            twice,
            f"{_names(twice)} sent as raw too, and one shot would count as two that agree.",
            "Keep the raw ones, and take these out in the table.",
        )


def _shot_of(image: SampleImage) -> tuple[str, str]:
    """What the files of one shot share: their name but for its ending, and the moment."""
    return image.file_name.rpartition(".")[0].casefold(), image.exif.get("taken_at") or ""


def _stops(sweep: SortedSweep) -> int:
    return distinct_stops(frame.f_number for frame in sweep.frames)


def _usual(
    images: list[SampleImage], of: Callable[[SampleImage], str]
) -> tuple[str, dict[str, list[SampleImage]]]:
    """The commonest value, the first shot among equals, and the frames that have another; files that are silent
    about it differ from nothing."""
    values = Counter(of(image) for image in images if of(image))
    if not values:
        return "", {}
    usual = values.most_common(1)[0][0]
    strays: dict[str, list[SampleImage]] = {}
    for image in images:
        if of(image) not in ("", usual):
            strays.setdefault(of(image), []).append(image)
    return usual, strays


def _names(frames: list[SampleImage]) -> str:
    """ "a.jpg was", "a.jpg and b.jpg were", "a.jpg, b.jpg, c.jpg and 4 more were" """
    names = [frame.file_name for frame in frames[:NAMED]]
    if len(frames) > NAMED:
        return f"{', '.join(names)} and {len(frames) - NAMED} more were"
    *most, last = names
    return f"{', '.join(most)} and {last} were" if most else f"{last} was"
