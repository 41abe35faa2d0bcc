"""The pages' own colours for pictures that leave the site: read from tokens.css, where each is written once."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache
from pathlib import Path

_STYLES = Path(__file__).parent / "static" / "pages"
_TOKEN = re.compile(r"--([\w-]+):\s*([^;]+);")
_FONT = re.compile(r"font:\s*([\d.]+px)\s+([^;]+);")
# Where a picture is opened elsewhere, only fonts that its reader has can be shown.
SANS = "system-ui, 'Segoe UI', Roboto, 'Noto Sans', 'Liberation Sans', 'DejaVu Sans', sans-serif"


@dataclass(frozen=True)
class Theme:
    """name: "light" or "dark". colours: by token, "paper", "ink", "chance-0" …"""

    name: str
    colours: dict[str, str]

    def __getitem__(self, token: str) -> str:
        return self.colours[token]

    @property
    def figure_styles(self) -> str:
        """figures.css with this theme's colours in place of the tokens, as a picture of its own needs it."""
        text = (_STYLES / "figures.css").read_text(encoding="utf-8")
        text = re.sub(r"var\(--([\w-]+)\)", lambda match: self.colours[match[1]], text)
        return _FONT.sub(r"font-size: \1; font-family: \2;", re.sub(r"/\*.*?\*/", "", text, flags=re.S))


@cache
def theme(name: str) -> Theme:
    """The colours of "light" or "dark"."""
    paper, _, night = (
        (_STYLES / "tokens.css").read_text(encoding="utf-8").partition("prefers-color-scheme: dark")
    )
    colours = dict(_TOKEN.findall(paper)) | (dict(_TOKEN.findall(night)) if name == "dark" else {})
    return Theme(name, colours | {"sans": SANS})
