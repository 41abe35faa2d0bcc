"""What people write for others to read: replies, reasons, appeals."""

from __future__ import annotations

from registry.errors import InvalidInput, Problem


def read_words(
    said: object, *, field: str, called: str, longest: int, when_empty: tuple[str, str, str]
) -> str:
    """A text without unprintable signs and outer blanks.

    called: "reply". longest: in characters. when_empty: code, what is said and the remedy where there is none.
    Raises InvalidInput for nothing, or for more than the longest.
    """
    text = "".join(sign for sign in str(said or "") if sign.isprintable() or sign in "\n\t").strip()
    if text and len(text) <= longest:
        return text
    if text:
        code, says, remedy = (
            "text-too-long",
            f"The {called} has {len(text)} characters.",
            f"Shorten it to {longest}.",
        )
    else:
        code, says, remedy = when_empty
    raise InvalidInput(Problem(code=code, field=field, value=text[:60], says=says, remedy=remedy))
