"""The main job as a program does it: one new report with its frames, over HTTP, to a running registry."""

from __future__ import annotations

import datetime
import json
import time
from collections.abc import Iterator
from dataclasses import dataclass

import httpx

from registry.optics.stops import full_stops_between
from registry.simulation.exif import CameraExif
from registry.simulation.files import write_jpeg
from registry.simulation.render import render_frame
from registry.simulation.scene import Patch, Scene

LENS = "ferrow-skerry-150-600-mm-f-5-6-3"
FOCAL_MM, CUT_ON_NM = 150.0, 720.0
STOPS = full_stops_between(5, 32)
BODY, BODY_MODEL = "ferrow-ebb-xl", "FERROW EBB XL"
# Hot from about f/16 on, clean at f/11: 0.05 EV at f/11, 0.11 at f/16, 0.23 at f/22.
PATCH = Patch(
    strength_ev=0.11,
    radius=0.13,
    shape="gaussian",
    reference_f_number=16.0,
    growth=2.2,
    by_cut_on=((720, 1.0),),
)
PATIENCE_SECONDS = 180


class MainJobFailed(Exception):
    """Something on the way from frames to standing did not happen."""


@dataclass(frozen=True)
class Standing:
    sentence: str
    n_independent: int


def frames(seed: int) -> dict[str, bytes]:
    """One evening's sweep as JPEG files by name."""
    scene = Scene(
        focal_length_mm=FOCAL_MM,
        widest=5,
        vignetting_ev=0.8,
        telecentric_factor=0.7,
        patch=PATCH,
        tilt_ev=0.04,
    )
    start = datetime.datetime.combine(datetime.date.today(), datetime.time(0, 5))
    return {
        f"EBBX{index:04d}.JPG": write_jpeg(
            render_frame(scene, f_number=stop, size=(1500, 1000), seed=seed, frame=index),
            exif=CameraExif(
                maker="Ferrow",
                model=BODY_MODEL,
                lens="Ferrow Skerry 150-600 mm f/5-6.3",
                taken_at=start + datetime.timedelta(seconds=15 * index),
            ),
        )
        for index, stop in enumerate(STOPS, start=1)
    }


def do_main_job(url: str, token: str, seed: int) -> Iterator[str]:
    """File the report, wait for its measurement, and read the standing; yields what to tell the person watching.

    Raises MainJobFailed when a step did not succeed.
    """
    with httpx.Client(base_url=url, timeout=60, headers={"Authorization": f"Token {token}"}) as client:
        before = _standing(client)
        yield f"before: {before.sentence}"
        photographs = frames(seed)
        yield f"sending {len(photographs)} frames, {sum(map(len, photographs.values())) / 1e6:.1f} MB"
        report = _file(client, photographs, seed)
        yield f"filed as report {report}; measuring"
        yield from _measured(client, report)
        after = _standing_that_counts(client, before)
        yield f"after:  {after.sentence}"
        page = client.get(f"/lenses/{LENS}/", params={"cut_on_nm": CUT_ON_NM}, follow_redirects=True)
        if page.status_code != 200 or report not in page.text:
            raise MainJobFailed(f"The lens's page ({page.status_code}) does not show report {report}.")
        yield f"the lens's page shows it: {url}/lenses/{LENS}/"


def _answer(response: httpx.Response, *expected: int) -> dict:
    if response.status_code not in expected:
        raise MainJobFailed(
            f"{response.request.method} {response.url}: {response.status_code} {response.text[:600]}"
        )
    return response.json()


def _standing(client: httpx.Client) -> Standing:
    answer = _answer(client.get(f"/api/v1/lenses/{LENS}/", params={"cut_on_nm": CUT_ON_NM}), 200)["answer"]
    zones = answer["here"]["zones"]
    return Standing(answer["sentence"], max((zone["n_independent"] for zone in zones), default=0))


def _file(client: httpx.Client, photographs: dict[str, bytes], seed: int) -> str:
    report = {
        "lens": LENS,
        "basis": "measured",
        "rig": {"body": BODY, "conversion": "long-pass", "cut_on_nm": CUT_ON_NM},
        "filter_position": "sensor",
        "target": "opal acrylic sheet",
        "light": "overcast daylight",
        "shot_on": datetime.date.today().isoformat(),
        "submit": True,
    }
    response = client.post(
        "/api/v1/reports/",
        data={"report": json.dumps(report)},
        files=[("frames", (name, content, "image/jpeg")) for name, content in photographs.items()],
        headers={"Idempotency-Key": f"check-{seed}"},
    )
    return _answer(response, 201)["id"]


def _measured(client: httpx.Client, report: str) -> Iterator[str]:
    """Wait until the report has gone in, then tell its readings."""
    whole = _until(
        lambda: _answer(client.get(f"/api/v1/reports/{report}/"), 200),
        lambda whole: whole["state"] == "submitted",
        lambda whole: (
            f"Report {report} is still {whole['state']}: "
            + ", ".join(sorted({f"{image['state_words']}" for image in whole["images"]}))
        ),
    )
    readings = [reading for sweep in whole["sweeps"] for reading in sweep["readings"]]
    if len(readings) != len(STOPS):
        raise MainJobFailed(f"{len(STOPS)} frames were sent, and {len(readings)} readings came out.")
    for reading in readings:
        yield f"  f/{reading['f_number']:g}: {reading['excess_ev']:+.3f} ± {reading['excess_se']:.3f} EV"


def _standing_that_counts(client: httpx.Client, before: Standing) -> Standing:
    return _until(
        lambda: _standing(client),
        lambda now: now.n_independent > before.n_independent,
        lambda now: f"The standing still counts {now.n_independent} independent reports",
    )


def _until(ask, done, complaint):
    deadline = time.monotonic() + PATIENCE_SECONDS
    while True:
        answer = ask()
        if done(answer):
            return answer
        if time.monotonic() > deadline:
            raise MainJobFailed(
                f"{complaint(answer)} after {PATIENCE_SECONDS} s. Is the task worker running?"
            )
        time.sleep(0.5)
