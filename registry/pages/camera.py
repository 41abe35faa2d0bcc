"""“My camera”: the mount, cut-on and tolerance a reader looks through, remembered without an account."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from django.http import HttpRequest

SESSION_KEY = "camera"
COMMON_CUT_ON_NM = 720.0  # the conversion most readers have (common practice, no source)
DEFAULT_VISIBLE_EV = 0.10


@dataclass(frozen=True)
class Camera:
    """What a reader looks through. `chosen` is False until they said so themselves."""

    mount: str = ""
    cut_on_nm: float = COMMON_CUT_ON_NM
    visible_ev: float = DEFAULT_VISIBLE_EV
    chosen: bool = False

    @property
    def own_tolerance(self) -> bool:
        return abs(self.visible_ev - DEFAULT_VISIBLE_EV) > 1e-9


def remembered(request: HttpRequest) -> Camera:
    """The reader's camera from the session, or the common one."""
    stored = request.session.get(SESSION_KEY) if hasattr(request, "session") else None
    if not stored:
        return Camera()
    return Camera(**{key: stored[key] for key in asdict(Camera()) if key in stored})


def remember(request: HttpRequest, *, mount: str, cut_on_nm: float, visible_ev: float) -> Camera:
    camera = Camera(mount=mount, cut_on_nm=cut_on_nm, visible_ev=visible_ev, chosen=True)
    request.session[SESSION_KEY] = asdict(camera)
    return camera


def forget(request: HttpRequest) -> None:
    request.session.pop(SESSION_KEY, None)


def seen_through(request: HttpRequest, asked: dict[str, Any]) -> Camera:
    """The camera for one page: what its address asks for, and the remembered one for the rest."""
    own = remembered(request)
    return Camera(
        mount=own.mount if asked.get("mount") is None else asked["mount"],
        cut_on_nm=asked.get("cut_on_nm") or own.cut_on_nm,
        visible_ev=asked.get("visible_ev") or own.visible_ev,
        chosen=own.chosen,
    )
