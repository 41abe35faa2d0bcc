"""Pictures of ladders that stand by themselves: laid out here, drawn by the one ladder template, with their edition."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass, field

import resvg_py
from django.template.loader import render_to_string

from registry.pages import figures
from registry.pages.themes import Theme

MARGIN = 24
TITLE_LINE, LINE = 27, 19
LADDER_COLUMN = 350  # room for one large ladder of usual length
LADDER_AT = 580  # of a table
ROW = 60


@dataclass(frozen=True)
class LadderShown:
    """One ladder with what stands above or beside it."""

    label: str
    words: str
    chances: Sequence[figures.Chance]
    verdict: str = ""
    f_number: float | None = None


@dataclass(frozen=True)
class TableGroup:
    """Ladders under one heading of a table."""

    heading: str
    rows: Sequence[LadderShown]


@dataclass(frozen=True)
class Text:
    """A line of text: its baseline's start in the sheet's units, and its kind in sheet.svg's styles."""

    x: float
    y: float
    kind: str
    text: str


@dataclass(frozen=True)
class Placed:
    """A drawn ladder and its upper left corner."""

    key: str
    label: str
    drawn: figures.Ladder
    x: float
    y: float


@dataclass
class Sheet:
    """What a picture holds, and where the next line goes."""

    title: str
    texts: list[Text] = field(default_factory=list)
    ladders: list[Placed] = field(default_factory=list)
    y: float = MARGIN
    width: float = 560

    def write(self, kind: str, text: str, *, characters: int, line: float, most: int = 9) -> None:
        """Add a paragraph across the sheet, at most so many lines of it."""
        for part in textwrap.wrap(text, characters, max_lines=most, placeholder=" …"):
            self.y += line
            self.texts.append(Text(MARGIN, self.y, kind, part))

    def place(self, shown: LadderShown, drawn: figures.Ladder, x: float, y: float) -> None:
        self.ladders.append(
            Placed(f"ladder-{len(self.ladders)}", shown.label, drawn, round(x, 2), round(y, 2))
        )
        self.width = max(self.width, x + drawn.width + MARGIN)

    def as_svg(self, edition: str, theme: Theme) -> str:
        self.y += 34
        self.texts.append(Text(MARGIN, self.y, "faint", f"Cleanstop, {edition}. CC BY 4.0"))
        context = {"sheet": self, "height": round(self.y + MARGIN - 6, 2), "theme": theme}
        return render_to_string("pages/sheet.svg", context)


def ladder_sheet(
    *, title: str, sentence: str, ladders: Sequence[LadderShown], edition: str, theme: Theme
) -> str:
    """A lens's ladders, one per focal zone, as an SVG of its own."""
    sheet = Sheet(title)
    sheet.write("title", title, characters=44, line=TITLE_LINE)
    sheet.write("text", sentence, characters=72, line=LINE)
    scale = figures.common_scale(shown.chances for shown in ladders)
    drawn = [_drawn(shown, scale, small=False) for shown in ladders]
    column = max([LADDER_COLUMN, *(one.width + MARGIN for one in drawn)])
    columns = min(len(drawn), 2) or 1
    height = max((one.height for one in drawn), default=0) + 56
    top = sheet.y + 36
    for index, (shown, one) in enumerate(zip(ladders, drawn, strict=True)):
        x, y = MARGIN + index % columns * column, top + index // columns * height
        sheet.texts += [Text(x, y, "label", shown.label), Text(x, y + 17, "faint", shown.words)]
        sheet.place(shown, one, x, y + 26)
    sheet.y = top + -(-len(drawn) // columns) * height - 36
    return sheet.as_svg(edition, theme)


def table_sheet(*, title: str, words: str, groups: Sequence[TableGroup], edition: str, theme: Theme) -> str:
    """A table of lenses in groups, a small ladder each, as an SVG of its own."""
    sheet = Sheet(title, width=LADDER_AT + 240)
    sheet.write("title", title, characters=70, line=TITLE_LINE)
    sheet.write("text", words, characters=110, line=LINE)
    scale = figures.common_scale(row.chances for group in groups for row in group.rows)
    for group in groups:
        sheet.y += 18
        sheet.write("heading", group.heading, characters=90, line=LINE)
        sheet.y += 8
        for row in group.rows:
            _write_row(sheet, row, _drawn(row, scale, small=True))
    return sheet.as_svg(edition, theme)


def _write_row(sheet: Sheet, row: LadderShown, drawn: figures.Ladder) -> None:
    top = sheet.y
    sheet.write("label", row.label, characters=66, line=LINE, most=1)
    sheet.write("faint", row.words, characters=88, line=16, most=2)
    sheet.place(row, drawn, LADDER_AT, top + 4)
    sheet.y = top + ROW


def png_of(svg: str, width: int) -> bytes:
    """The picture as PNG, `width` pixels wide (resvg)."""
    return bytes(resvg_py.svg_to_bytes(svg_string=svg, width=width, sans_serif_family="DejaVu Sans"))


def _drawn(shown: LadderShown, scale: figures.Scale | None, *, small: bool) -> figures.Ladder:
    clean_to = figures.stated_limit(shown.verdict, shown.f_number, shown.chances)
    return figures.ladder(shown.chances, clean_to=clean_to, small=small, scale=scale)
