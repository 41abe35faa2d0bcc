"""Invented rigs, copies and reports for tests, and frames rendered by the project's own simulation."""

from __future__ import annotations

from datetime import date

import factory
from django.core.files.uploadedfile import SimpleUploadedFile
from factory.django import DjangoModelFactory

from registry.optics.stops import exact_av
from registry.reports.models import (
    Basis,
    Claim,
    ClaimSays,
    ConversionKind,
    Copy,
    Finding,
    Reading,
    Report,
    Rig,
    Sweep,
)
from registry.reports.rules.light import effective_cut_on
from registry.simulation.exif import CameraExif
from registry.simulation.files import write_jpeg
from registry.simulation.render import Rendered, render_frame
from registry.simulation.scene import Patch, Scene
from tests.factories import AccountFactory, BodyFactory, LensFactory


class RigFactory(DjangoModelFactory):
    """A body converted at 720 nm."""

    class Meta:
        model = Rig

    owner = factory.SubFactory(AccountFactory)
    body = factory.SubFactory(BodyFactory)
    conversion = ConversionKind.LONG_PASS
    cut_on_nm = 720

    class Params:
        full_spectrum = factory.Trait(conversion=ConversionKind.FULL_SPECTRUM, cut_on_nm=None)
        unconverted = factory.Trait(conversion=ConversionKind.UNCONVERTED, cut_on_nm=None)


class CopyFactory(DjangoModelFactory):
    class Meta:
        model = Copy

    lens = factory.SubFactory(LensFactory)
    holder = factory.SubFactory(AccountFactory)
    label = factory.Sequence(lambda n: f"copy {n}")


class ReportFactory(DjangoModelFactory):
    """A draft graded by eye, by someone with a rig of their own. `grades={5.6: 0, 8: 2}` adds a sweep of readings."""

    class Meta:
        model = Report
        skip_postgeneration_save = True

    author = factory.SubFactory(AccountFactory)
    lens = factory.SubFactory(LensFactory)
    basis = Basis.GRADED
    rig = factory.LazyAttribute(lambda report: RigFactory(owner=report.author))
    body = factory.LazyAttribute(lambda report: report.rig and report.rig.body)
    filter = None
    cut_on_nm = factory.LazyAttribute(lambda report: effective_cut_on(report.rig, report.filter)[0])
    light_group = factory.LazyAttribute(lambda report: effective_cut_on(report.rig, report.filter)[1])
    shot_on = date(2024, 6, 21)

    class Params:
        relayed = factory.Trait(
            basis=Basis.RELAYED,
            rig=None,
            tester_name="R. Samphire",
            citation_title="Infrared on the saltings, part 3",
            citation_url="https://saltmarsh.example/infrared-3",
        )

    @factory.post_generation
    def grades(self, create, grades, **named):
        if create and grades:
            sweep = SweepFactory(report=self, focal_length_mm=self.lens.focal_min_mm)
            for f_number, grade in grades.items():
                ReadingFactory(sweep=sweep, f_number=f_number, grade=grade)


class SweepFactory(DjangoModelFactory):
    class Meta:
        model = Sweep

    report = factory.SubFactory(ReportFactory)
    focal_length_mm = 35


class ReadingFactory(DjangoModelFactory):
    class Meta:
        model = Reading

    sweep = factory.SubFactory(SweepFactory)
    f_number = 8
    av = factory.LazyAttribute(lambda reading: exact_av(reading.f_number))
    grade = 0


class ClaimFactory(DjangoModelFactory):
    class Meta:
        model = Claim

    report = factory.SubFactory(ReportFactory)
    says = ClaimSays.CLEAN_TO
    f_number = 8
    av = factory.LazyAttribute(lambda claim: claim.f_number and exact_av(claim.f_number))


class FindingFactory(DjangoModelFactory):
    class Meta:
        model = Finding

    report = factory.SubFactory(ReportFactory)
    kind = "corner-softness"
    grade = 1


NOBODY_FOLLOWS: dict[str, list[str]] = {}  # for settings.LEDGER_FOLLOWERS

HOT_SCENE = Scene(focal_length_mm=35, widest=1.4, patch=Patch(strength_ev=0.5, radius=0.1, shape="polygon"))
CLEAN_SCENE = Scene(focal_length_mm=35, widest=1.4)
SMALL = (900, 600)


def photographed(
    scene: Scene = HOT_SCENE,
    *,
    f_number: float = 8,
    seed: int = 1,
    frame: int = 0,
    size: tuple[int, int] = SMALL,
) -> Rendered:
    """One simulated frame with its truth."""
    return render_frame(scene, f_number=f_number, size=size, seed=seed, frame=frame)


def jpeg_upload(frame: Rendered | None = None, name: str = "frame.jpg", **exif) -> SimpleUploadedFile:
    """A simulated frame as a camera writes it and a browser sends it; exif as registry.simulation's CameraExif."""
    content = write_jpeg(frame or photographed(), exif=CameraExif(**exif))
    return SimpleUploadedFile(name, content, content_type="image/jpeg")
