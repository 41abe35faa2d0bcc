"""HEIC, as telephones write it."""

from __future__ import annotations

import io

import pillow_heif
import pytest
from PIL import Image

from registry.errors import CleanstopError
from registry.frames.decode import read_kept
from registry.frames.intake import take_in


def heic(make, **options) -> bytes:
    buffer = io.BytesIO()
    file = pillow_heif.from_pillow(Image.fromarray(make.codes(make.target(320, 240))))
    file.save(buffer, quality=95, **options)
    return buffer.getvalue()


def test_a_telephones_picture_is_taken(make, put, room):
    taken = take_in(put(heic(make, exif=make.exif().tobytes())), working_directory=room)
    assert taken.kind == "heic"
    assert (taken.width, taken.height) == (320, 240)
    assert taken.exif.f_number == pytest.approx(5.6)
    assert taken.image.pixels[36, 48] == pytest.approx(0.3, rel=0.02)
    assert (read_kept(taken.kept_path).pixels == taken.image.pixels).all()


@pytest.mark.parametrize("share", [0.1, 0.5, 0.95])
def test_one_cut_short_is_refused(share, make, put, room):
    data = heic(make)
    with pytest.raises(CleanstopError) as caught:
        take_in(put(data[: int(len(data) * share)]), working_directory=room)
    assert caught.value.first.code in {"truncated-image", "damaged-image"}
    assert not list(room.iterdir())
