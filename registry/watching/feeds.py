"""Atom feeds (RFC 4287) of what changed: of every lens, of one mount's, of one lens."""

from __future__ import annotations

from datetime import UTC, datetime

from django.conf import settings
from django.db.models import QuerySet
from django.urls import reverse
from django.utils.feedgenerator import Atom1Feed, get_tag_uri
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from registry.gear.models import Lens
from registry.watching.changes import Change, change_events, told

ENTRIES = 50
BEGINNING = datetime(2024, 1, 1, tzinfo=UTC)  # when a feed without entries was last updated


class ChangesFeed(Atom1Feed):
    """An empty feed says the same each time it is asked: it was updated when all began."""

    def latest_post_date(self) -> datetime:
        return super().latest_post_date() if self.items else BEGINNING


def newest_change(lenses: QuerySet[Lens] | None) -> tuple[int, datetime]:
    """Sequence and time of the newest change, by which a reader's copy of the feed is known to be fresh."""
    newest = change_events(lenses=lenses).values_list("sequence", "at").first()
    return newest or (0, BEGINNING)


def changes_feed(*, title: str, page: str, address: str, lenses: QuerySet[Lens] | None = None) -> str:
    """The feed's document. page, address: path of the page it belongs to, and its own."""
    site = settings.PUBLIC_URL.rstrip("/")
    feed = ChangesFeed(
        title=title,
        link=site + page,
        feed_url=site + address,
        description="",
        subtitle="What the reports say of lenses in infrared, each time it changes.",
        author_name="The contributors of Cleanstop",
        language="en",
        feed_guid=get_tag_uri(site + address, BEGINNING),
        feed_copyright="CC0 1.0",
    )
    for change in told(change_events(lenses=lenses)[:ENTRIES]):
        feed.add_item(
            title=change.title,
            link=site + reverse("lens", args=[change.lens.slug]),
            description=content_of(change, site),
            unique_id=get_tag_uri(f"{site}/changes/{change.sequence}", change.at),
            pubdate=change.at,
            updateddate=change.at,
        )
    return feed.writeString("utf-8")


def content_of(change: Change, site: str) -> SafeString:
    """What changed and which reports caused it, as HTML."""
    moves = format_html_join("", "<li>{}</li>", ((str(move),) for move in change.moves))
    named = format_html_join(
        ", ",
        '<a href="{}{}">{}</a>',
        (
            (site, reverse("report", args=[report.public_id]), f"report by {report.author}")
            for report in change.reports
        ),
    )
    links = format_html(" ({})", named) if named else ""
    return format_html("<ul>{}</ul><p>{}{}</p>", moves, change.cause, links)
