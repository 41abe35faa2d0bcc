"""A table of reports, looked through on a page and filed whole."""

import csv
import io

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from registry.pages.views.bulk import EXAMPLE_HEADINGS, EXAMPLE_ROWS
from registry.reports.models import Report
from registry.reports.rules.table_columns import COLUMNS, understood
from tests.factories import AccountFactory

pytestmark = pytest.mark.django_db
PAGE = reverse("bulk")
HEADER = "lens,says,f_number,tester_name,citation_title,cut_on_nm\n"
GOOD = HEADER + "osterby-marram-35,clean_to,8,R. Samphire,Infrared on the saltings,720\n"
BAD = HEADER + "osterby-marram-35,clean_to,7.7,R. Samphire,,720\n"


def text_of(response) -> str:
    return " ".join(response.content.decode().split())


def sent(text, **more):
    return {"file": SimpleUploadedFile("table.csv", text.encode(), "text/csv")} | more


def test_a_file_is_looked_through_before_anything_is_written(signed_in, lens):
    page = text_of(signed_in.post(PAGE, sent(GOOD)))
    assert "1 new report from 1 row" in page and "Submit 1 report" in page
    assert not Report.objects.exists()


def test_what_was_looked_through_is_submitted_with_one_button(signed_in, lens):
    form = signed_in.post(PAGE, sent(GOOD)).context["form"]
    response = signed_in.post(PAGE, {"cells": form["cells"].value(), "write": "1"}, follow=True)
    assert "1 report came in." in text_of(response)
    assert Report.objects.get().state == "submitted"
    again = text_of(signed_in.post(PAGE, {"cells": GOOD, "write": "1"}, follow=True))
    assert "0 reports came in; 1 had come in before." in again and Report.objects.count() == 1


def test_reports_can_be_kept_as_drafts(signed_in, lens):
    signed_in.post(PAGE, {"cells": GOOD, "write": "1", "drafts": "1"})
    assert Report.objects.get().state == "draft"


def test_pasted_cells_are_a_table_too(signed_in, lens):
    page = text_of(signed_in.post(PAGE, {"cells": GOOD.replace(",", "\t")}))
    assert "1 new report from 1 row" in page


def test_every_problem_is_marked_by_row_and_column_and_nothing_is_written(signed_in, lens):
    response = signed_in.post(PAGE, {"cells": BAD, "write": "1"})
    page = text_of(response)
    assert response.status_code == 422 and not Report.objects.exists()
    assert "2 problems in 1 row. Nothing was written." in page
    assert "<mark>7.7</mark>" in page and "Did you mean f/7.1 or f/8?" in page
    assert (
        'f_number <span class="faint">C</span>' in page
        and 'citation_title <span class="faint">E</span>' in page
    )
    assert "Submit" not in page


def test_an_unknown_lens_is_chosen_from_the_nearest_and_stays_chosen(signed_in, lens):
    table = GOOD.replace("osterby-marram-35", "Marram 36")
    page = signed_in.post(PAGE, {"cells": table})
    assert f'<option value="{lens.slug}">' in text_of(page)
    chosen = {"cells": table, "written-1": "Marram 36", "lens-1": lens.slug}
    page = text_of(signed_in.post(PAGE, chosen))
    assert "1 new report" in page and f'name="lens-1" value="{lens.slug}"' in page
    signed_in.post(PAGE, chosen | {"write": "1"})
    assert Report.objects.get().lens == lens


def test_the_table_comes_back_with_its_problems_and_can_be_sent_again(signed_in, lens):
    hostile = BAD.replace("R. Samphire", "=cmd|' /C calc'!A0")
    response = signed_in.post(PAGE, {"cells": hostile, "download": "1"})
    rows = list(csv.reader(io.StringIO(response.content.decode("utf-8-sig"))))
    assert response["Content-Disposition"].startswith("attachment")
    assert rows[0][-1] == "problems" and "f_number: f/7.7 is neither" in rows[1][-1]
    assert rows[1][3].startswith("'=cmd")
    again = response.content.decode().replace("7.7", "8")
    assert "1 problem in 1 row" in text_of(signed_in.post(PAGE, sent(again)))


@pytest.mark.parametrize(
    "content, says",
    [
        ("PK\x03\x04", "a workbook, not a CSV file"),
        ("", "header"),
        (HEADER, "no rows below its header"),
        (HEADER + "x\n" * 5001, "5001 rows"),
        ('lens\n"open', "no CSV"),
    ],
)
def test_what_is_no_table_is_refused_beside_its_field(signed_in, content, says):
    response = signed_in.post(PAGE, sent(content))
    assert response.status_code in (413, 422) and says in text_of(response)
    assert 'id="id_file_error"' in text_of(response)


def test_nothing_sent_is_asked_for(signed_in):
    assert "Choose a CSV file, or paste cells below." in text_of(signed_in.post(PAGE, {}))


def test_a_byte_order_mark_and_windows_text_are_read(signed_in, lens):
    file = SimpleUploadedFile("table.csv", GOOD.replace("Samphire", "Sâmphire").encode("cp1252"))
    page = text_of(signed_in.post(PAGE, {"file": file}))
    assert "Windows text" in page and "1 new report" in page
    assert "1 new report" in text_of(signed_in.post(PAGE, sent("\ufeff" + GOOD)))


def test_markup_in_a_cell_is_shown_as_text(signed_in, lens):
    page = signed_in.post(PAGE, {"cells": GOOD.replace("clean_to", "<script>alert(1)</script>")})
    assert "<script>alert" not in page.content.decode()


def test_the_template_has_every_column_and_the_example_is_understood(client):
    template = client.get(reverse("bulk-template")).content.decode("utf-8-sig")
    assert template.strip().split(",") == [column.name for column in COLUMNS]
    example = list(csv.reader(io.StringIO(client.get(reverse("bulk-example")).content.decode("utf-8-sig"))))
    assert tuple(example[0]) == EXAMPLE_HEADINGS and not understood(EXAMPLE_HEADINGS).problems
    assert all(len(row) == len(EXAMPLE_HEADINGS) for row in EXAMPLE_ROWS)


def test_the_table_is_looked_through_for_its_own_account_only(signed_in, client, lens):
    signed_in.post(PAGE, {"cells": GOOD, "write": "1"})
    client.force_login(AccountFactory())
    assert "1 new report" in text_of(client.post(PAGE, {"cells": GOOD}))


def test_it_needs_an_account(client):
    assert client.get(PAGE).url.startswith(reverse("account_login"))
