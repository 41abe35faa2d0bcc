"""What the pages' tests share: a contributor who is signed in, and a report of theirs on its way."""

import io

import factory
import numpy as np
import pytest
from django.core.cache import cache, caches
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from factory.django import DjangoModelFactory
from PIL import Image

from registry.photometry.measurement import Measurement, Profile
from registry.reports import services
from registry.reports.models import ImageState, SampleImage
from tests.factories import AccountFactory, BodyFactory, FilterFactory, LensFactory
from tests.report_factories import RigFactory, jpeg_upload, photographed


def picture(public_id, what):
    """A grey picture in public storage, named as intake names it."""
    drawn = io.BytesIO()
    Image.new("RGB", (60, 40), "grey").save(drawn, "JPEG")
    return default_storage.save(
        f"frames/{public_id[:2]}/{public_id}-{what}.jpg", ContentFile(drawn.getvalue())
    )


class SampleImageFactory(DjangoModelFactory):
    """A frame that has been taken in and waits to be measured."""

    class Meta:
        model = SampleImage

    public_id = factory.Sequence(lambda n: f"frame{n:05d}")
    state = ImageState.TAKEN_IN
    file_name = factory.Sequence(lambda n: f"DSC_{n:04d}.jpg")
    byte_size = 1000
    content_hash = factory.Sequence(lambda n: f"{n:064x}")
    kind = "jpeg"
    width, height = 600, 400
    focal_length_mm = 35
    kept = factory.LazyAttribute(lambda image: f"kept/{image.public_id}.jpg")
    picture = factory.LazyAttribute(lambda image: picture(image.public_id, "picture"))
    thumbnail = factory.LazyAttribute(lambda image: picture(image.public_id, "thumbnail"))


@pytest.fixture(autouse=True)
def _nobody_has_tried_before():
    """Sign-in attempts are counted in the cache, and pages' parts are kept in one."""
    cache.clear()
    caches["pages"].clear()


@pytest.fixture
def contributor(db):
    return AccountFactory(name="Wren")


@pytest.fixture
def signed_in(client, contributor):
    client.force_login(contributor)
    return client


@pytest.fixture
def lens(db):
    return LensFactory(name="Marram 35 mm f/1.4", slug="osterby-marram-35")


@pytest.fixture
def typed(contributor, lens):
    """A start form as someone with a rig of their own fills it in."""
    rig = RigFactory(owner=contributor, body=BodyFactory(name="Causey 2"))
    dark = FilterFactory(cut_on_nm=720)
    return {
        "lens_name": "35 1.4",
        "lens": lens.slug,
        "rig": rig.public_id,
        "filter": dark.slug,
        "filter_position": "front",
        "target": "a white wall",
        "notes": "dusk, no wind",
    }


@pytest.fixture
def draft(contributor, lens, typed):
    return services.start_draft(
        author=contributor,
        lens=lens,
        basis="measured",
        rig=typed["rig"],
        filter=typed["filter"],
        filter_position="front",
    )


def frame(f_number=8, name="frame.jpg", **scene):
    """A simulated frame as a browser sends it."""
    return jpeg_upload(
        photographed(f_number=f_number, **scene), name=name, f_number=f_number, focal_length_mm=35
    )


RADIUS = np.linspace(0, 0.9, 12)


def measurement(ev, **fields):
    """What photometry says of a frame, made up: a Gaussian patch of this excess."""
    excess = ev * np.exp(-((RADIUS / 0.15) ** 2))
    flat = np.zeros_like(RADIUS)
    numbers = {
        "status": "measured",
        "ev": ev,
        "ev_se": 0.02,
        "ev_low": max(ev - 0.04, 0),
        "ev_high": ev + 0.04,
        "peak_ev": ev,
        "radius": 0.12,
        "centre": (0.01, -0.02),
        "probability_of_patch": 0.99 if ev > 0.05 else 0.1,
        "profile": Profile(
            radius=RADIUS, excess=excess, low=excess - 0.03, high=excess + 0.03, baseline=flat
        ),
    }
    return Measurement(**numbers | fields)


def store_measured(report, f_number, found):
    """A frame of a draft as intake leaves it, and what was found in it; the real way is walked in the journeys."""
    image = SampleImageFactory(report=report, owner=report.author, f_number=f_number)
    services.record_measurement(image=image, measurement=found)
    return image


@pytest.fixture
def measured_draft(draft):
    """A draft with three measured frames: too few stops for a sweep to be due."""
    for f_number, excess_ev in ((4, 0.01), (8, 0.17), (16, 0.41)):
        store_measured(draft, f_number, measurement(excess_ev))
    draft.refresh_from_db()
    return draft
