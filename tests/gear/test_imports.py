"""Importing gear: every bad line is reported, nothing is half taken, and twice is as once."""

import io
import json

import pytest
from django.core.management import CommandError, call_command
from django.db import IntegrityError

from registry.errors import InvalidInput, Unreadable
from registry.gear.imports import import_gear
from registry.gear.models import Adapter, Body, FactSource, Filter, Lens, Maker, Mount, Teleconverter
from registry.ledger.models import Event
from tests.factories import AccountFactory, LensFactory, MakerFactory, MountFactory

pytestmark = pytest.mark.django_db

HEAD = "maker,name,mounts,focal_min_mm,focal_max_mm,widest_f,widest_f_tele,narrowest_f,filter_thread_mm\n"
GOOD = "Osterby,Marram 35 mm f/1.4,Teal,35,,1.4,,16,67\n"


@pytest.fixture(autouse=True)
def makers_and_mounts():
    MakerFactory(name="Osterby"), MakerFactory(name="Quillmark")
    MountFactory(name="Teal"), MountFactory(name="Curlew")


def lenses(*rows, head=HEAD, **named):
    return import_gear("lenses", io.StringIO(head + "".join(rows)), **named)


def told(outcome):
    return [(line, problem.field, problem.code) for line, problem in outcome.problems]


def test_a_good_row_makes_a_lens_with_all_it_says():
    outcome = lenses(GOOD)
    assert (outcome.created, outcome.problems, outcome.imported) == (1, [], True)
    lens = Lens.objects.get()
    assert (lens.maker.name, lens.focal_min_mm, lens.widest_f, lens.narrowest_f) == ("Osterby", 35, 1.4, 16)
    assert lens.filter_thread_mm == 67
    assert [mount.name for mount in lens.mounts.all()] == ["Teal"]
    assert lens.slug == "osterby-marram-35-mm-f-1-4"


def test_what_a_prime_leaves_out_is_told_by_what_it_states():
    lenses(GOOD)
    lens = Lens.objects.get()
    assert (lens.focal_max_mm, lens.widest_f_tele) == (35, 1.4)


def test_importing_twice_changes_nothing():
    lenses(GOOD)
    before = Lens.objects.values().get()
    outcome = lenses(GOOD)
    assert (outcome.created, outcome.updated, outcome.unchanged) == (0, 0, 1)
    assert Lens.objects.values().get() == before
    assert Event.objects.count() == 1


def test_one_bad_row_keeps_the_whole_file_out_and_every_bad_row_is_told():
    outcome = lenses(
        GOOD,
        "Osterby,Marram 50 mm f/1.8,Teal,fifty,,1.8,,22,49\n",
        "Quillmark,Fescue 20 mm,Teal,20,,0.5,,22,49\n",
    )
    assert told(outcome) == [
        (3, "focal_min_mm", "not-a-number-in-range"),
        (4, "widest_f", "not-a-number-in-range"),
    ]
    assert not outcome.imported
    assert not Lens.objects.exists() and not Event.objects.exists()


def test_all_problems_of_one_row_are_told_at_once():
    outcome = lenses("Osterbey,,Tael,thirty,,1.4,,16,67\n")
    assert {field for _, field, _ in told(outcome)} == {"maker", "mounts", "focal_min_mm"}


def test_told_to_skip_it_takes_the_good_rows():
    outcome = lenses(GOOD, "Osterby,Marram 50,Teal,fifty,,1.8,,22,49\n", skip_bad=True)
    assert (outcome.created, len(outcome.problems), outcome.imported) == (1, 1, True)
    assert Lens.objects.count() == 1


def test_a_dry_run_tells_and_changes_nothing():
    outcome = lenses(GOOD, dry_run=True)
    assert (outcome.created, outcome.imported) == (1, False)
    assert not Lens.objects.exists()


