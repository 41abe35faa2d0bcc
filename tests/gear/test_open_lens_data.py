"""Taking an open lens-correction data set (XML, format version 1) into the catalogue. The small sets here are our
own, of invented gear, in that format."""

import shutil
import subprocess
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from registry.errors import Unreadable
from registry.gear.designations import names_added_glass, read_designation
from registry.gear.models import Body, FactSource, Lens, Mount
from registry.gear.open_lens_data import read_open_lens_data, sensor_of
from registry.gear.open_lens_import import import_open_lens_data
from registry.gear.services import add_fact_source
from registry.ledger.models import Event
from tests.factories import LensFactory, MakerFactory, MountFactory

HEAD = '<!DOCTYPE lensdatabase SYSTEM "lensfun-database.dtd">\n<lensdatabase version="1">\n'
MOUNTS = (
    "<mount><name>Teal</name></mount><mount><name>Curlew</name></mount><mount><name>Unused</name></mount>"
)
CAMERA = """<camera><maker>OSTERBY WORKS</maker><maker lang="en">Osterby</maker><model>OW-7</model>
<model lang="en">Osterby Seven</model><mount>Teal</mount><cropfactor>1.5</cropfactor></camera>
<camera><maker>Osterby</maker><model>Pocket</model><mount>osterbyPocket</mount><cropfactor>4.7</cropfactor></camera>"""


def lens(model, *, maker="Osterby", mounts=("Teal",), english="", more=""):
    name = f'<model lang="en">{english}</model>' if english else ""
    places = "".join(f"<mount>{mount}</mount>" for mount in mounts)
    return f"<lens><maker>{maker}</maker><model>{model}</model>{name}{places}{more}<cropfactor>1</cropfactor></lens>"


@pytest.fixture
def data_set(tmp_path):
    def write(*elements, name="osterby.xml", head=HEAD):
        (tmp_path / name).write_text(head + "".join(elements) + "</lensdatabase>")
        return tmp_path

    return write


@pytest.mark.parametrize(
    ("name", "optics"),
    [
        ("Marram 24-70 mm f/2.8-4 II", (24, 70, 2.8, 4)),
        ("35/1.4 Dune", (35, 35, 1.4, 1.4)),
        ("Dune 1.4/35", (35, 35, 1.4, 1.4)),
        ("Dune 1:2,8/50", (50, 50, 2.8, 2.8)),
        ("DN 20-60/F3.5-5.6", (20, 60, 3.5, 5.6)),
        ("DN45mmF2.8 R", (45, 45, 2.8, 2.8)),
        ("MK-F 28-80mm f/3.5-4.5", (28, 80, 3.5, 4.5)),
        ("Mirror 10/1000", (1000, 1000, 10, 10)),
        ("Tern 400mm f_2.8", (400, 400, 2.8, 2.8)),
        ("12 mm Body Cap", (12, 12, None, None)),
        ("fixed lens", (None, None, None, None)),
    ],
)
def test_a_name_tells_focal_lengths_and_widest_apertures(name, optics):
    found = read_designation(name)
    assert (found.focal_min_mm, found.focal_max_mm, found.widest_f, found.widest_f_tele) == optics


def test_a_lens_with_a_converter_is_told_from_a_lens():
    assert names_added_glass("Tern 400mm f/2.8 + TC14 converter")
    assert names_added_glass("Tern 400mm f/2.8 + 1.4× ext.")
    assert not names_added_glass("Tern 60mm f/2.8 2x Macro")


def test_a_crop_factor_tells_the_sensor_of_the_usual_shape():
    # Common practice, no source: crop factor 1.5 is 24 × 16 mm on a 3:2 sensor.
    assert sensor_of(1.5) == (24.0, 16.0)
    assert sensor_of(None) == (36.0, 24.0)


