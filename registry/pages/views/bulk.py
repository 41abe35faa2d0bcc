"""Many reports at once, from a table: looked through first, then filed all or none."""

from __future__ import annotations

from dataclasses import dataclass

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from registry.errors import CleanstopError
from registry.pages.forms.bulk import ChosenLenses, TableForm
from registry.pages.problems import status_of
from registry.reports.rules.table_columns import COLUMNS, PROBLEMS
from registry.reports.services.report_table import import_table
from registry.reports.services.table_plan import MOST_REPORTS, MOST_ROWS, CellProblem, TablePlan, plan_table
from registry.spreadsheets import table_text

PROBLEMS_SHOWN, REPORTS_SHOWN = 500, 200
# What a filled table looks like; its lenses are the demo's.
EXAMPLE_HEADINGS = (
    "report", "lens", "basis", "focal_length_mm", "says", "f_number", "f/2.8", "f/5.6", "f/8", "tester_name",
    "citation_title", "citation_url", "citation_date", "cut_on_nm", "notes",
)  # fmt: skip
_SAMPHIRE = (
    "R. Samphire",
    "Infrared on the saltings, part 3",
    "https://saltmarsh.example/infrared-3",
    "2024-05-31",
)
EXAMPLE_ROWS = (
    ("saltings, Marram 50", "Osterby Marram 50 mm f/1.8", "relayed", "", "clean_to", "8", "", "", "", *_SAMPHIRE,
     "720", "a single claim"),
    ("saltings, 16-35", "Osterby Marram 16-35 mm f/4", "relayed", "16", "clean_to", "5.6", "", "", "", *_SAMPHIRE,
     "720", "two claims: one row each"),
    ("saltings, 16-35", "", "", "35", "hot_all", "", "", "", "", "", "", "", "", "", ""),
    ("own test, Marram 50", "Osterby Marram 50 mm f/1.8", "graded", "", "", "", "0", "1", "3", "", "", "", "", "720",
     "grades of one focal length: one row"),
    ("nothing on the fisheye", "Osterby Marram 15 mm f/2.8 fisheye", "relayed", "", "nothing_found", "", "", "", "",
     "Saltmarsh Infrared Circle", "Index of the club's bulletin", "", "", "", "searched 1998 to 2024"),
)  # fmt: skip


@dataclass(frozen=True)
class RowToldOf:
    """What is wrong with a cell, with what stands in it."""

    found: CellProblem
    cell: str


@login_required
@require_http_methods(["GET", "POST"])
def bulk(request: HttpRequest) -> HttpResponse:
    """Read a table and show what it would do and every problem of it; file it once it is asked for and has none."""
    if request.method == "GET":
        return _page(request, TableForm(), ChosenLenses({}))
    form, chosen = TableForm(request.POST, request.FILES), ChosenLenses(request.POST)
    if not form.is_valid():
        return _page(request, form, chosen, status=422)
    table = {"author": request.user, "content": form.cleaned_data["cells"], "lenses": chosen.known()}
    try:
        plan = plan_table(**table)
        if "download" in request.POST:
            return _with_problems(plan)
        if "write" in request.POST and not plan.problems:
            return _written(request, table)
    except CleanstopError as error:
        for problem in error.problems:
            form.add_error("file", str(problem))
        return _page(request, form, chosen, status=status_of(error)[0])
    shown = TableForm(initial={"cells": form.cleaned_data["cells"]})
    notes = (*form.notes, *plan.table.notes)
    return _page(request, shown, chosen, plan=plan, notes=notes, status=422 if plan.problems else 200)


def _written(request: HttpRequest, table: dict) -> HttpResponse:
    done = import_table(**table, submit="drafts" not in request.POST)
    came = f"{len(done.reports)} report{'s' if len(done.reports) != 1 else ''} came in"
    how = " as drafts" if "drafts" in request.POST else ""
    known = f"; {done.known} had come in before" if done.known else ""
    messages.success(request, f"{came}{how}{known}.")
    return redirect("my-reports")


def _page(
    request: HttpRequest,
    form: TableForm,
    chosen: ChosenLenses,
    *,
    plan: TablePlan | None = None,
    notes: tuple[str, ...] = (),
    status: int = 200,
) -> HttpResponse:
    context = {
        "form": form,
        "plan": plan,
        "notes": notes,
        "columns": COLUMNS,
        "most_rows": MOST_ROWS,
        "most_reports": MOST_REPORTS,
        "example": {"headings": EXAMPLE_HEADINGS, "rows": EXAMPLE_ROWS},
    }
    if plan is not None:
        context |= {
            "problems": _told(plan)[:PROBLEMS_SHOWN],
            "more_problems": max(0, len(plan.problems) - PROBLEMS_SHOWN),
            "reports": plan.reports[:REPORTS_SHOWN],
            "more_reports": max(0, len(plan.reports) - REPORTS_SHOWN),
            "to_choose": chosen.asked(plan),
            "settled": chosen.settled(),
        }
    return render(request, "pages/bulk.html", context, status=status)


def _told(plan: TablePlan) -> list[RowToldOf]:
    rows = {row.number: row.cells for row in plan.table.rows}
    return [RowToldOf(found, rows.get(found.row, {}).get(found.heading, "")) for found in plan.problems]


def _with_problems(plan: TablePlan) -> HttpResponse:
    """The table as it was sent, with a last column that says what is wrong in each row."""
    headings = [heading for heading in plan.table.headings if heading and heading.casefold() != PROBLEMS]
    wrong: dict[int, list[str]] = {}
    for found in plan.problems:
        place = f"{found.heading}: " if found.heading else ""
        wrong.setdefault(found.row, []).append(f"{place}{found.problem}")
    rows = (
        [*(row.cells.get(heading, "") for heading in headings), " ".join(wrong.get(row.number, ()))]
        for row in plan.table.rows
    )
    return _csv("reports-with-problems.csv", table_text([*headings, PROBLEMS], rows))


@require_safe
def template(request: HttpRequest) -> HttpResponse:
    """An empty table with every column, to be filled in a spreadsheet."""
    return _csv("reports-template.csv", table_text([column.name for column in COLUMNS], []))


@require_safe
def example(request: HttpRequest) -> HttpResponse:
    """A filled table, to see how it is meant."""
    return _csv("reports-example.csv", table_text(EXAMPLE_HEADINGS, EXAMPLE_ROWS))


def _csv(name: str, text: str) -> HttpResponse:
    """With a byte order mark, by which spreadsheets know UTF-8."""
    response = HttpResponse(f"\ufeff{text}", content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="{name}"'
    return response