@pytest.mark.parametrize(
    "row, field, code",
    [
        ("Osterby,A,Teal,70,24,2.8,,22,67\n", "focal_max_mm", "focal-range-reversed"),
        ("Osterby,A,Teal,35,,1.4,,1.2,67\n", "narrowest_f", "narrowest-not-beyond-widest"),
        ("Osterby,A,Teal,24,70,2.8,5.6,4,67\n", "narrowest_f", "narrowest-not-beyond-widest"),
        ("Osterby,A,Teal,35,,65,,,67\n", "widest_f", "not-a-number-in-range"),
        ("Osterby,A,Teal,35,,0.69,,,67\n", "widest_f", "not-a-number-in-range"),
        ("Osterby,A,Teal,35,,nan,,,67\n", "widest_f", "not-a-number-in-range"),
        ("Osterby,A,Teal,inf,,1.4,,,67\n", "focal_min_mm", "not-a-number-in-range"),
        ('Osterby,A,Teal,"35,0",,1.4,,,67\n', "focal_min_mm", "not-a-number-in-range"),
        ("Osterby,A,Teal,35 mm,,1.4,,,67\n", "focal_min_mm", "not-a-number-in-range"),
        ("Osterby,A,Teal,35,,1.4,,,-67\n", "filter_thread_mm", "not-a-number-in-range"),
        ("Osterby,A,Teal,35,,,,,67\n", "widest_f", "fact-missing"),
        (",A,Teal,35,,1.4,,,67\n", "maker", "fact-missing"),
        (f"Osterby,{'A' * 121},Teal,35,,1.4,,,67\n", "name", "not-a-plain-text"),
        ("Osterby,A\x07B,Teal,35,,1.4,,,67\n", "name", "not-a-plain-text"),
        ("Osterby,A,Teal,35,,1.4,,,67,extra\n", "cell 10", "unknown-column"),
    ],
)
def test_a_row_that_cannot_be_is_refused_with_the_fact_that_is_wrong(row, field, code):
    assert told(lenses(row)) == [(2, field, code)]


def test_a_thread_contradicts_a_seat_behind_the_lens():
    head = "maker,name,focal_min_mm,widest_f,filter_thread_mm,filter_seat\n"
    outcome = lenses("Osterby,A,15,2.8,67,rear-holder\n", head=head)
    assert told(outcome) == [(2, "filter_thread_mm", "thread-without-front-seat")]
    assert lenses("Osterby,A,15,2.8,,Rear holder\n", head=head).created == 1


def test_an_unknown_mount_names_the_nearest_known():
    outcome = lenses("Osterby,A,Tael,35,,1.4,,,67\n")
    assert outcome.problems[0][1].says == "The registry knows no mount “Tael”."
    assert outcome.problems[0][1].remedy.startswith("Did you mean Teal?")


def test_an_unknown_maker_names_the_nearest_known_and_is_made_only_when_told_to():
    row = "Quilmark,A,Teal,35,,1.4,,,67\n"
    outcome = lenses(row)
    assert outcome.problems[0][1].remedy.startswith("Did you mean Quillmark?")
    assert lenses(row, create_makers=True).created == 1
    assert Maker.objects.filter(name="Quilmark", slug="quilmark").exists()


def test_a_maker_of_refused_rows_only_is_not_made():
    bad, good = "Ferrow,A,Teal,x,,1.4,,,\n", "Ferrow,B,Teal,35,,1.4,,,\n"
    assert lenses(bad, create_makers=True, skip_bad=True).created == 0
    assert not Maker.objects.filter(name="Ferrow").exists()
    assert lenses(bad, good, create_makers=True, skip_bad=True).created == 1
    assert Maker.objects.get(name="Ferrow").lens_set.count() == 1


def test_a_maker_saved_with_a_row_that_is_refused_afterwards_is_made_with_the_next(monkeypatch):
    LensFactory(name="Other").aliases.create(written="F-A")
    head = "maker,name,focal_min_mm,widest_f,aliases\n"
    outcome = lenses(
        "Ferrow,A,35,1.4,F-A\n", "Ferrow,B,35,1.4,\n", head=head, create_makers=True, skip_bad=True
    )
    assert told(outcome) == [(2, "aliases", "alias-of-another-lens")]
    assert Maker.objects.get(name="Ferrow").lens_set.get().name == "B"


