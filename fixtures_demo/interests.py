"""What the circle's members keep beside their evenings: signed picks, and one bag with the lenses that it watches."""

from __future__ import annotations

import csv
import itertools
import json
from decimal import Decimal

from fixtures_demo.behaviour import WORLD
from registry.accounts.models import Account
from registry.bags.contents import CONSIDERED, Bag, BagBody, Carried
from registry.bags.services import change_bag
from registry.bags.use import FORMAT, read_use
from registry.gear.models import Body, Lens
from registry.kits.bag import FrontFilter, Prices
from registry.picks.models import PickList
from registry.picks.rules import PickGiven
from registry.picks.services import publish_list
from registry.watching.services import watch_lens

BAG_LENSES = (
    Carried("osterby-marram-24-mm-f-2-8"),
    Carried("osterby-marram-35-mm-f-1-4-ii"),
    Carried("osterby-marram-24-105-mm-f-4", hood=True),
    Carried("vantorre-polder-50-mm-f-1-4"),
    Carried("osterby-marram-15-mm-f-2-8-fisheye"),
    Carried("osterby-marram-16-35-mm-f-4", state=CONSIDERED),
)
CUT_ONS_NM = (720.0, 830.0)
WATCHED = ("osterby-marram-24-105-mm-f-4", "osterby-marram-16-35-mm-f-4", "vantorre-polder-50-mm-f-1-4")
# Frames by lens, focal length (mm) and f-number, as registry.folder would count them in a year's pictures.
USE = {
    "osterby-marram-24-mm-f-2-8": {"24": {"5.6": 38, "8": 61, "11": 12}},
    "osterby-marram-35-mm-f-1-4-ii": {"35": {"2.8": 15, "8": 44}},
    "osterby-marram-24-105-mm-f-4": {"24": {"8": 52, "11": 20}, "50": {"8": 31}, "105": {"5.6": 18, "8": 47}},
}


def keep_interests() -> None:
    """Harmless when they are kept already; what someone has changed since stays theirs."""
    publish_picks()
    owner = Account.objects.get(name="samphire")
    change_bag(owner=owner, change=lambda present: packed() if present.is_empty else present)
    for lens in Lens.objects.filter(slug__in=WATCHED):
        watch_lens(account=owner, lens=lens)


def publish_picks() -> None:
    with open(WORLD / "picks.csv", encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    for (author, title, about), told in itertools.groupby(
        rows, key=lambda row: (row["author"], row["title"], row["about"])
    ):
        if PickList.objects.filter(author__name=author, title=title).exists():
            continue
        given = [PickGiven(Lens.objects.get(slug=row["lens"]), row["reason"]) for row in told]
        publish_list(author=Account.objects.get(name=author), title=title, about=about, picks=given)


def packed() -> Bag:
    """A full-spectrum body that takes a filter for either cut-on, one filter owned, invented prices in shells."""
    body = Body.objects.select_related("maker").get(name="Causey C2")
    filters = {
        FrontFilter(cut_on_nm, diameter): Decimal(price)
        for cut_on_nm in CUT_ONS_NM
        for diameter, price in ((49, 30), (52, 32), (55, 34), (67, 46), (72, 52), (77, 58))
    }
    return Bag(
        lenses=BAG_LENSES,
        cut_ons_nm=CUT_ONS_NM,
        bodies=(BagBody(str(body), None, body.half_diagonal_mm),),
        filters=(FrontFilter(720, 67),),
        prices=Prices(filters, ring=Decimal(8), currency="shells"),
        use=read_use(_summary()),
    )


def _summary() -> bytes:
    names = {lens.slug: str(lens) for lens in Lens.objects.select_related("maker")}
    counted = [
        {"lens": names[slug], "frames": _frames(together), "together": together}
        for slug, together in USE.items()
    ]
    told = {"format": FORMAT, "frames": sum(map(_frames, USE.values())), "unnamed": 0, "lenses": counted}
    return json.dumps(told).encode()


def _frames(together: dict[str, dict[str, int]]) -> int:
    return sum(sum(counts.values()) for counts in together.values())
