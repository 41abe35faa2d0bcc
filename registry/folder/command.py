"""The command line: measure a folder, count its use, or submit it. Nothing leaves this machine without --submit."""

from __future__ import annotations

import argparse
import os
import sys
from collections import Counter
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TextIO

from tqdm import tqdm

from registry.errors import CleanstopError, InvalidInput, Problem
from registry.folder.contents import CONTROL, PROOF, frames_in
from registry.folder.described import TEXTS, Ask, described
from registry.folder.measure import FrameResult, measured_frames
from registry.folder.results import write_results
from registry.folder.server import Server
from registry.folder.submission import STATE, State, sending_of, submit
from registry.folder.use import use_of_folder, write_use

TOKEN = "CLEANSTOP_TOKEN"
CONVERSIONS = ("long-pass", "full-spectrum", "band-pass", "dual-band", "unconverted")
POSITIONS = ("front", "rear", "clip-in", "sensor")
DESCRIPTION = (
    "Measure the hotspot in every frame of FOLDER on this machine. Its subfolders are separate set-ups; within one, "
    "the frames of one focal length form a sweep. Writes a table (CSV) and one picture (SVG) for each sweep."
)


def parser() -> argparse.ArgumentParser:
    """The options of `python -m registry.folder`."""
    options = argparse.ArgumentParser(prog="python -m registry.folder", description=DESCRIPTION)
    options.add_argument("folder", type=Path, help="folder with JPEG, PNG, TIFF, HEIC or raw frames")
    options.add_argument(
        "--out", type=Path, metavar="DIR", help="where results go (default: FOLDER-measured, beside it)"
    )
    options.add_argument(
        "--control",
        metavar="SUBFOLDER",
        help="subfolder with frames of the same target in visible light, to compare with",
    )
    options.add_argument(
        "--proof", metavar="SUBFOLDER", help="subfolder with pictures of a real scene, not measured"
    )
    options.add_argument("--no-sweeps", action="store_true", help="measure every frame alone")
    options.add_argument(
        "--use",
        type=Path,
        metavar="FILE",
        help="measure nothing; write to FILE (JSON) how often each lens, focal length and aperture was used, for the "
        "bag. It names no file, date or place, and nothing is sent",
    )
    sending = options.add_argument_group("submitting to a registry")
    sending.add_argument(
        "--submit", metavar="URL", help="send the frames, reduced to their light, as one report"
    )
    sending.add_argument(
        "--token", default=os.environ.get(TOKEN, ""), help=f"token with the scope submit (default: ${TOKEN})"
    )
    sending.add_argument("--yes", action="store_true", help="send without asking once more")
    sending.add_argument(
        "--draft", action="store_true", help="keep it as a draft there, to look at before it counts"
    )
    tested = options.add_argument_group("what was tested; asked for where it is missing")
    tested.add_argument("--lens", metavar="NAME", help="name or address of the lens")
    tested.add_argument("--copy", metavar="LABEL", help="which of your copies, if you have several")
    tested.add_argument("--rig", metavar="ID", help="one of your rigs")
    tested.add_argument("--body", metavar="NAME", help="or a camera body that is no rig of yours yet")
    tested.add_argument("--conversion", choices=CONVERSIONS, help="the body's conversion")
    tested.add_argument("--cut-on", type=float, metavar="NM", help="the conversion's cut-on")
    tested.add_argument("--filter", metavar="NAME", help="filter on the lens")
    tested.add_argument("--filter-position", choices=POSITIONS, help="where it sat")
    tested.add_argument("--no-filter", action="store_true", help="there was none")
    for name in TEXTS:
        tested.add_argument(f"--{name.replace('_', '-')}", metavar="TEXT", default="", help=_HELP[name])
    return options


_HELP = {
    "target": "what was photographed, such as a matt white wall",
    "light": "in which light",
    "place": "where, if you want to say",
    "notes": "anything else",
    "accessories": "anything else in the light path",
    "shot_on": "day of the test, if the frames do not say (2024-05-31)",
    "teleconverter": "a teleconverter behind the lens",
    "adapter": "an adapter between lens and body",
}


