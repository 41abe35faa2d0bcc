"""The command `import_reports FILE --as EMAIL`."""

import io

import pytest
from django.core.management import CommandError, call_command

from registry.reports.models import Report
from tests.factories import AccountFactory, LensFactory

pytestmark = pytest.mark.django_db
GOOD = "lens,cut_on_nm,f/8\nosterby-marram-35,720,2\n"


@pytest.fixture
def table(tmp_path):
    LensFactory(slug="osterby-marram-35")
    AccountFactory(email="wren@saltmarsh.example")
    path = tmp_path / "old-notes.csv"
    path.write_text(GOOD)
    return path


def run(path, **options):
    out, wrong = io.StringIO(), io.StringIO()
    options = {"email": "Wren@saltmarsh.example"} | options
    try:
        call_command("import_reports", path, stdout=out, stderr=wrong, **options)
    except CommandError as error:
        return wrong.getvalue(), str(error)
    return out.getvalue()


def test_it_submits_what_the_table_holds_once(table):
    assert run(table) == "Submitted: 1 reports. Here before: 0.\n"
    assert run(table) == "Submitted: 0 reports. Here before: 1.\n"
    assert Report.objects.get().state == "submitted"


def test_a_dry_run_writes_nothing(table):
    assert run(table, dry_run=True) == "Would file: 1 reports. Here before: 0.\n"
    assert not Report.objects.exists()


def test_drafts_do_not_count_yet(table):
    assert run(table, drafts=True).startswith("Kept as drafts: 1")
    assert Report.objects.get().state == "draft"


def test_every_problem_is_told_with_its_row_and_column(table):
    table.write_text(GOOD + "osterby-marram-35,2000,7\n")
    wrong, refusal = run(table)
    assert wrong.startswith("old-notes.csv:3: cut_on_nm: Cut-on “2000” is no number")
    assert "old-notes.csv:3: f/8: Grade “7”" in wrong and "Nothing was written" in refusal
    assert not Report.objects.exists()


@pytest.mark.parametrize("options", [{"email": "nobody@saltmarsh.example"}, {"missing": True}])
def test_an_unknown_account_or_file_is_told_in_one_sentence(table, options):
    path = table.with_name("nowhere.csv") if options.pop("missing", False) else table
    assert any(words in run(path, **options)[1] for words in ("No account has", "can't be read"))
