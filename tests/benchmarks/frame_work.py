"""What the server does for one 24-megapixel JPEG frame, as a ratio to a bare full decode of it in the same run.

    python -m tests.benchmarks.frame_work [--frames 8] [--rounds 3] [--at-most 3]

The frames go the site's own way, through services and tasks into a database of their own: arrival (hash, private copy),
intake in the limited process (decode, EXIF, picture, thumbnail, what is kept), measurement, its overlay; then the sweep
of all of them. CPU seconds of this process and of the limited ones; medians over rounds. The baseline is Pillow
decoding the same bytes to an array. Peak memory is the largest resident set of any one process. Exits with 1 when a
frame costs more than --at-most full decodes.
"""

from __future__ import annotations

import argparse
import io
import os
import subprocess
import sys
import tempfile
import threading
from collections.abc import Callable
from pathlib import Path
from statistics import median

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "registry.project.settings")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the site and its workers run
_DATA = tempfile.TemporaryDirectory(prefix="frame-work-")
os.environ["CLEANSTOP_DATA_DIR"] = _DATA.name
os.environ.pop("DATABASE_URL", None)

import django

django.setup()

import numpy as np
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import call_command
from PIL import Image

from registry.pages.plots import overlay
from registry.reports import queries, services, tasks
from registry.reports.models import ImageState, SampleImage
from registry.simulation.exif import CameraExif
from registry.simulation.files import write_jpeg
from registry.simulation.render import render_frame
from registry.simulation.scene import Patch, Scene
from tests.factories import LensFactory
from tests.report_factories import ReportFactory

SIZE = (6000, 4000)
STOPS = (1.4, 2, 2.8, 4, 5.6, 8, 11, 16)
KILOBYTES_PER_MB = 1024


def cpu_seconds() -> float:
    """CPU time of this process and all that work for it, running or done."""
    ours = os.times()
    tick = os.sysconf("SC_CLK_TCK")
    theirs = 0
    for pid in children_of(os.getpid()):
        fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
        theirs += sum(int(field) for field in fields[11:15])  # utime, stime, and those of its ended children
    return ours.user + ours.system + ours.children_user + ours.children_system + theirs / tick


def cost(act: Callable[[], object]) -> float:
    before = cpu_seconds()
    act()
    return cpu_seconds() - before


def decode(content: bytes) -> np.ndarray:
    with Image.open(io.BytesIO(content)) as picture:
        return np.asarray(picture)


def frames(count: int, electrons: float) -> list[bytes]:
    """One sweep as a camera writes it. electrons: at full well; fewer make more noise and larger files."""
    scene = Scene(focal_length_mm=35, widest=1.4, patch=Patch(), full_well_electrons=electrons)
    shots = (render_frame(scene, f_number=STOPS[n % 8], size=SIZE, seed=1, frame=n) for n in range(count))
    return [write_jpeg(shot, exif=CameraExif()) for shot in shots]


def worked_through(contents: list[bytes]) -> dict[str, float]:
    """CPU seconds a frame by stage, for one new draft."""
    report = ReportFactory(basis="measured", lens=LensFactory())
    stages = {
        "arrival": lambda: [_arrive(report, number, content) for number, content in enumerate(contents)],
        "intake and measurement": lambda: [tasks.measure_frame.call(image.pk) for image in _of(report)],
        "overlay": lambda: [_overlay(image) for image in _of(report)],
        "its sweep": lambda: tasks.measure_sweep.call(report.pk, 35.0),
    }
    spent = {name: cost(act) / len(contents) for name, act in stages.items()}
    states = {image.state for image in _of(report)}
    assert states <= {ImageState.MEASURED, ImageState.UNCERTAIN}, states
    return spent


def _arrive(report, number: int, content: bytes) -> SampleImage:
    file = SimpleUploadedFile(f"{number}.jpg", content)
    return services.add_frame(report=report, by=report.author, file=file)