def test_a_changed_fact_updates_the_lens_and_its_version_but_not_its_address():
    lenses(GOOD)
    before = Lens.objects.get()
    assert lenses(GOOD.replace(",16,67", ",22,67")).updated == 1
    after = Lens.objects.get()
    assert (after.narrowest_f, after.version, after.slug) == (22, before.version + 1, before.slug)
    assert after.updated_at > before.updated_at


def test_a_row_with_the_address_renames_its_lens():
    lenses(GOOD)
    slug = Lens.objects.get().slug
    outcome = lenses(f"Osterby,Marram Mark 35,{slug}\n", head="maker,name,slug\n")
    assert (outcome.updated, Lens.objects.get().name, Lens.objects.get().slug) == (1, "Marram Mark 35", slug)


def test_an_empty_cell_leaves_what_is_known():
    lenses(GOOD)
    assert lenses("Osterby,Marram 35 mm f/1.4,,35,,1.4,,,\n").unchanged == 1
    assert Lens.objects.get().filter_thread_mm == 67


def test_a_change_that_contradicts_what_is_known_is_refused():
    lenses(GOOD)
    outcome = lenses("Osterby,Marram 35 mm f/1.4,22\n", head="maker,name,widest_f_tele\n")
    assert told(outcome) == [(2, "narrowest_f", "narrowest-not-beyond-widest")]


def test_a_mount_stated_later_is_added():
    lenses(GOOD)
    assert lenses(GOOD.replace("Teal", "curlew")).updated == 1
    assert Lens.objects.get().mounts.count() == 2
    assert lenses(GOOD.replace("Teal", "Teal; Curlew")).unchanged == 1


def test_one_piece_of_gear_twice_in_a_file_is_refused():
    outcome = lenses(GOOD, GOOD.replace("Marram", "MARRAM"))
    assert told(outcome) == [(3, "name", "named-twice")]
    assert "line 2" in outcome.problems[0][1].says


def test_optical_revisions_are_lenses_of_their_own():
    head = "maker,name,optical_revision,focal_min_mm,widest_f\n"
    assert lenses("Osterby,A,I,35,1.4\n", "Osterby,A,II,35,1.4\n", head=head).created == 2
    assert {lens.slug for lens in Lens.objects.all()} == {"osterby-a-i", "osterby-a-ii"}


def test_two_names_that_would_share_an_address_get_two():
    head = "maker,name,focal_min_mm,widest_f\n"
    assert lenses("Osterby,A/B,35,1.4\n", "Osterby,A B,35,1.4\n", head=head).created == 2
    assert {lens.slug for lens in Lens.objects.all()} == {"osterby-a-b", "osterby-a-b-2"}


def test_facts_keep_the_source_and_licence_the_row_names():
    head = "maker,name,focal_min_mm,widest_f,source,licence\n"
    account = AccountFactory()
    lenses("Osterby,A,35,1.4,Osterby data sheet 12,CC0-1.0\n", head=head, by=account)
    entry = FactSource.objects.get(gear_kind="lens", gear_slug="osterby-a", fact="widest_f")
    assert (entry.value, entry.source, entry.licence, entry.added_by) == (
        "1.4",
        "Osterby data sheet 12",
        "CC0-1.0",
        account,
    )
    lenses("Osterby,A,35,1.4,Osterby data sheet 13,CC0-1.0\n", head=head)
    assert not FactSource.objects.filter(source__endswith="13").exists()


def test_the_event_log_knows_who_imported_what():
    account = AccountFactory()
    lenses(GOOD, by=account)
    event = Event.objects.get()
    assert (event.name, event.actor, event.subject_id) == ("gear.imported", account.public_id, "lenses")
    assert event.data == {"created": 1, "updated": 0}


def test_what_the_database_refuses_is_reported_like_the_rest(monkeypatch):
    def refuse(*_, **__):
        raise IntegrityError("unlikely")

    monkeypatch.setattr("registry.gear.imports.save_item", refuse)
    assert told(lenses(GOOD)) == [(2, "", "refused-by-database")]


