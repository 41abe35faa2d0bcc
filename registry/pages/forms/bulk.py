"""Sending a table of reports: as a file or as pasted cells, with lenses chosen for names that are not known."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from django import forms

from registry.errors import CleanstopError
from registry.pages.problems import put_beside_fields
from registry.reports.services.table_plan import MOST_BYTES, TablePlan, UnknownLens
from registry.spreadsheets import text_of

PASTED = {"rows": 8, "class": "cells", "spellcheck": "false", "autocapitalize": "off", "wrap": "off"}


class TableForm(forms.Form):
    """The table itself. Once it was read, `cells` carries it on, to be mended in place."""

    file = forms.FileField(
        label="CSV file",
        required=False,
        allow_empty_file=True,
        help_text="UTF-8 is best; commas, semicolons or tabs may part the cells.",
        widget=forms.FileInput(attrs={"accept": ".csv,.tsv,.txt,text/csv,text/plain"}),
    )
    cells = forms.CharField(
        label="or cells pasted from a spreadsheet, with the row of column names",
        required=False,
        strip=False,
        max_length=MOST_BYTES,
        widget=forms.Textarea(attrs=PASTED),
    )

    notes: tuple[str, ...] = ()

    def clean(self) -> dict:
        """The file's text takes the place of what was pasted before."""
        typed = super().clean()
        if typed.get("file") is not None:
            try:
                typed["cells"], self.notes = text_of(typed["file"].read(MOST_BYTES + 1))
            except CleanstopError as error:
                put_beside_fields(self, error, {problem.field: "file" for problem in error.problems})
        elif not typed.get("cells", "").strip():
            self.add_error("file", "Choose a CSV file, or paste cells below.")
        return typed


class ChosenLenses:
    """Which lens of the catalogue stands for each name that it does not know."""

    def __init__(self, data: Mapping[str, str]):
        names = {
            key.removeprefix("written-"): value for key, value in data.items() if key.startswith("written-")
        }
        self.slugs = {written: data.get(f"lens-{place}", "") for place, written in names.items()}

    def known(self) -> dict[str, str]:
        """Slugs by name, where one was chosen."""
        return {written: slug for written, slug in self.slugs.items() if slug}

    def asked(self, plan: TablePlan) -> Iterable[tuple[int, UnknownLens]]:
        """The names to choose for, numbered after those that were chosen for."""
        return enumerate(plan.unknown_lenses, len(self.known()) + 1)

    def settled(self) -> Iterable[tuple[int, str, str]]:
        """(number, name, slug) of those chosen, to be sent again."""
        return [(place, written, slug) for place, (written, slug) in enumerate(self.known().items(), 1)]
