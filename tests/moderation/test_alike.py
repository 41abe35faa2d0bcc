"""Copies of a frame under another account are pointed out to moderators; unrelated frames are not."""

import numpy as np
import pytest
from django.utils import timezone

from registry.frames.residual import residual_of
from registry.moderation.queries.alike import frames_alike
from registry.reports.models import FrameGrain, ReportState
from tests.factories import AccountFactory, LensFactory
from tests.pages.conftest import SampleImageFactory
from tests.report_factories import ReportFactory

pytestmark = pytest.mark.django_db


def grain(seed, noise_seed=0, noise=0.0):
    codes = np.random.default_rng(seed).normal(120, 12, (400, 600, 1))
    codes = codes + np.random.default_rng(noise_seed).normal(0, 1, codes.shape) * noise
    return residual_of(np.repeat(np.clip(codes, 0, 255), 3, axis=2).astype(np.uint8))


def frame(lens, residual, **more):
    report = ReportFactory(lens=lens, state=ReportState.SUBMITTED, submitted_at=timezone.now())
    image = SampleImageFactory(report=report, owner=report.author, state="measured", **more)
    FrameGrain.objects.create(image=image, residual=residual)
    return image


def test_a_recompressed_copy_and_the_same_file_are_shown_and_unrelated_frames_are_not():
    lens = LensFactory()
    original = frame(lens, grain(1), content_hash="a" * 64)
    copy = frame(lens, grain(1, noise_seed=9, noise=10.0))
    same = frame(lens, grain(7), content_hash="a" * 64)
    frame(lens, grain(2)), frame(LensFactory(), grain(1))
    found = frames_alike(original.owner)
    assert [(pair.other, pair.same_file) for pair in found] == [(same, True), (copy, False)]
    assert 0.15 < found[1].likeness < 1


def test_who_sent_nothing_has_nothing_alike():
    assert frames_alike(AccountFactory()) == []
