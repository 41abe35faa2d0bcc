"""Submitting a measured folder as one report: what will go is said first, and a broken run goes on where it was."""

from __future__ import annotations

import hashlib
import json
import tempfile
import uuid
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from registry.errors import Conflict, InvalidInput, NotFound, Problem
from registry.folder.contents import TARGET, FrameFile
from registry.folder.measure import FrameResult
from registry.folder.server import Server
from registry.frames.exif import KeptExif
from registry.frames.local import reduce_local
from registry.photometry.measurement import REJECTED

STATE, FORMAT = "submission.json", "cleanstop-submission/1"
MOST_FRAMES = 120
# Namespace of the repeat keys, which follow from what is sent (RFC 9562, version 5).
_KEYS = uuid.UUID("6f1d6c5e-5c1b-5d7e-9a65-3f0d2f6f2a11")
Progress = Callable[[int, int, str], None]


@dataclass(frozen=True)
class Sending:
    """What is to be sent. described: the report's data, as the API takes it; results: the frames that go, controls
    among them; left_out: those that stay, which could not be judged; proofs: pictures of a real scene, not measured."""

    described: dict[str, Any]
    results: Sequence[FrameResult]
    left_out: Sequence[FrameResult]
    proofs: Sequence[FrameFile] = ()

    @property
    def files(self) -> list[FrameFile]:
        return [*(result.frame.file for result in self.results), *self.proofs]

    def in_words(self, address: str) -> str:
        """What goes where, before it goes."""
        facts = [name for name in KeptExif().to_dict() if self._says(name)]
        named = [f"  {name}: {_plain(value)}" for name, value in self.described.items()]
        lines = [
            f"This will be sent to {address}, as one report in your name:",
            *named,
            f"  {len(self.files)} frames{self._kinds()}, reduced to their light: 16-bit TIFF, at most 1500 pixels wide",
            f"  of their EXIF: {', '.join(facts) or 'nothing'}; and their file names, which only you see there",
            "Not sent: the files themselves, where they were taken, serial numbers, names, comments.",
        ]
        if self.left_out:
            lines.append("Left out, since they could not be judged:")
            lines += [f"  {result.frame.file.key}: {result.reason}" for result in self.left_out]
        return "\n".join(lines)

    def _kinds(self) -> str:
        counts = Counter(file.purpose for file in self.files if file.purpose != TARGET)
        return (
            f" ({', '.join(f'{count} of them {purpose}' for purpose, count in counts.items())})"
            if counts
            else ""
        )

    def _says(self, name: str) -> bool:
        return any(getattr(result.frame.exif, name) not in (None, "") for result in self.results)


