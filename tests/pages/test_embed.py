"""A lens's ladder in other people's pages (oEmbed 1.0, the open specification at oembed.com, sections 2.2 and 2.3)."""

import html
import re
from urllib.parse import urlencode
from xml.etree import ElementTree

import pytest
from django.urls import reverse

from tests.factories import LensFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def lens():
    return LensFactory(name="Marram 35 mm f/1.4")


def embed(client, lens, **query):
    return client.get(reverse("embed-ladder", args=[lens.slug]), query)


def oembed(client, settings, lens, question="", **query):
    settings.PUBLIC_URL = "https://registry.example"
    url = f"https://registry.example{reverse('lens', args=[lens.slug])}{question}"
    return client.get(reverse("oembed"), {"url": url} | query)


def test_any_page_may_frame_the_ladder_and_it_sets_no_cookie_and_runs_no_script(client, lens):
    answer = embed(client, lens)
    assert answer.status_code == 200
    assert "X-Frame-Options" not in answer
    policy = answer["Content-Security-Policy"]
    assert "frame-ancestors *" in policy and "script-src 'none'" in policy
    assert not answer.cookies
    assert "<script" not in answer.content.decode()


def test_every_other_page_still_refuses_to_be_framed(client, lens):
    answer = client.get(reverse("lens", args=[lens.slug]))
    assert answer["X-Frame-Options"] == "DENY"
    assert "frame-ancestors 'none'" in answer["Content-Security-Policy"]


def test_the_ladder_says_the_lens_the_cut_on_and_links_to_its_evidence(client, lens):
    page = embed(client, lens, cut_on_nm="830").content.decode()
    assert str(lens) in page and "830" in page
    assert f"{reverse('lens', args=[lens.slug])}?cut_on_nm=830" in page


def test_a_ladder_that_has_not_changed_is_not_sent_again(client, lens):
    tag = embed(client, lens)["ETag"]
    answer = client.get(reverse("embed-ladder", args=[lens.slug]), HTTP_IF_NONE_MATCH=tag)
    assert answer.status_code == 304
    assert "frame-ancestors *" in answer.get("Content-Security-Policy", "frame-ancestors *")


def test_oembed_describes_a_rich_frame(client, settings, lens):
    told = oembed(client, settings, lens, "?cut_on_nm=830").json()
    assert (told["version"], told["type"]) == ("1.0", "rich")
    assert isinstance(told["width"], int) and isinstance(told["height"], int)
    assert told["html"].startswith("<iframe ")
    source = f"https://registry.example{reverse('embed-ladder', args=[lens.slug])}?cut_on_nm=830"
    assert f'src="{source}"' in told["html"]


def test_oembed_keeps_to_the_consumers_limits(client, settings, lens):
    told = oembed(client, settings, lens, maxwidth="300", maxheight="200").json()
    assert told["width"] <= 300 and told["height"] <= 200
    assert 'width="300"' in told["html"]


@pytest.mark.parametrize("width", [1, 100, 239, 459])
def test_a_narrow_column_gets_no_wider_frame(client, settings, lens, width):
    """Section 2.2: the answer's width must not exceed maxwidth."""
    assert oembed(client, settings, lens, maxwidth=str(width)).json()["width"] == width


def test_oembed_says_the_same_in_xml(client, settings):
    """Section 2.3.3.2: text/xml, one element a member of the JSON, under <oembed>."""
    lens = LensFactory(name="Marram <&> 35 mm f/1.4", slug="odd-name")
    answer = oembed(client, settings, lens, format="xml")
    assert answer["Content-Type"].startswith("text/xml")
    root = ElementTree.fromstring(answer.content)
    told = oembed(client, settings, lens).json()
    assert root.tag == "oembed"
    assert {child.tag: child.text for child in root} == {name: str(value) for name, value in told.items()}


def test_the_lens_page_tells_consumers_where_to_ask_in_both_forms(client, settings, lens):
    """Section 4, discovery: the links' addresses answer for this very lens."""
    settings.PUBLIC_URL = "https://registry.example"
    page = client.get(reverse("lens", args=[lens.slug])).content.decode()
    for kind in ("application/json+oembed", "text/xml+oembed"):
        (address,) = re.findall(rf'<link rel="alternate" type="{re.escape(kind)}" href="([^"]+)"', page)
        told = client.get(html.unescape(address).removeprefix("https://registry.example"))
        assert told.status_code == 200 and str(lens) in told.content.decode()


def test_a_title_cannot_break_out_of_the_frame(client, settings):
    lens = LensFactory(name='Marram "><script>alert(1)</script>', slug="odd")
    assert "<script>" not in oembed(client, settings, lens).json()["html"]


@pytest.mark.parametrize(
    "url",
    ["", "https://elsewhere.example/lenses/odd/", "https://registry.example/method/", "not an address"],
)
def test_what_is_no_lens_here_is_not_embedded(client, settings, url):
    settings.PUBLIC_URL = "https://registry.example"
    assert client.get(f"{reverse('oembed')}?{urlencode({'url': url})}").status_code == 404


def test_another_format_is_not_implemented_and_a_wrong_size_is_refused(client, settings, lens):
    assert oembed(client, settings, lens, format="yaml").status_code == 501
    assert oembed(client, settings, lens, maxwidth="wide").status_code == 422
