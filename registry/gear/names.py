"""How people and cameras write the names of gear, brought to one form. Pure functions on text."""

import re
import unicodedata
from collections.abc import Iterable, Sequence

from django.utils.text import slugify
from rapidfuzz import fuzz, process

_DASHES = dict.fromkeys(map(ord, "‐‑‒–—−~"), "-")
_SIGNS = {ord("×"): "x", ord("ƒ"): "f", ord("’"): "'", ord("&"): " and "}
_NUMBER = r"\d+(?:\.\d+)?"
_REWRITES = [
    (re.compile(r"(?<=\d),(?=\d)"), "."),  # decimal comma
    (re.compile(rf"\b1\s*:\s*(?={_NUMBER})"), " "),  # 1:1.4
    (re.compile(rf"(?<![a-z])[ft]\s*[/.:]?\s*(?={_NUMBER})"), " "),  # f/1.4  f1.4  F:1.4  T1.5
    (re.compile(r"(?<=\d)\s*mm(?![a-z])"), " "),  # 35mm  35 mm
    (re.compile(r"(?<=\d)mm(?=[f\d])"), " "),  # 35mmf1.4
    (re.compile(rf"(?<![a-z])[ft]\s*[/.:]?\s*(?={_NUMBER})"), " "),  # what followed the millimetres
    (re.compile(r"(?<=\d)\s*-\s*(?=\d)"), "-"),  # 24 - 70
    (re.compile(r"[/_,;()\[\]'\"]+"), " "),  # 35/1.4 and other punctuation
    (re.compile(r"(?<!\d)-|-(?!\d)"), " "),  # hyphens between words
    (re.compile(r"(?<!\d)\.|\.(?!\d)"), " "),  # full stops that are no decimal points
]
_RANGE = re.compile(rf"({_NUMBER})(?:-({_NUMBER}))?")
_WORDS_WITHOUT_MEANING = {"lens", "the", "and", "mm", "f"}


def tokens_of(text: str) -> tuple[str, ...]:
    """The words and figures of a name in one form, in the order written.

    "35mm f/1.4", "35 1.4", "35/1.4" and "1:1,4 35 mm" all give the figures 35 and 1.4; "24.0–70.0 mm" gives
    "24-70"; letters lose their case and accents.
    """
    plain = unicodedata.normalize("NFKD", text.translate(_DASHES).translate(_SIGNS))
    plain = "".join(sign for sign in plain if not unicodedata.combining(sign)).casefold()
    for pattern, replacement in _REWRITES:
        plain = pattern.sub(replacement, plain)
    tokens = (_figure(token) for token in plain.split())
    return tuple(token for token in tokens if token not in _WORDS_WITHOUT_MEANING)


def _figure(token: str) -> str:
    """Figures without idle zeros, and a range of equal ends as one figure: 24.0-24.0 is 24."""
    match = _RANGE.fullmatch(token)
    if not match:
        return token
    low, high = (f"{float(part):g}" if part else None for part in match.groups())
    return low if high in (None, low) else f"{low}-{high}"


def is_figure(token: str) -> bool:
    return bool(_RANGE.fullmatch(token))


def range_of(token: str) -> tuple[float, float]:
    """Ends of a figure such as "24-70"; both the same for a single number."""
    low, high = _RANGE.fullmatch(token).groups()
    return float(low), float(high or low)


def comparable(text: str) -> str:
    """One string per name, whatever the order and spacing it was written in."""
    return " ".join(sorted(tokens_of(text)))


def nearest(text: str, names: Iterable[str], *, limit: int = 3, at_least: float = 45.0) -> list[str]:
    """Names most like a text, best first; `at_least` is rapidfuzz's ratio of 0 to 100."""
    names = list(dict.fromkeys(names))
    found = process.extract(
        comparable(text),
        [comparable(name) for name in names],
        scorer=fuzz.ratio,
        limit=limit,
        score_cutoff=at_least,
    )
    return [names[index] for _, _, index in found]


def slug_for(*parts: str, taken: Sequence[str] | set[str] = (), limit: int = 140) -> str:
    """A stable address from the parts of a name: the plain one, or with -2, -3 … if that is taken."""
    text = " ".join(part for part in parts if part).translate(_DASHES).translate(_SIGNS)
    base = (
        slugify(re.sub(r"(?<=\d)[.,](?=\d)", "-", text).replace("/", " "))[: limit - 4].strip("-")
        or "unnamed"
    )
    slug, count = base, 1
    while slug in taken:
        count += 1
        slug = f"{base}-{count}"
    return slug