@dataclass
class State:
    """How far a submission is, kept beside the results. sent: by the frame's key, the picture's id there."""

    server: str
    described: dict[str, Any]
    report: str = ""
    sent: dict[str, str] = field(default_factory=dict)
    submitted: bool = False
    begun: int = 0  # how many reports were begun; those before the last were discarded there

    @classmethod
    def read(cls, path: Path, server: str, described: dict[str, Any]) -> State:
        """The state of an earlier run of the same submission, or a fresh one."""
        try:
            kept = json.loads(path.read_text(encoding="utf-8"))
            same = kept.pop("format") == FORMAT and (kept["server"], kept["described"]) == (server, described)
            return cls(**kept) if same else cls(server, described)
        except (OSError, ValueError, KeyError, TypeError, AttributeError):
            return cls(server, described)

    def keep(self, path: Path) -> None:
        """Written whole or not at all, so that a run that is cut off leaves a state that can be read."""
        plain = {"format": FORMAT, **vars(self)}
        fresh = path.with_suffix(".new")
        fresh.write_text(json.dumps(plain, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
        fresh.replace(path)


def sending_of(
    results: Sequence[FrameResult], described: dict[str, Any], proofs: Sequence[FrameFile] = ()
) -> Sending:
    """What would be sent of a measured folder.

    Raises InvalidInput where there are several set-ups, since a report is one test, no frame that can be judged, or
    more than 120.
    """
    set_ups = sorted({result.frame.file.set_up for result in results})
    if len(set_ups) > 1:
        raise _refusal(
            "several-set-ups",
            len(set_ups),
            f"The folder holds {len(set_ups)} set-ups: {', '.join(name or 'the folder itself' for name in set_ups)}.",
            "A report is one test of one lens: submit one of these folders at a time.",
        )
    left_out = [one for one in results if one.measurement is None or one.measurement.status == REJECTED]
    going = [one for one in results if one not in left_out]
    if not going:
        raise _refusal(
            "no-frames", 0, "No frame of the folder could be judged.", "Look at the reasons in the table."
        )
    if len(going) + len(proofs) > MOST_FRAMES:
        raise _refusal(
            "too-many-frames",
            len(going),
            f"The folder holds {len(going)} frames that could be judged.",
            f"A report takes {MOST_FRAMES}: move those that add nothing out of the folder.",
        )
    return Sending(described, going, left_out, proofs)


def submit(
    sending: Sending,
    server: Server,
    state_path: Path,
    *,
    draft: bool = False,
    progress: Progress | None = None,
) -> State:
    """Send a report and its frames, and submit it unless it is to stay a draft; it goes in once it is measured there.

    Run again after a break, it goes on where it stopped. Raises as the server refuses.
    """
    state = State.read(state_path, server.address, sending.described)
    if not (state.report and _is_still_there(server, state)):
        state = State(server.address, sending.described, begun=state.begun + 1)
        state.report = server.post("reports/", sending.described, key=_key(sending, state))["id"]
        state.keep(state_path)
    for done, file in enumerate(sending.files, 1):
        if file.key not in state.sent and not state.submitted:
            state.sent[file.key] = _send_frame(server, state.report, file)
            state.keep(state_path)
        if progress is not None:
            progress(done, len(sending.files), file.path.name)
    if not (draft or state.submitted):
        server.post(f"reports/{state.report}/submit/", {"when_measured": True})
        state.submitted = True
        state.keep(state_path)
    return state


def _send_frame(server: Server, report: str, file: FrameFile) -> str:
    with tempfile.TemporaryDirectory(prefix="reduced-") as folder:
        reduced = Path(folder) / "frame.tif"
        reduce_local(file.path, reduced)
        content = reduced.read_bytes()
    key = uuid.uuid5(_KEYS, f"{report} {hashlib.sha256(content).hexdigest()}")
    frame = f"{file.path.stem}.tif", content
    sent = {"purpose": file.purpose}
    return server.post(f"reports/{report}/frames/", sent, key=str(key), frame=frame)["id"]


def _is_still_there(server: Server, state: State) -> bool:
    """Whether the report can be gone on with; False once it was discarded there. Raises Conflict when it went in by
    another way meanwhile."""
    try:
        found = server.get(f"reports/{state.report}/")
    except NotFound as error:
        if error.first.code == "server-unreachable":
            raise
        return False
    if found["state"] == "draft" or state.submitted:
        return True
    raise Conflict(
        Problem(
            code="wrong-state",
            field="submit",
            value=found["state"],
            says=f"Report {state.report} is {found['state']} there already.",
            remedy=f"Revise it on its page, or delete {STATE} from the results to begin a new report.",
        )
    )


def _key(sending: Sending, state: State) -> str:
    """The same for the same folder described alike, so that a report that was begun is not begun again."""
    files = [hashlib.sha256(file.path.read_bytes()).hexdigest() for file in sending.files]
    said = json.dumps([state.server, state.begun, sending.described, sorted(files)], sort_keys=True)
    return str(uuid.uuid5(_KEYS, said))


def _plain(value: Any) -> str:
    return (
        ", ".join(f"{name} {inner}" for name, inner in value.items())
        if isinstance(value, dict)
        else str(value)
    )


def _refusal(code: str, value: object, says: str, remedy: str) -> InvalidInput:
    return InvalidInput(Problem(code=code, field="folder", value=value, says=says, remedy=remedy))