def main(
    arguments: Sequence[str] | None = None,
    *,
    out: TextIO | None = None,
    ask: Ask | None = None,
    connect: Callable[[str, str], Server] = Server,
) -> int:
    """Run the command; returns its exit code: 0, or 1 with the reason on the error stream.

    ask: puts a question to a person; by default the terminal, where there is one.
    """
    out = out or sys.stdout
    if ask is None and sys.stdin is not None and sys.stdin.isatty():
        ask = input
    options = parser().parse_args(arguments)
    try:
        if options.use is not None:
            _use(options, out)
        else:
            _measure(options, out, ask, connect)
    except CleanstopError as error:
        for problem in error.problems:
            print(problem, file=sys.stderr)
        return 1
    except OSError as error:
        place = f"{error.filename}: " if error.filename else ""
        print(f"{place}{error.strerror}. Choose another place with --out or --use.", file=sys.stderr)
        return 1
    except KeyboardInterrupt:
        print("Stopped. What has arrived stays; the same command goes on from there.", file=sys.stderr)
        return 1
    return 0


def _use(options: argparse.Namespace, out: TextIO) -> None:
    with _bar("picture") as shown:
        summary = use_of_folder(options.folder, progress=shown)
    write_use(summary, options.use)
    print(
        f"{summary['frames']} pictures, {len(summary['lenses'])} lenses. Written to {options.use}.", file=out
    )


def _measure(
    options: argparse.Namespace, out: TextIO, ask: Ask | None, connect: Callable[[str, str], Server]
) -> None:
    if options.submit and not options.token:
        raise InvalidInput(
            Problem(
                code="token-missing",
                field="token",
                says="No token was given.",
                remedy=f"Make one on your account page and set {TOKEN}, or give --token.",
            )
        )
    folder = options.out or options.folder.resolve().with_name(f"{options.folder.resolve().name}-measured")
    with _bar("frame") as shown:
        sweeps, purposes = not options.no_sweeps, _purposes(options)
        results = list(measured_frames(options.folder, sweeps=sweeps, progress=shown, purposes=purposes))
    written = write_results(results, folder)
    print(_told(results), file=out)
    print(f"Written: {', '.join(path.name for path in written)} in {folder}.", file=out)
    if options.submit:
        with connect(options.submit, options.token) as server:
            _submit(options, results, server, folder, out, ask)


def _submit(
    options: argparse.Namespace,
    results: list[FrameResult],
    server: Server,
    folder: Path,
    out: TextIO,
    ask: Ask | None,
) -> None:
    me = server.get("me/")
    proofs = [file for file in frames_in(options.folder, _purposes(options)) if file.purpose == PROOF]
    sending = sending_of(results, described(options, results, server, ask), proofs)
    print(f"\nSigned in as {me['name']}.\n{sending.in_words(server.address)}", file=out)
    if not options.yes and not _agreed(ask):
        print("Nothing was sent.", file=out)
        return
    with _bar("frame") as shown:
        state = submit(sending, server, folder / STATE, draft=options.draft, progress=shown)
    print(_outcome(state, server), file=out)


def _purposes(options: argparse.Namespace) -> dict[str, str]:
    named = {CONTROL: options.control, PROOF: options.proof}
    return {folder: purpose for purpose, folder in named.items() if folder}


def _agreed(ask: Ask | None) -> bool:
    if ask is None:
        raise InvalidInput(
            Problem(
                code="not-agreed",
                field="yes",
                says="Nothing was sent: nobody is here to say so.",
                remedy="Add --yes once you have read the above.",
            )
        )
    return ask("Send it? [y/N] ").strip().casefold() in ("y", "yes")


def _outcome(state: State, server: Server) -> str:
    if not state.submitted:
        return (
            f"{len(state.sent)} frames are there, in a draft: {server.page(f'reports/{state.report}/check/')}"
        )
    return (
        f"{len(state.sent)} frames are there; the report goes in once they are measured: "
        f"{server.page(f'reports/{state.report}/')}"
    )


def _told(results: Sequence[FrameResult]) -> str:
    counts = Counter(result.to_dict()["status"] for result in results)
    return f"{len(results)} frames: {', '.join(f'{count} {status}' for status, count in sorted(counts.items()))}."


class _bar:
    """A progress bar on the error stream, shown where that is a terminal."""

    def __init__(self, unit: str):
        self._bar = tqdm(unit=unit, disable=None)

    def __enter__(self) -> Callable[[int, int, str], None]:
        return self._show

    def __exit__(self, *_: object) -> None:
        self._bar.close()

    def _show(self, done: int, total: int, name: str) -> None:
        self._bar.total = total
        self._bar.set_postfix_str(name, refresh=False)
        self._bar.update(done - self._bar.n)
