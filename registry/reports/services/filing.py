"""A whole report in one call: what a program, the demo world and the whole check use."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from django.core.files import File
from django.db import transaction

from registry.accounts.models import Account
from registry.errors import CleanstopError, InvalidInput, Problem
from registry.reports import storage
from registry.reports.models import Report
from registry.reports.rules.inputs import plain
from registry.reports.services.contents import apply_contents, read_contents
from registry.reports.services.drafts import create_draft
from registry.reports.services.frames import add_frame
from registry.reports.services.life import submit_report


@transaction.atomic
def file_report(
    *, author: Account, data: Mapping[str, Any], submit: bool, files: Mapping[str, File] | None = None
) -> Report:
    """File a report from nested data, as a draft or submitted; all of it or nothing.

    data: the fields of rules.details.DETAIL_FIELDS (gear by slug or name; rig and copy by public id, or described
    as an object) and the lists
      sweeps: {focal_length_mm, focus_distance_m, readings: [{f_number, grade, excess_ev, excess_se, from_exif}]}
      claims: {says, f_number, focal_length_mm}
      findings: {kind, grade, note}
      own_summary, an object rather than a list: {says, f_number, stands, answer}
      images: public ids of pictures uploaded before, or {image, f_number, focal_length_mm, grade, purpose}.
    files: further frames by name. submit: where frames are still to be measured, it goes in once they are.
    Raises InvalidInput with every problem at its dotted path, such as `sweeps[0].readings[2].f_number`.
    """
    files = files or {}
    problems = _refused_files(files)
    try:
        contents = read_contents(data, author)
    except InvalidInput as error:
        raise InvalidInput([*error.problems, *problems]) from error
    if problems:
        raise InvalidInput(problems)
    report = create_draft(author, contents.details)
    apply_contents(report, contents)
    for file in files.values():
        add_frame(report=report, by=author, file=file)
    return submit_report(report=report, by=author, submit_when_measured=True) if submit else report


def take_submit(data: dict[str, Any]) -> bool:
    """Take the wish to submit out of a report's nested data. Raises InvalidInput when it is neither true nor false."""
    submit = data.pop("submit", False)
    if isinstance(submit, bool):
        return submit
    raise InvalidInput(
        Problem(
            code="not-a-boolean",
            field="submit",
            value=plain(submit),
            says=f"“{plain(submit)}” is neither true nor false.",
            remedy="Send true to submit the report, false to keep it as a draft.",
        )
    )


def _refused_files(files: Mapping[str, File]) -> list[Problem]:
    """What is wrong with files that can't be taken, each named as the sender named it."""
    problems = []
    for name, file in files.items():
        try:
            storage.inspect(file)
        except CleanstopError as error:
            problems += [replace(problem, field=f"frames.{name}") for problem in error.problems]
    return problems
