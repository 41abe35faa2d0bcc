"""Many reports from one table: what its cells mean, what is wrong where, and that it comes in once."""

import pytest

from registry.errors import InvalidInput, TooLarge, Unreadable
from registry.ledger.models import Event
from registry.reports import services
from registry.reports.models import ImportedReport, Report
from registry.reports.rules.table_columns import COLUMNS, PROBLEMS, understood
from registry.reports.services.report_table import import_table
from registry.reports.services.table_plan import MOST_ROWS, plan_table
from registry.spreadsheets import read_table, table_text
from tests.factories import AccountFactory, BodyFactory, FilterFactory, LensFactory

pytestmark = pytest.mark.django_db
SOURCE = "R. Samphire,Infrared on the saltings,https://saltmarsh.example/ir-3,720"


@pytest.fixture
def curator():
    return AccountFactory(name="Wren")


@pytest.fixture(autouse=True)
def gear():
    LensFactory(name="Marram 35 mm f/1.4", slug="osterby-marram-35")
    LensFactory(
        name="Sedge 24-70 mm f/2.8-4", slug="osterby-sedge", focal_min_mm=24, focal_max_mm=70, widest_f=2.8,
        widest_f_tele=4,
    )  # fmt: skip
    BodyFactory(name="Causey 2", slug="osterby-causey-2")
    FilterFactory(name="Dusk 720", slug="ferrow-dusk-720")


def planned(curator, content, **kwargs):
    return plan_table(author=curator, content=content, **kwargs)


def told(plan):
    """Where each problem stands, and which it is."""
    return [(f"{found.letter}{found.row}", found.problem.code) for found in plan.problems]


def relays(*rows):
    return "lens,says,f_number,tester_name,citation_title,citation_url,cut_on_nm\n" + "\n".join(rows)


# ---- what cells mean -----------------------------------------------------------------------------


def test_one_row_is_a_relay_with_its_citation(curator):
    table = relays(f"Marram 35 mm f/1.4,clean_to,8,{SOURCE}")
    (report,) = import_table(author=curator, content=table).reports
    assert (report.basis, report.state, report.tester_name) == ("relayed", "submitted", "R. Samphire")
    assert (report.citation_url, report.cut_on_nm) == ("https://saltmarsh.example/ir-3", 720)
    assert [(claim.says, claim.f_number) for claim in report.claims.all()] == [("clean_to", 8)]


def test_rows_of_one_name_are_one_report_of_several_readings(curator):
    table = (
        "report,lens,focal_length_mm,f_number,grade,body,conversion,conversion_cut_on_nm,shot_on\n"
        "dunes 1,Sedge 24-70 mm f/2.8-4,24,5.6,0,Causey 2,long-pass,720,2024-05-31\n"
        "dunes 1,,24,8,2,,,,\n"
        "dunes 1,,70,8,3,,,,\n"
    )
    (report,) = import_table(author=curator, content=table).reports
    kept = {
        sweep.focal_length_mm: {reading.f_number: reading.grade for reading in sweep.readings.all()}
        for sweep in report.sweeps.all()
    }
    assert kept == {24: {5.6: 0, 8: 2}, 70: {8: 3}}
    assert (report.basis, report.rig.cut_on_nm, str(report.shot_on)) == ("graded", 720, "2024-05-31")


def test_grades_may_stand_in_columns_named_for_their_stops(curator):
    table = "lens,cut_on_nm,f/2.8,f/5.6,F8\nMarram 35 mm f/1.4,720,0,1,3\n"
    (report,) = import_table(author=curator, content=table).reports
    readings = report.sweeps.get().readings.all()
    assert {reading.f_number: reading.grade for reading in readings} == {2.8: 0, 5.6: 1, 8: 3}


def test_a_row_that_names_neither_report_nor_lens_goes_on_with_the_one_above(curator):
    table = relays(
        f"Marram 35 mm f/1.4,clean_to,5.6,{SOURCE}", ",hot_from,11,,,,", "osterby-sedge,mixed,," + SOURCE
    )
    first, second = import_table(author=curator, content=table).reports
    assert [claim.says for claim in first.claims.all()] == ["clean_to", "hot_from"]
    assert [claim.says for claim in second.claims.all()] == ["mixed"]


def test_a_spreadsheet_with_decimal_commas_and_a_days_first_calendar_is_understood(curator):
    table = (
        "Lens;Cut-on nm;F number;Excess EV;Excess SE;Tester name;Citation title;Citation date\n"
        "Marram 35 mm f/1.4;720 nm;f/5,6;0,12;0,02;R. Samphire;Infrared on the saltings;31.5.2024\n"
    )
    (report,) = import_table(author=curator, content=table).reports
    reading = report.sweeps.get().readings.get()
    assert (reading.f_number, reading.excess_ev, reading.excess_se) == (5.6, 0.12, 0.02)
    assert (report.cut_on_nm, str(report.citation_date)) == (720, "2024-05-31")


