"""Invented people and gear for tests. Report factories are in tests/report_factories.py."""

import factory
from factory.django import DjangoModelFactory, Password

from registry.accounts.models import Account, Role
from registry.gear.models import Body, Filter, Lens, Maker, Mount, Teleconverter
from registry.gear.names import slug_for

PASSWORD = "marram-grass-at-dusk"


class AccountFactory(DjangoModelFactory):
    class Meta:
        model = Account

    email = factory.Sequence(lambda n: f"member{n}@saltmarsh.example")
    name = factory.Sequence(lambda n: f"Member {n}")
    password = Password(PASSWORD)
    role = Role.CONTRIBUTOR

    class Params:
        moderator = factory.Trait(role=Role.MODERATOR)
        steward = factory.Trait(role=Role.STEWARD, is_staff=True, is_superuser=True)


class MakerFactory(DjangoModelFactory):
    class Meta:
        model = Maker
        django_get_or_create = ("slug",)

    name = "Osterby"
    slug = factory.LazyAttribute(lambda maker: slug_for(maker.name))


class MountFactory(DjangoModelFactory):
    class Meta:
        model = Mount
        django_get_or_create = ("slug",)

    name = "Teal"
    slug = factory.LazyAttribute(lambda mount: mount.name.lower())
    flange_distance_mm = 18.6


class LensFactory(DjangoModelFactory):
    """A prime of 35 mm f/1.4, each with a name of its own; `mounts=[...]` sets its mounts (Teal by default)."""

    class Meta:
        model = Lens
        skip_postgeneration_save = True

    maker = factory.SubFactory(MakerFactory)
    name = factory.Sequence(lambda n: f"Marram {n} 35 mm f/1.4")
    slug = factory.Sequence(lambda n: f"osterby-marram-{n}")
    focal_min_mm = 35
    focal_max_mm = factory.SelfAttribute("focal_min_mm")
    widest_f = 1.4
    widest_f_tele = factory.SelfAttribute("widest_f")
    narrowest_f = 16
    filter_thread_mm = 67

    class Params:
        zoom = factory.Trait(
            name=factory.Sequence(lambda n: f"Marram {n} 24-70 mm f/2.8-4"),
            focal_min_mm=24,
            focal_max_mm=70,
            widest_f=2.8,
            widest_f_tele=4.0,
            narrowest_f=22,
        )

    @factory.post_generation
    def mounts(self, create, mounts, **named):
        if create:
            self.mounts.set(mounts if mounts is not None else [MountFactory()])


class BodyFactory(DjangoModelFactory):
    class Meta:
        model = Body

    maker = factory.SubFactory(MakerFactory)
    name = factory.Sequence(lambda n: f"Causey {n}")
    slug = factory.Sequence(lambda n: f"osterby-causey-{n}")
    mount = factory.SubFactory(MountFactory)
    megapixels = 24
    exif_model = factory.Sequence(lambda n: f"OSTERBY CAUSEY-{n}")


class FilterFactory(DjangoModelFactory):
    class Meta:
        model = Filter

    maker = factory.SubFactory(MakerFactory, name="Ferrow")
    name = factory.Sequence(lambda n: f"Dusk 720 no. {n}")
    slug = factory.Sequence(lambda n: f"ferrow-dusk-720-{n}")
    cut_on_nm = 720


class TeleconverterFactory(DjangoModelFactory):
    class Meta:
        model = Teleconverter

    maker = factory.SubFactory(MakerFactory)
    name = factory.Sequence(lambda n: f"Extender {n} 1.4×")
    slug = factory.Sequence(lambda n: f"osterby-extender-{n}")
    magnification = 1.4
