"""The table in which a draft's frames are corrected by hand, many at once."""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from registry.errors import CleanstopError
from registry.pages.forms.frames import FrameRow, RunForm
from registry.pages.problems import put_beside_fields
from registry.pages.views.drafts import draft_or_elsewhere
from registry.reports import queries, services
from registry.reports.models import ImagePurpose, Report
from registry.reports.rules.shooting_order import Shot, check_fits, in_shooting_order
from registry.reports.rules.sorting import READ, Sorting, sort_frames

_CELL = re.compile(r"frames\[(\w+)\]\.?(\w*)")


@dataclass
class FramesTable:
    """The rows of the frames that have been read, in shooting order, and the run that can fill them."""

    report: Report
    rows: list[FrameRow]
    run: RunForm
    sorting: Sorting
    unread: int
    problems: list[str] = field(default_factory=list)  # that concern no row

    @classmethod
    def of(
        cls, report: Report, data: QueryDict | None = None, run_data: QueryDict | None = None
    ) -> FramesTable:
        """data: what was sent; frames that came after the table was shown keep what they say."""
        images = queries.progress(report).images
        read = in_shooting_order(image for image in images if image.state in READ)
        rows = [
            FrameRow(image, data if data and f"{image.public_id}-purpose" in data else None) for image in read
        ]
        targets = [image for image in read if image.purpose == ImagePurpose.TARGET]
        sorting = sort_frames(report, read)
        run = RunForm(
            run_data,
            report=report,
            sorting=sorting,
            lacking=sum(image.f_number is None for image in targets),
            total=len(targets),
        )
        return cls(report, rows, run, sorting, len(images) - len(read))

    @property
    def notes(self) -> dict[int, str]:
        """What is to be said of a frame, by its primary key."""
        return {frame.pk: one.of_a_frame for one in self.sorting.apart for frame in one.frames}

    @property
    def errors(self) -> list[str]:
        of_rows = [f"{row.image.file_name}: {error}" for row in self.rows for error in _errors_of(row)]
        return [*self.problems, *of_rows]


@login_required
@require_http_methods(["GET", "POST"])
def frames_table(request: HttpRequest, public_id: str) -> HttpResponse:
    """Correct f-numbers, focal lengths and kinds; or fill them in by shooting order, to be looked at before keeping."""
    report, elsewhere = draft_or_elsewhere(request, public_id)
    if elsewhere:
        return elsewhere
    if request.method == "GET":
        return _page(request, FramesTable.of(report))
    if "fill" in request.POST:
        return _filled(request, report)
    table = FramesTable.of(report, request.POST)
    if "remove" in request.POST:
        return _taken_out(request, table)
    if _kept(request, table):
        return redirect("report-frames", public_id)
    return _page(request, table, status=422)


def _taken_out(request: HttpRequest, table: FramesTable) -> HttpResponse:
    ticked = [row.image.public_id for row in table.rows if row["ticked"].value()]
    if not ticked:
        table.problems.append("No frame is ticked. Tick the frames that are to be taken out.")
        return _page(request, table, status=422)
    count = services.remove_images(report=table.report, by=request.user, public_ids=ticked)
    messages.info(request, f"{count} frame{'s were' if count != 1 else ' was'} taken out of the report.")
    return redirect("report-frames-table", table.report.public_id)


def _filled(request: HttpRequest, report: Report) -> HttpResponse:
    """The same table with the run written into it, and nothing stored."""
    table = FramesTable.of(report, request.POST, request.POST)
    if not table.run.is_valid():
        return _page(request, table, status=422)
    chosen = table.run.chosen(table.rows, table.sorting)
    try:
        shots = table.run.shots()
        check_fits(shots, len(chosen))
    except CleanstopError as error:
        put_beside_fields(table.run, error)
        return _page(request, table, status=422)
    data = request.POST.copy()
    for row, shot in zip(chosen, shots, strict=True):
        _write(data, row, shot, table.run.cleaned_data["focal_length_mm"])
    preview = FramesTable.of(report, data, request.POST)
    written = {row.image.pk for row in chosen}
    for row in preview.rows:
        row.filled = row.image.pk in written
    return _page(request, preview, filled=len(chosen))


def _write(data: QueryDict, row: FrameRow, shot: Shot, focal_length_mm: str) -> None:
    """Put one shot into a row's fields; a focal length typed for the run goes before the shot list's."""
    data[row.add_prefix("f_number")] = f"{shot.f_number:g}"
    focal = focal_length_mm or (shot.focal_length_mm and f"{shot.focal_length_mm:g}")
    if focal:
        data[row.add_prefix("focal_length_mm")] = focal


def _kept(request: HttpRequest, table: FramesTable) -> bool:
    sent = [row for row in table.rows if row.is_bound]
    valid = [row.is_valid() for row in sent]
    if not all(valid):
        return False
    corrections = {row.image.public_id: changes for row in sent if (changes := row.changes())}
    try:
        if corrections:
            services.correct_images(report=table.report, by=request.user, corrections=corrections)
    except CleanstopError as error:
        _put_beside_cells(table, error)
        return False
    said = f"{len(corrections)} frame{'s were' if len(corrections) != 1 else ' was'} corrected."
    messages.success(request, said if corrections else "Nothing was changed.")
    return True


def _put_beside_cells(table: FramesTable, error: CleanstopError) -> None:
    rows = {row.image.public_id: row for row in table.rows}
    for problem in error.problems:
        cell = _CELL.fullmatch(problem.field)
        row = rows.get(cell[1]) if cell else None
        if row is None:  # a frame that was taken out meanwhile
            table.problems.append(str(problem))
        else:
            row.add_error(cell[2] if cell[2] in row.fields else None, str(problem))


def _errors_of(row: FrameRow) -> list[str]:
    return [error for errors in row.errors.values() for error in errors] if row.is_bound else []


def _page(request: HttpRequest, table: FramesTable, *, filled: int = 0, status: int = 200) -> HttpResponse:
    context = {"report": table.report, "table": table, "run": table.run, "filled": filled}
    return render(request, "pages/frames_table.html", context, status=status)
