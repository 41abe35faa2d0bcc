"""The method page: every number explained twice, its figures from the benches' own files."""

from __future__ import annotations

import json
import re

import pytest
from django.urls import reverse

from registry.consensus.descriptive import wilson_interval
from registry.pages import bench_figures
from registry.pages.views.words import PARTS

pytestmark = pytest.mark.django_db
BENCHES = ("measurement_accuracy", "measurement_speed", "consensus_calibration", "consensus_speed")


def row(world: str, count: int, **changes) -> dict:
    return {
        "world": world,
        "count": count,
        "scores": {"this method": [0.06, 0.2], "majority": [0.09, 0.3], "truth itself": [0.04, 0.1]},
        "said": [[0.1, 0.05, 40], [0.9, 0.95, 60]],
        "coverage": 0.91,
        "hits": 0.4,
        "wrong": 0.01,
        "false_alarms": 0.015,
    } | changes


@pytest.fixture
def kept(tmp_path, monkeypatch):
    """An empty folder of benches' files, and how to write one."""
    monkeypatch.setattr(bench_figures, "FOLDER", tmp_path)

    def write(name: str, rows: list[dict], **more) -> None:
        content = {"made": "2026-11-25", "command": f"python {name}.py --record", "seed": 1, "rows": rows}
        (tmp_path / f"{name}.json").write_text(json.dumps(content | more))

    return write


def page_of(client) -> str:
    response = client.get(reverse("method"))
    assert response.status_code == 200
    return " ".join(response.content.decode().split())


def test_each_part_is_told_plainly_and_for_a_statistician(client):
    page = page_of(client)
    for key, _ in PARTS:
        assert f'id="{key}"' in page and f'href="#{key}"' in page
    parts = page.split("<h2 ")
    plain_only = {"shooting", "sources", "privacy", "cautions-heading"}
    for part in parts[1:]:
        key = re.search(r'id="([^"]+)"', part)[1]
        assert key in plain_only or "For a statistician" in part, key


def test_the_ladder_is_drawn_for_an_example_that_was_really_judged(client):
    page = page_of(client)
    assert "<strong>clean to f/5.6</strong>, firm" in page
    assert 'class="ladder large"' in page
    assert "f/22: not tested" in page


def test_a_bench_that_was_not_run_is_named_as_such(client, kept):
    page = page_of(client)
    for name in BENCHES:
        assert f"tests/benchmarks/{name}.py --record" in page
    assert page.count("not measured here") == len(BENCHES)


def test_what_benches_measured_stands_with_day_command_and_seed(client, kept):
    kept("measurement_accuracy", [{"what": "single frames", "rmse": 0.0538, "frames": 600}])
    kept(
        "consensus_calibration",
        [row("home", 3)],
        lenses=150,
        flood={"this method": [0.09, 0.09], "majority": [0.08, 0.42]},
    )
    page = page_of(client)
    assert "Measured on 2026-11-25 with <code>python measurement_accuracy.py --record</code>, seed 1" in page
    assert "0.054" in page and "600" in page
    assert "by 9 % in the mean" in page and "by 42 %" in page
    assert page.count("not measured here") == 2


def test_the_calibration_plot_pools_all_worlds_and_counts(kept):
    rows = [row("home", 3), row("causes", 3, said=[[0.9, 0.85, 40]])]
    kept("consensus_calibration", rows, lenses=150, flood={})
    plot = bench_figures.calibration_plot(bench_figures.kept("consensus_calibration"))
    labels = [point.label for point in plot.curves[0].points]
    assert labels == ["said 10 %, came out clean 5 %", "said 90 %, came out clean 91 %"]


def test_coverage_has_a_curve_for_each_world_with_wilson_intervals(kept):
    kept("consensus_calibration", [row("home", n) for n in (1, 3)] + [row("causes", 3)], lenses=100, flood={})
    plot = bench_figures.coverage_plot(bench_figures.kept("consensus_calibration"))
    assert [len(curve.points) for curve in plot.curves] == [2, 1]
    low, high = wilson_interval(91, 100)
    point = plot.curves[0].points[0]
    height = point.low_y - point.high_y
    span = (plot.frame.bottom - plot.frame.top) / 0.3
    assert height == pytest.approx((high - low) * span, abs=0.1)


def test_scores_name_the_best_rival_and_leave_out_causes_nobody_planted(kept):
    kept(
        "consensus_calibration",
        [row("home", 3, hits=None, wrong=None, false_alarms=0.0), row("causes", 3)],
        lenses=9,
        flood={},
    )
    table = bench_figures.scores_table(bench_figures.kept("consensus_calibration"))
    assert table.rows[0][:7] == ("usual", "3", "0.060", "0.040", "0.090", "majority", "91 %")
    assert table.rows[0][7:] == ("–", "0 %")
    assert table.rows[1][7:] == ("40 %", "2 %")