@pytest.mark.parametrize("word", ["clean to", "Clean_To", "CLEAN-TO", "clean_to"])
def test_words_are_known_however_they_are_joined(curator, word):
    plan = planned(curator, relays(f"Marram 35 mm f/1.4,{word},8,{SOURCE}"))
    assert not plan.problems


def test_nothing_found_and_mixed_results_can_be_recorded(curator):
    table = relays(
        f"Marram 35 mm f/1.4,searched and found nothing,,{SOURCE}", f"osterby-sedge,mixed results,,{SOURCE}"
    )
    said = [report.claims.get().says for report in import_table(author=curator, content=table).reports]
    assert said == ["nothing_found", "mixed"]


def test_other_infrared_traits_have_columns_of_their_own(curator):
    table = "lens,cut_on_nm,f/8,flare,corner softness\nMarram 35 mm f/1.4,720,1,2,0\n"
    (report,) = import_table(author=curator, content=table).reports
    assert {finding.kind: finding.grade for finding in report.findings.all()} == {
        "flare": 2,
        "corner-softness": 0,
    }


# ---- what is wrong, and where --------------------------------------------------------------------


def test_every_problem_is_told_at_its_row_and_column_before_anything_is_written(curator):
    table = relays(
        f"Marram 35 mm f/1.4,clean_to,7.7,{SOURCE}",
        f"Marrom 36,clean_to,8,{SOURCE}",
        "Marram 35 mm f/1.4,hot_everywhere,,R. Samphire,,nowhere,2000",
        f"osterby-sedge,clean_to,,{SOURCE}",
    )
    assert told(planned(curator, table)) == [
        ("C2", "f-number-not-marked"),
        ("A3", "unknown-lens"),
        ("B4", "not-a-choice"),
        ("E4", "missing"),
        ("F4", "not-an-address"),
        ("G4", "number-out-of-range"),
        ("C5", "missing"),
    ]
    with pytest.raises(InvalidInput) as refusal:
        import_table(author=curator, content=table)
    assert [problem.field for problem in refusal.value.problems][:2] == ["row 2, f_number", "row 3, lens"]
    assert not Report.objects.exists() and not Event.objects.exists()


def test_what_would_keep_a_report_from_counting_is_told_beforehand(curator):
    table = relays("Marram 35 mm f/1.4,clean_to,8,R. Samphire,,,720")
    assert told(planned(curator, table)) == [("E2", "missing")]
    own = "lens,f/8\nMarram 35 mm f/1.4,2\n"
    assert told(planned(curator, own)) == [("2", "light-unknown")]
    silent = "lens,cut_on_nm,notes\nMarram 35 mm f/1.4,720,seen\n"
    assert told(planned(curator, silent)) == [("2", "nothing-said")]


def test_what_one_report_says_twice_must_agree(curator):
    table = (
        "report,lens,cut_on_nm,f_number,grade\na,Marram 35 mm f/1.4,720,5.6,0\na,Marram 35 mm f/1.4,830,8,1\n"
    )
    plan = planned(curator, table)
    assert told(plan) == [("C3", "cell-disagrees")]
    assert "“830” disagrees with “720” in row 2" in plan.problems[0].problem.says


def test_a_zooms_missing_focal_length_is_asked_for_in_its_column(curator):
    table = "lens,focal_length_mm,cut_on_nm,f/8\nosterby-sedge,,720,1\n"
    assert told(planned(curator, table)) == [("B2", "focal-length-missing")]


def test_a_stop_twice_and_a_result_beside_a_reading_are_told(curator):
    table = "lens,cut_on_nm,f_number,grade,says,f/8\nMarram 35 mm f/1.4,720,8,1,,2\n,,5.6,1,clean_to,\n"
    assert told(planned(curator, table)) == [("F2", "stop-twice"), ("D3", "row-says-two-things")]


def test_a_column_that_means_nothing_names_the_nearest(curator):
    plan = planned(curator, "lens,citaton_title\nMarram 35 mm f/1.4,x\n")
    assert told(plan) == [("B1", "unknown-column")]
    assert "Did you mean “citation_title”?" in plan.problems[0].problem.remedy
    assert told(planned(curator, "glass\nx\n")) == [("A1", "unknown-column"), ("1", "lens-column-missing")]


def test_a_row_twice_is_told(curator):
    row = f"Marram 35 mm f/1.4,clean_to,8,{SOURCE}"
    assert told(planned(curator, relays(row, row))) == [("3", "report-twice")]


def test_an_unknown_lens_offers_the_nearest_and_takes_what_is_chosen(curator):
    table = relays(f"Marram 36 1.4,clean_to,8,{SOURCE}", f"Marram 36 1.4,mixed,,{SOURCE}")
    plan = planned(curator, table)
    (unknown,) = plan.unknown_lenses
    assert (unknown.written, unknown.rows) == ("Marram 36 1.4", (2, 3))
    assert unknown.near[0].slug == "osterby-marram-35"
    chosen = {"Marram 36 1.4": "osterby-marram-35"}
    assert not planned(curator, table, lenses=chosen).problems
    assert len(import_table(author=curator, content=table, lenses=chosen).reports) == 2