class TestKinds:
    @pytest.mark.parametrize(
        "kind, text, model",
        [
            ("makers", "name\nHaldane & Reed\n", Maker),
            ("mounts", "name,flange_distance_mm\nPlover,16.4\n", Mount),
            (
                "bodies",
                "maker,name,mount,year,exif_model\nOsterby,Causey 7,teal,2017,OSTERBY CAUSEY-7\n",
                Body,
            ),
            ("filters", "maker,name,passes,cut_on_nm\nOsterby,Dusk 720,long pass,720\n", Filter),
            ("teleconverters", "maker,name,magnification,mounts\nOsterby,Extender,1.4,Teal\n", Teleconverter),
            (
                "adapters",
                "maker,name,lens_mount,body_mount,has_glass,magnification\nOsterby,Bridge,Curlew,Teal,yes,0.71\n",
                Adapter,
            ),
        ],
    )
    def test_each_kind_is_taken_and_twice_is_as_once(self, kind, text, model):
        before = model.objects.count()
        assert import_gear(kind, io.StringIO(text)).created == 1
        assert import_gear(kind, io.StringIO(text)).unchanged == 1
        assert model.objects.count() == before + 1

    @pytest.mark.parametrize(
        "kind, text, field, code",
        [
            ("bodies", "maker,name,mount\nOsterby,A,Tael\n", "mount", "unknown-mount"),
            ("bodies", "maker,name,year\nOsterby,A,2017.5\n", "year", "not-a-number-in-range"),
            (
                "filters",
                "maker,name,cut_on_nm,passes\nOsterby,A,720,everything\n",
                "passes",
                "unknown-choice",
            ),
            (
                "filters",
                "maker,name,cut_on_nm,cut_off_nm\nOsterby,A,720,700\n",
                "cut_off_nm",
                "cut-off-not-beyond-cut-on",
            ),
            (
                "filters",
                "maker,name,cut_on_nm,passes\nOsterby,A,840,band-pass\n",
                "cut_off_nm",
                "cut-off-missing",
            ),
            ("filters", "maker,name,cut_on_nm\nOsterby,A,1200\n", "cut_on_nm", "not-a-number-in-range"),
            (
                "teleconverters",
                "maker,name,magnification\nOsterby,A,1\n",
                "magnification",
                "not-a-number-in-range",
            ),
            (
                "adapters",
                "maker,name,lens_mount,body_mount\nOsterby,A,Teal,Teal\n",
                "body_mount",
                "adapter-joins-one-mount",
            ),
            (
                "adapters",
                "maker,name,lens_mount,body_mount\nOsterby,A,Teal,Tael\n",
                "body_mount",
                "unknown-mount",
            ),
            (
                "adapters",
                "maker,name,lens_mount,body_mount,magnification\nOsterby,A,Curlew,Teal,0.7\n",
                "magnification",
                "magnifies-without-glass",
            ),
            (
                "adapters",
                "maker,name,lens_mount,body_mount,has_glass\nOsterby,A,Curlew,Teal,perhaps\n",
                "has_glass",
                "not-yes-or-no",
            ),
        ],
    )
    def test_what_cannot_be_is_refused(self, kind, text, field, code):
        assert told(import_gear(kind, io.StringIO(text))) == [(2, field, code)]

    def test_an_unknown_kind_names_those_there_are(self):
        with pytest.raises(InvalidInput, match="Use one of makers, mounts, lenses"):
            import_gear("lens", io.StringIO(""))