def test_elements_count_before_names_and_one_lens_keeps_all_its_mounts(data_set):
    element = '<focal min="24.5" max="68"/><aperture min="2.9" max="22"/><type>fisheye</type>'
    path = data_set(
        MOUNTS,
        lens("MARRAM 24-70", english="Osterby Marram 24-70mm f/2.8", more=element),
        lens("MARRAM 24-70 B", english="Osterby Marram 24-70mm f/2.8", mounts=("Curlew",)),
    )
    (entry,) = read_open_lens_data(path).lenses
    assert entry.name == "Marram 24-70mm f/2.8"
    assert (entry.optics.focal_min_mm, entry.optics.focal_max_mm, entry.optics.widest_f) == (24.5, 68, 2.9)
    assert entry.mounts == {"Teal", "Curlew"}
    assert entry.written == {"MARRAM 24-70", "MARRAM 24-70 B"}
    assert entry.is_fisheye


@pytest.mark.parametrize(
    ("content", "why"),
    [
        ("<lensdatabase version='1'><lens>", "broken XML"),
        ("<catalogue/>", "not <lensdatabase>"),
        ("<lensdatabase version='2'/>", "version 2"),
        ('<!DOCTYPE a [<!ENTITY b "c">]><lensdatabase version="1">&b;</lensdatabase>', "entities"),
        (
            '<!DOCTYPE a [<!ENTITY b SYSTEM "file:///etc/hostname">]><lensdatabase>&b;</lensdatabase>',
            "entities",
        ),
    ],
)
def test_what_is_no_such_data_is_refused_by_file_and_reason(tmp_path, content, why):
    (tmp_path / "odd.xml").write_text(content)
    with pytest.raises(Unreadable) as refusal:
        read_open_lens_data(tmp_path)
    assert why in str(refusal.value)
    assert refusal.value.first.value == "odd.xml"


def test_a_folder_without_xml_is_refused(tmp_path):
    with pytest.raises(Unreadable, match="neither an XML file nor a folder"):
        read_open_lens_data(tmp_path)


