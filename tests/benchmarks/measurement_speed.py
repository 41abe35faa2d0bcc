"""What measuring a 24-megapixel frame costs, as ratios to a bare full decode and to an off-the-shelf radial profile.

    python tests/benchmarks/measurement_speed.py [--rounds 5] [--record]

CPU seconds of this process, medians over rounds; all ways in turn in each round.
"""

from __future__ import annotations

import argparse
import io
import os
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the site and its workers run
HERE = Path(__file__).parent
sys.path[:0] = [str(HERE), str(HERE.parents[1])]

import numpy as np
import rawpy
from consensus_record import record
from measurement_accuracy import rounded, table
from photutils.profiles import RadialProfile
from PIL import Image

from registry.frames.local import read_local
from registry.photometry.frame import measure_frame
from registry.simulation.files import write_dng, write_jpeg
from registry.simulation.render import render_frame
from registry.simulation.scene import Patch, Scene

SIZE = (6000, 4000)
SEED = 1


def cpu(act: Callable[[], object]) -> float:
    start = time.process_time()
    act()
    return time.process_time() - start


def whole(path: Path) -> None:
    image, exif = read_local(path)
    measure_frame(image, f_number=exif.f_number, focal_length_mm=exif.focal_length_mm)


def full_decode(content: bytes) -> np.ndarray:
    with Image.open(io.BytesIO(content)) as picture:
        return np.asarray(picture)


def raw_decode(path: Path) -> np.ndarray:
    with rawpy.imread(str(path)) as raw:
        return raw.postprocess()


def radial_profile(content: bytes) -> None:
    light = full_decode(content).astype(np.float32) @ np.array([0.2126, 0.7152, 0.0722], dtype=np.float32)
    height, width = light.shape
    half_diagonal = np.hypot(height, width) / 2
    RadialProfile(light, (width / 2, height / 2), np.linspace(0, half_diagonal, 60)).profile  # noqa: B018


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--record", action="store_true", help="keep the table for the method page")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        ways = prepared(Path(folder))
        for act in ways.values():
            act()  # bases and libraries warm
        seconds = {name: [] for name in ways}
        for _ in range(asked.rounds):
            for name, act in ways.items():
                seconds[name].append(cpu(act))
    median = {name: float(np.median(values)) for name, values in seconds.items()}
    rows = rounded([row_of(name, median) for name in ("noisy JPEG", "clean JPEG", "raw")])
    print(table(rows))
    if asked.record:
        record("measurement_speed", rows, seed=SEED)


def row_of(name: str, median: dict[str, float]) -> dict:
    return {
        "24-megapixel file": name,
        "bytes to result, CPU seconds": median[name],
        "share of its bare full decode": median[name] / median[f"{name} decode"],
        "times faster than the radial profile": median["radial profile"] / median[name],
    }


def prepared(folder: Path) -> dict[str, Callable[[], object]]:
    contents = {}
    for name, electrons in (("noisy JPEG", 1000.0), ("clean JPEG", 30_000.0)):
        scene = Scene(patch=Patch(), full_well_electrons=electrons)
        rendered = render_frame(scene, f_number=8, size=SIZE, seed=SEED)
        contents[name] = write_jpeg(rendered, folder / f"{name}.jpg")
        print(f"{name}: {len(contents[name]) / 1e6:.1f} MB")
    write_dng(rendered, folder / "raw.dng")
    return {
        **{name: lambda path=folder / f"{name}.jpg": whole(path) for name in contents},
        **{
            f"{name} decode": lambda content=content: full_decode(content)
            for name, content in contents.items()
        },
        "raw": lambda: whole(folder / "raw.dng"),
        "raw decode": lambda: raw_decode(folder / "raw.dng"),
        "radial profile": lambda: radial_profile(contents["clean JPEG"]),
    }


if __name__ == "__main__":
    main()