def test_what_is_no_table_is_refused_whole(curator):
    with pytest.raises(Unreadable):
        planned(curator, b"PK\x03\x04")
    with pytest.raises(TooLarge):
        planned(curator, "lens\n" + "a\n" * (MOST_ROWS + 1))


# ---- coming in once ------------------------------------------------------------------------------


def test_the_same_table_again_adds_nothing(curator):
    table = relays(f"Marram 35 mm f/1.4,clean_to,8,{SOURCE}", f"osterby-sedge,mixed,,{SOURCE}")
    import_table(author=curator, content=table)
    again = import_table(author=curator, content=table)
    assert (again.reports, again.known, Report.objects.count()) == ((), 2, 2)


def test_a_table_that_grew_adds_what_is_new(curator):
    first = relays(f"Marram 35 mm f/1.4,clean_to,8,{SOURCE}")
    import_table(author=curator, content=first)
    grown = first.replace(",", ";") + "\nosterby-sedge;mixed;;" + SOURCE.replace(",", ";")
    plan = planned(curator, grown)
    assert [report.state for report in plan.reports] == ["here", "new"]
    assert len(import_table(author=curator, content=grown).reports) == 1


def test_a_named_report_that_says_something_else_now_is_not_filed_over(curator):
    table = "report,lens,cut_on_nm,f/8\ndunes,Marram 35 mm f/1.4,720,{}\n"
    (report,) = import_table(author=curator, content=table.format(1)).reports
    plan = planned(curator, table.format(2))
    assert told(plan) == [("A2", "already-imported")]
    assert report.public_id in plan.problems[0].problem.says


def test_names_are_each_curators_own(curator):
    table = "report,lens,cut_on_nm,f/8\ndunes,Marram 35 mm f/1.4,720,1\n"
    import_table(author=curator, content=table)
    assert len(import_table(author=AccountFactory(), content=table).reports) == 1


def test_a_discarded_draft_can_come_in_again(curator):
    table = "report,lens,cut_on_nm,f/8\ndunes,Marram 35 mm f/1.4,720,1\n"
    (draft,) = import_table(author=curator, content=table, submit=False).reports
    assert draft.state == "draft"
    services.discard_draft(report=draft, by=curator)
    assert len(import_table(author=curator, content=table).reports) == 1


def test_one_refusal_by_the_database_leaves_nothing_of_the_table(curator, monkeypatch):
    table = relays(f"Marram 35 mm f/1.4,clean_to,8,{SOURCE}", f"osterby-sedge,mixed,,{SOURCE}")
    create = ImportedReport.objects.create

    def broken(**fields):
        if ImportedReport.objects.exists():
            raise RuntimeError("the disk is full")
        return create(**fields)

    monkeypatch.setattr(ImportedReport.objects, "create", broken)
    with pytest.raises(RuntimeError):
        import_table(author=curator, content=table)
    assert not Report.objects.exists()


def test_the_event_log_knows_of_the_table(curator):
    (report,) = import_table(author=curator, content=relays(f"osterby-sedge,mixed,,{SOURCE}")).reports
    event = Event.objects.get(name="reports.imported")
    assert (event.subject_id, event.data) == (curator.public_id, {"reports": [report.public_id]})


def test_a_source_that_was_passed_on_before_is_told_and_counts_once(curator):
    table = relays(f"Marram 35 mm f/1.4,clean_to,8,{SOURCE}", f"osterby-sedge,mixed,,{SOURCE}")
    (first,) = import_table(author=AccountFactory(), content=table.rsplit("\n", 1)[0]).reports
    told_of = {str(report.lens): report.earlier for report in planned(curator, table).reports}
    assert told_of == {str(first.lens): first, "Osterby Sedge 24-70 mm f/2.8-4": None}


def test_a_thousand_rows_are_looked_through_with_few_statements(curator, django_assert_max_num_queries):
    row = "Marram 35 mm f/1.4,clean_to,8,Tester {0},Notes {0},https://saltmarsh.example/{0},720"
    table = relays(*(row.format(number) for number in range(1000)))
    with django_assert_max_num_queries(30):
        plan = planned(curator, table)
    assert len(plan.reports) == 1000 and {found.problem.code for found in plan.problems} == {"too-many"}


# ---- the template --------------------------------------------------------------------------------


def test_every_column_of_the_template_is_understood_and_explained():
    names = [column.name for column in COLUMNS]
    headings = understood([*names, PROBLEMS])
    assert not headings.problems and len(headings.columns) == len(names) == len(set(names))
    assert all(column.explains for column in COLUMNS)


def test_a_table_given_back_with_its_problems_can_be_mended_and_read(curator):
    written = table_text(["lens", "cut_on_nm", "f/8", PROBLEMS], [["Marram 35 mm f/1.4", 720, 1, "=none"]])
    assert not planned(curator, written).problems
    assert read_table(written, most_bytes=999, most_rows=9).rows[0].cells[PROBLEMS] == "=none"