class TestFiles:
    def test_json_says_the_same_as_csv(self):
        row = {"maker": "Osterby", "name": "Marram 35 mm f/1.4", "mounts": ["Teal"], "focal_min_mm": 35}
        row |= {"widest_f": 1.4, "narrowest_f": 16, "filter_thread_mm": 67, "mass_g": None}
        assert import_gear("lenses", io.StringIO(json.dumps([row]))).created == 1
        assert lenses(GOOD).unchanged == 1

    @pytest.mark.parametrize("value", [True, [35], {"mm": 35}, "thirty"])
    def test_json_values_of_another_type_are_refused(self, value):
        outcome = import_gear(
            "lenses", [{"maker": "Osterby", "name": "A", "focal_min_mm": value, "widest_f": 2}]
        )
        assert told(outcome) == [(1, "focal_min_mm", "not-a-number-in-range")]

    def test_a_name_that_is_no_text_and_mounts_that_are_no_list_are_refused(self):
        row = {"maker": "Osterby", "name": 7, "mounts": 3, "focal_min_mm": 35, "widest_f": 2}
        assert {field for _, field, _ in told(import_gear("lenses", [row]))} == {"name", "mounts"}

    def test_a_column_that_is_no_fact_names_the_nearest(self):
        outcome = lenses("Osterby,A,35,1.4,67\n", head="maker,name,focal_min_mm,widest_f,filter_tread_mm\n")
        assert outcome.problems[0][1].remedy == "Did you mean filter_thread_mm?"

    def test_blank_lines_are_passed_over_and_lines_are_the_file_s_own(self):
        outcome = lenses("\n", GOOD, "\n\n", "Osterby,B,Teal,x,,1.4,,,\n")
        assert [line for line, _ in outcome.problems] == [6]

    def test_a_byte_order_mark_does_no_harm(self):
        assert import_gear("lenses", io.BytesIO(("\ufeff" + HEAD + GOOD).encode())).created == 1

    @pytest.mark.parametrize(
        "content, code",
        [
            (b"maker,name\nOst\xe9rby,A\n", "not-utf-8"),
            (b'[{"maker": ', "not-json"),
            (b'{"maker": "Osterby"}', "not-a-list-of-rows"),
            (b"[1, 2]", "not-a-list-of-rows"),
            (b'maker,name\n"Osterby,A\n', "not-csv"),
        ],
    )
    def test_a_file_that_is_no_table_is_unreadable(self, content, code):
        with pytest.raises(Unreadable) as refusal:
            import_gear("lenses", io.BytesIO(content))
        assert refusal.value.first.code == code

    @pytest.mark.parametrize("content", [b"", b"\n", HEAD.encode(), b"[]"])
    def test_an_empty_file_changes_nothing(self, content):
        outcome = import_gear("lenses", io.BytesIO(content))
        assert (outcome.created, outcome.problems) == (0, [])
        assert not Event.objects.exists()


class TestTheCommand:
    def test_imports_a_file_and_says_what_it_did(self, tmp_path, capsys):
        (tmp_path / "lenses.csv").write_text(HEAD + GOOD)
        call_command("import_gear", "lenses", tmp_path / "lenses.csv")
        assert capsys.readouterr().out == "Imported lenses: 1 new, 0 changed, 0 unchanged.\n"

    def test_names_file_and_line_of_each_problem_and_fails(self, tmp_path, capsys):
        (tmp_path / "lenses.csv").write_text(HEAD + GOOD + "Osterby,B,Teal,x,,1.4,,,\n")
        with pytest.raises(CommandError, match="Nothing was imported"):
            call_command("import_gear", "lenses", tmp_path / "lenses.csv")
        assert "lenses.csv:3: focal_min_mm: “x”" in capsys.readouterr().err
        assert not Lens.objects.exists()

    def test_told_to_skip_it_takes_the_rest_and_still_names_the_bad_line(self, tmp_path, capsys):
        (tmp_path / "lenses.csv").write_text(HEAD + GOOD + "Osterby,B,Teal,x,,1.4,,,\n")
        call_command("import_gear", "lenses", tmp_path / "lenses.csv", skip_bad=True)
        assert "lenses.csv:3" in capsys.readouterr().err
        assert Lens.objects.count() == 1

    def test_a_missing_file_is_an_error_without_a_traceback(self, tmp_path):
        with pytest.raises(CommandError, match="can't be read"):
            call_command("import_gear", "lenses", tmp_path / "none.csv")
