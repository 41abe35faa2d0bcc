"""Which publication a relay passes on: two relays of one source are one piece of evidence."""

from __future__ import annotations

from urllib.parse import parse_qsl, urlencode, urlsplit

from registry.reports.models import Basis, Report

# What links carry to tell where a reader came from; it is no part of the page's address.
_TRAIL = ("utm_", "fbclid", "gclid", "mc_cid", "mc_eid")


def source_of(report: Report) -> str | None:
    """The publication that a relay passes on: its address without what varies between two links to it, or its
    title; None for a contributor's own test."""
    if report.basis != Basis.RELAYED:
        return None
    return source_key(report.citation_url, report.citation_title)


def source_key(address: str, title: str) -> str | None:
    """One spelling of a source, from its address or else its title; None where neither is stated."""
    if not address:
        return one_spelling(title) or None
    parts = urlsplit(address.strip())
    host = (parts.hostname or "").removeprefix("www.")
    asked = [(name, value) for name, value in parse_qsl(parts.query) if not name.startswith(_TRAIL)]
    query = f"?{urlencode(asked)}" if asked else ""
    return f"{host}{parts.path.rstrip('/')}{query}".casefold()


def one_spelling(text: str) -> str:
    """A name or title apart from case and white space."""
    return " ".join(text.casefold().split())
