"""What stands on a lens's page for those who follow it, and how a person's own words are shown."""

from __future__ import annotations

from django import template
from django.utils.html import linebreaks, urlize
from django.utils.safestring import SafeString, mark_safe

from registry.picks.queries import picks_of_lens
from registry.watching.queries import is_watching

register = template.Library()


@register.inclusion_tag("pages/lens_follow.html", takes_context=True)
def follow(context, lens) -> dict:
    """The watch button, and the lens's feed. Costs one statement for someone signed in, none for others."""
    user = getattr(context.get("request"), "user", None)
    signed_in = user is not None and user.is_authenticated
    return {
        "lens": lens,
        "signed_in": signed_in,
        "watching": signed_in and is_watching(user, lens),
        "csrf_token": context.get("csrf_token"),
    }


@register.inclusion_tag("pages/lens_picks.html")
def picked(lens) -> dict:
    """Who recommends a lens, apart from its standing; kept in the cache."""
    return {"lens": lens, "picks": picks_of_lens(lens)}


@register.filter
def said(text: str) -> SafeString:
    """A person's words: nothing in them is markup, and links are theirs, not ours (rel="nofollow ugc")."""
    linked = urlize(text, nofollow=True, autoescape=True).replace('rel="nofollow"', 'rel="nofollow ugc"')
    return mark_safe(linebreaks(linked))  # urlize has escaped all that was markup