@pytest.mark.django_db
class TestTheCatalogue:
    def take(self, path, **named):
        return import_open_lens_data(read_open_lens_data(path), **named)

    def test_takes_mounts_in_use_bodies_and_lenses_with_source_and_licence(self, data_set):
        path = data_set(MOUNTS, CAMERA, lens("DUNE 35", english="Osterby Dune 35mm f/1.4"))
        outcome = self.take(path)
        assert dict(outcome.new) == {"mounts": 1, "bodies": 2, "lenses": 1}
        assert [mount.name for mount in Mount.objects.all()] == ["Teal"]
        seven, pocket = Body.objects.order_by("-sensor_width_mm")
        assert (str(seven), seven.exif_model, seven.mount.name) == ("Osterby Seven", "OW-7", "Teal")
        assert pocket.mount is None, "a fixed lens's mount is none that a lens is changed on"
        dune = Lens.objects.get()
        assert (dune.name, dune.focal_min_mm, dune.widest_f) == ("Dune 35mm f/1.4", 35, 1.4)
        assert (dune.narrowest_f, dune.filter_thread_mm) == (None, None), "the set lacks them"
        assert [alias.written for alias in dune.aliases.all()] == ["DUNE 35"]
        sources = FactSource.objects.filter(gear_slug=dune.slug)
        assert {source.licence for source in sources} == {"CC BY-SA 3.0"}
        assert all("osterby.xml" in source.source for source in sources)

    def test_taking_it_again_changes_nothing(self, data_set):
        path = data_set(MOUNTS, CAMERA, lens("DUNE 35", english="Osterby Dune 35mm f/1.4"))
        self.take(path)
        before = (FactSource.objects.count(), Event.objects.count(), Lens.objects.get().version)
        outcome = self.take(path)
        assert not outcome.new
        assert dict(outcome.matched) == {"mounts": 1, "bodies": 2, "lenses": 1}
        assert (FactSource.objects.count(), Event.objects.count(), Lens.objects.get().version) == before

    def test_a_dry_run_tells_and_changes_nothing(self, data_set):
        path = data_set(MOUNTS, CAMERA, lens("DUNE 35 1:1.4/35"))
        outcome = self.take(path, dry_run=True)
        assert outcome.new["lenses"] == 1
        assert not Lens.objects.exists() and not Mount.objects.exists() and not Event.objects.exists()

    def test_what_people_entered_is_never_overwritten(self, data_set):
        mount = MountFactory(name="Teal")
        mine = LensFactory(maker=MakerFactory(name="Osterby"), name="Dune 35mm f/1.4", widest_f=1.5)
        path = data_set(MOUNTS, lens("DUNE 35", english="Osterby Dune 35mm f/1.4", mounts=("Teal", "Curlew")))
        outcome = self.take(path)
        mine.refresh_from_db()
        assert mine.widest_f == 1.5
        assert any("widest_f is 1.5 in the catalogue and 1.4" in doubt.why for doubt in outcome.doubts)
        assert mount in mine.mounts.all() and mine.mounts.count() >= 2
        assert Lens.objects.count() == 1

    def test_what_may_be_a_lens_that_people_entered_is_left_to_people(self, data_set):
        LensFactory(
            maker=MakerFactory(name="Osterby"),
            name="Dune 35mm f/1.4 Art",
            focal_min_mm=35,
            focal_max_mm=35,
            widest_f=1.4,
            widest_f_tele=1.4,
        )
        outcome = self.take(data_set(MOUNTS, lens("DUNE 35", english="Osterby Dune 35mm f/1.4")))
        assert Lens.objects.count() == 1
        assert ["may be" in doubt.why for doubt in outcome.doubts] == [True]

    def test_two_lenses_of_the_set_are_two_however_alike(self, data_set):
        path = data_set(
            MOUNTS,
            lens("A", english="Osterby Dune 35mm f/1.4"),
            lens("B", english="Osterby Dune 35mm f/1.4 II"),
        )
        assert self.take(path).new["lenses"] == 2
        assert not self.take(path).new

    def test_what_tells_too_little_is_doubtful_with_its_reason(self, data_set):
        path = data_set(
            MOUNTS,
            lens("fixed lens"),
            lens("Tern 400mm f/4 + 1.4x ext."),
            lens("Mirror f/8"),
            lens("Cap 9mm"),
        )
        outcome = self.take(path)
        assert not outcome.new["lenses"]
        assert [doubt.why for doubt in outcome.doubts] == [
            "neither an element nor its name states the focal length or the widest aperture",
            "it is a lens together with other glass; enter the lens and the converter apart",
            "neither an element nor its name states the focal length",
            "neither an element nor its name states the widest aperture",
        ]

    def test_a_source_given_by_people_makes_no_lens_the_sets_own(self, data_set):
        mine = LensFactory(maker=MakerFactory(name="Osterby"), name="Dune 35mm f/1.4 Art", focal_min_mm=35)
        add_fact_source(item=mine, fact="mass_g", value=640, source="kitchen scales")
        assert FactSource.objects.get().licence == ""

    def test_the_command_tells_counts_and_doubts(self, data_set, capsys):
        path = data_set(MOUNTS, CAMERA, lens("DUNE 35 1:1.4/35"), lens("fixed lens"))
        call_command("import_open_lens_data", str(path), "--dry-run")
        told = capsys.readouterr()
        assert "Would take mounts: 1 new, 0 matched; bodies: 2 new" in told.out
        assert "osterby.xml: Osterby fixed lens: neither" in told.err
        assert not Lens.objects.exists()
        with pytest.raises(CommandError, match="neither an XML file"):
            call_command("import_open_lens_data", str(path / "nowhere"))

    def test_the_whole_set_where_this_machine_has_it(self):
        path = _installed()
        if path is None:
            return  # the package is not here; the tests above hold the format
        data = read_open_lens_data(path)
        outcome = self.take(path)
        # About 1,170 entries with several for lenses corrected on several sensors (counted in version 0.3.3).
        assert len(data.lenses) > 800 and outcome.new["bodies"] > 700 and outcome.new["mounts"] > 30
        assert outcome.new["lenses"] > 0.85 * len(data.lenses)
        assert Lens.objects.count() == outcome.new["lenses"]
        rows = FactSource.objects.count()
        again = self.take(path)
        assert not again.new and FactSource.objects.count() == rows
        assert len(again.doubts) == len(outcome.doubts)


def _installed() -> Path | None:
    if not shutil.which("dpkg"):
        return None
    listed = subprocess.run(
        ["dpkg", "-L", "liblensfun-data-v1"], capture_output=True, text=True, check=False
    ).stdout.splitlines()
    return next((Path(line).parent for line in listed if line.endswith(".xml")), None)
