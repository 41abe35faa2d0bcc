"""What measuring a 24-megapixel frame costs, as ratios to a bare full decode and to an off-the-shelf radial profile.

    python tests/benchmarks/measurement_speed.py [--rounds 5] [--record]

CPU seconds, medians over rounds, in a fresh process that has done each way once, as a worker has. Two baselines, since
half of a full decode's cost may be memory that the system hands over page by page: pixels in an array, as any program
needs them to measure ("bare full decode"), and the decoder's own load alone, which hands nothing over. "In turn": all
ways one after the other in each round, so that each finds the caches as the others left them; "in a tight loop": each
way by itself again and again, its tables still in the caches. A worker lies in between. The radial profile comes
last, in the same process: its arrays of hundreds of megabytes would change what memory costs the decoders (once the C
library keeps freed blocks of that size, a full decode gets a quarter cheaper). Peak memory: of a process that
does nothing else.
"""

from __future__ import annotations

import argparse
import io
import json
import os
import subprocess
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
KINDS = {"noisy JPEG": "noisy.jpg", "clean JPEG": "clean.jpg", "raw": "raw.dng"}
ELECTRONS = {"noisy JPEG": 1000.0, "clean JPEG": 30_000.0}
"""At full well; fewer make more noise and a larger file."""

KILOBYTES_PER_MB = 1024


def cpu(act: Callable[[], object]) -> float:
    start = time.process_time()
    act()
    return time.process_time() - start


def whole(path: Path) -> None:
    image, exif = read_local(path)
    measure_frame(image, f_number=exif.f_number, focal_length_mm=exif.focal_length_mm)


def decoded(path: Path) -> np.ndarray:
    if path.suffix == ".dng":
        with rawpy.imread(str(path)) as raw:
            return raw.postprocess()
    with Image.open(io.BytesIO(path.read_bytes())) as picture:
        return np.asarray(picture)


def loaded(path: Path) -> None:
    """The decoder's work alone: a raw file has no such half."""
    if path.suffix == ".dng":
        decoded(path)
        return
    with Image.open(io.BytesIO(path.read_bytes())) as picture:
        picture.load()


def radial_profile(path: Path) -> None:
    light = decoded(path).astype(np.float32) @ np.array([0.2126, 0.7152, 0.0722], dtype=np.float32)
    height, width = light.shape
    half_diagonal = np.hypot(height, width) / 2
    RadialProfile(light, (width / 2, height / 2), np.linspace(0, half_diagonal, 60)).profile  # noqa: B018


WAYS = {"whole": whole, "decode": decoded, "load": loaded}


def timed(folder: Path, rounds: int) -> dict[str, float]:
    """Median CPU seconds of every way with every file, in turn and in a tight loop, and of the profile."""
    acts = {
        f"{kind} {way}": lambda act=act, path=folder / name: act(path)
        for kind, name in KINDS.items()
        for way, act in WAYS.items()
    }
    for act in acts.values():
        act()
    in_turn = [{name: cpu(act) for name, act in acts.items()} for _ in range(rounds)]
    medians = {name: float(np.median([one[name] for one in in_turn])) for name in acts}
    for name, act in acts.items():
        medians[f"{name} loop"] = float(np.median([cpu(act) for _ in range(rounds)]))
    # Once: it takes a hundred times as long as all else, and its share of chance is small.
    return medians | {"radial profile": cpu(lambda: radial_profile(folder / KINDS["clean JPEG"]))}


def row_of(kind: str, seconds: dict[str, float], folder: Path) -> dict:
    cost, loop = seconds[f"{kind} whole"], seconds[f"{kind} whole loop"]
    return {
        "24-megapixel file": kind,
        "bytes to result, CPU seconds": cost,
        "share of its bare full decode": cost / seconds[f"{kind} decode"],
        "… in a tight loop": loop / seconds[f"{kind} decode loop"],
        "share of the decoder's load alone": cost / seconds[f"{kind} load"],
        "times faster than the radial profile": seconds["radial profile"] / cost,
        "peak memory, MB": round(apart("--peak", "whole", folder / KINDS[kind])),
        "… of the bare decode": round(apart("--peak", "decode", folder / KINDS[kind])),
    }


def peak_mb(way: str, path: Path) -> float:
    WAYS[way](path)
    found = [line for line in Path("/proc/self/status").read_text().splitlines() if line.startswith("VmHWM")]
    return int(found[0].split()[1]) / KILOBYTES_PER_MB


def apart(*arguments: object):
    """What this script answers in a fresh process."""
    command = [sys.executable, "-P", str(HERE / Path(__file__).name), *map(str, arguments)]
    return json.loads(subprocess.run(command, capture_output=True, check=True, text=True).stdout)


def write_files(folder: Path) -> None:
    for kind, electrons in ELECTRONS.items():
        scene = Scene(patch=Patch(), full_well_electrons=electrons)
        rendered = render_frame(scene, f_number=8, size=SIZE, seed=SEED)
        content = write_jpeg(rendered, folder / KINDS[kind])
        print(f"{kind}: {len(content) / 1e6:.1f} MB")
    write_dng(rendered, folder / KINDS["raw"])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--record", action="store_true", help="keep the table for the method page")
    parser.add_argument("--timed", type=Path, help=argparse.SUPPRESS)
    parser.add_argument("--peak", nargs=2, help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.timed:
        print(json.dumps(timed(asked.timed, asked.rounds)))
    elif asked.peak:
        print(json.dumps(peak_mb(asked.peak[0], Path(asked.peak[1]))))
    else:
        with tempfile.TemporaryDirectory() as name:
            compare(Path(name), asked)


def compare(folder: Path, asked: argparse.Namespace) -> None:
    write_files(folder)
    seconds = apart("--timed", folder, "--rounds", asked.rounds)
    rows = rounded([row_of(kind, seconds, folder) for kind in KINDS])
    print(table(rows))
    if asked.record:
        record("measurement_speed", rows, seed=SEED)


if __name__ == "__main__":
    main()
