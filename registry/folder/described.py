"""What a report says beside its frames: taken from options, else asked for, else refused with near names."""

from __future__ import annotations

from argparse import Namespace
from collections.abc import Callable, Sequence
from typing import Any

from registry.errors import InvalidInput, Problem
from registry.folder.measure import FrameResult
from registry.folder.server import Server

Ask = Callable[[str], str]  # a question → what was typed; None where nobody is there to answer
NEAR = 6
TEXTS = ("target", "light", "place", "notes", "accessories", "shot_on", "teleconverter", "adapter")


def described(
    options: Namespace, results: Sequence[FrameResult], server: Server, ask: Ask | None
) -> dict[str, Any]:
    """The report's data as the API takes it, but for its frames.

    Raises InvalidInput where lens, rig or filter is not said and nobody is there to be asked.
    """
    data: dict[str, Any] = {"basis": "measured"}
    data["lens"] = options.lens or _lens(results, server, ask)
    data["rig"] = _rig(options, server, ask)
    data |= _filter(options, server, ask)
    if options.copy:
        data["copy"] = {"label": options.copy}
    return data | {name: value for name in TEXTS if (value := getattr(options, name))}


def _lens(results: Sequence[FrameResult], server: Server, ask: Ask | None) -> str:
    """The lens, chosen from those whose names are like what the camera wrote."""
    written = next((name for result in results if (name := result.frame.exif.lens_model)), "")
    near = []
    if written:
        rows = server.rows("lenses/", search=written, limit=NEAR)
        near = [(row["lens"]["title"], row["lens"]["slug"]) for row in rows]
    seen = f" The frames say “{written}”." if written else ""
    return _chosen("lens", f"Which lens?{seen}", near, ask, typed=True)


def _rig(options: Namespace, server: Server, ask: Ask | None) -> str | dict[str, Any]:
    """One of the account's own rigs, or a new one described by its body and conversion."""
    if options.rig:
        return options.rig
    if options.body:
        if not options.conversion:
            raise _missing(
                "conversion", "The conversion of the body", "Give --conversion, such as long-pass."
            )
        cut_on = {"cut_on_nm": options.cut_on} if options.cut_on is not None else {}
        return {"body": options.body, "conversion": options.conversion} | cut_on
    rows = server.rows("rigs/", limit=50)
    own = [(row["title"] + (f" ({row['label']})" if row["label"] else ""), row["id"]) for row in rows]
    if not own:
        raise _missing(
            "rig",
            "Your camera",
            "Describe it with --body, --conversion and --cut-on; it is kept as a rig of yours.",
        )
    return _chosen("rig", "Which camera?", own, ask)


def _filter(options: Namespace, server: Server, ask: Ask | None) -> dict[str, str]:
    """The filter and where it sat; nothing where there was none, which has to be said."""
    if options.no_filter:
        return {}
    name = options.filter
    if not name:
        rows = server.rows("filters/", limit=200)
        known = [("none on the lens", ""), *((row["title"], row["slug"]) for row in rows)]
        name = _chosen(
            "filter", "Which filter?", known, ask, typed=True, option="--filter NAME or --no-filter"
        )
    if not name:
        return {}
    position = options.filter_position
    if not position:
        places = [(place, place) for place in ("front", "rear", "clip-in", "sensor")]
        position = _chosen("filter-position", "Where did the filter sit?", places, ask)
    return {"filter": name, "filter_position": position}


def _chosen(
    what: str,
    question: str,
    offered: Sequence[tuple[str, str]],
    ask: Ask | None,
    *,
    typed: bool = False,
    option: str = "",
) -> str:
    """What was chosen of (title, value) pairs by its number, or typed as a name where that may be.

    Raises InvalidInput with what is offered where nobody is there to answer.
    """
    if ask is None:
        titles = "; ".join(f"{title} ({value})" if value else title for title, value in offered[:NEAR])
        near = f" Known: {titles}." if titles else ""
        raise _missing(what, f"The {what.replace('-', ' ')}", f"Give {option or f'--{what}'}.{near}")
    numbered = "\n".join(f"  {number}  {title}" for number, (title, _) in enumerate(offered, 1))
    how = "Number, or its name: " if typed else "Number: "
    while True:
        answer = ask(f"{question}\n{numbered}\n{how}" if offered else f"{question} Its name: ").strip()
        if answer.isdecimal() and 1 <= int(answer) <= len(offered):
            return offered[int(answer) - 1][1]
        if typed and answer and not answer.isdecimal():
            return answer


def _missing(field: str, what: str, remedy: str) -> InvalidInput:
    return InvalidInput(Problem(code="missing", field=field, says=f"{what} is not named.", remedy=remedy))