def _of(report):
    return SampleImage.objects.filter(report=report).select_related("report__lens", "report__body")


def _overlay(image: SampleImage) -> None:
    shown = queries.overlay_of(image)
    overlay(image.width, image.height, centre=shown.centre or (0, 0), radius=shown.radius or 0.1)


def peak_mb(pid: int | str = "self") -> float:
    """Peak resident set in MB of a process since it began its program; 0 when it has ended."""
    try:
        status = Path(f"/proc/{pid}/status").read_text()
    except OSError:
        return 0.0
    found = [line for line in status.splitlines() if line.startswith("VmHWM")]
    return int(found[0].split()[1]) / KILOBYTES_PER_MB if found else 0.0


def children_of(pid: int | str) -> list[str]:
    try:
        return Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
    except OSError:
        return []


def peak_of_intake(contents: list[bytes]) -> float:
    """Largest peak in MB of the limited processes that take these frames in, looked at every 2 ms."""
    peaks, done = [0.0], threading.Event()

    def watch() -> None:
        while not done.wait(0.002):
            for chamber in children_of(os.getpid()):
                peaks.extend(peak_mb(child) for child in children_of(chamber))

    watcher = threading.Thread(target=watch)
    watcher.start()
    worked_through(contents)
    done.set()
    watcher.join()
    return max(peaks)


def peak_of_bare_decode(content: bytes) -> float:
    """Peak in MB of a Python that does nothing but decode."""
    code = (
        "import io, sys; from PIL import Image; import numpy;"
        "numpy.asarray(Image.open(io.BytesIO(sys.stdin.buffer.read())));"
        "print([line for line in open('/proc/self/status') if line.startswith('VmHWM')][0].split()[1])"
    )
    done = subprocess.run([sys.executable, "-P", "-c", code], input=content, capture_output=True, check=True)
    return int(done.stdout) / KILOBYTES_PER_MB


def measured(name: str, contents: list[bytes], rounds: int) -> float:
    """Print one kind of file's table; returns the ratio of a frame without its sweep."""
    decode(contents[0])
    worked_through(contents[:4])  # libraries, bases and the chamber warm
    spent, bare = [], []
    for _ in range(rounds):
        bare.append(cost(lambda: [decode(content) for content in contents]) / len(contents))
        spent.append(worked_through(contents))
    baseline = median(bare)
    print(f"\n{name}, {np.mean([len(content) for content in contents]) / 1e6:.1f} MB")
    print("| what | CPU s a frame | of a bare decode |\n| --- | --- | --- |")
    print(f"| bare full decode | {baseline:.3f} | 1.00 |")
    middle = {stage: median(one[stage] for one in spent) for stage in spent[0]}
    for stage, seconds in middle.items():
        print(f"| {stage} | {seconds:.3f} | {seconds / baseline:.2f} |")
    frame = sum(seconds for stage, seconds in middle.items() if stage != "its sweep")
    print(f"| **a frame** | {frame:.3f} | **{frame / baseline:.2f}** |")
    print(f"| with its sweep | {sum(middle.values()):.3f} | {sum(middle.values()) / baseline:.2f} |")
    return frame / baseline


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--frames", type=int, default=8)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--at-most", type=float, default=3.0)
    asked = parser.parse_args()
    call_command("migrate", verbosity=0)
    kinds = {"noisy JPEG": 1000.0, "clean JPEG": 30_000.0}
    ratios = {}
    for name, electrons in kinds.items():
        contents = frames(asked.frames, electrons)
        ratios[name] = measured(name, contents, asked.rounds)
    print(f"\nPeak memory: {peak_of_intake(contents):.0f} MB in a limited process, ", end="")
    print(f"{peak_of_bare_decode(contents[0]):.0f} MB in a Python that only decodes")
    return int(max(ratios.values()) > asked.at_most)


if __name__ == "__main__":
    sys.exit(main())
