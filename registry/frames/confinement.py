"""Asking the chamber for work: one chamber for each process that asks, a shared cap on how many frames at once.

The chamber (chamber.py) is started with the first frame and ends when its asker does.
"""

from __future__ import annotations

import atexit
import fcntl
import json
import os
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from registry.frames import refusals
from registry.frames.limits import FrameLimits

_GRACE_SECONDS = 20.0  # for starting the chamber, on top of the frame's own wall-clock limit
_TURN_SECONDS = 0.02
_ROOT = Path(__file__).resolve().parents[2]
_ENVIRONMENT = ("PATH", "LANG", "LC_ALL", "LD_LIBRARY_PATH", "TMPDIR", "HOME")


class _Chamber:
    """This process's chamber, started when first needed and again if it has died."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._process: subprocess.Popen[bytes] | None = None
        self._control: socket.socket | None = None

    def send(self, message: bytes, asker: socket.socket) -> None:
        """Hand a job and the socket for its outcome to the chamber."""
        with self._lock:
            if self._process is None or self._process.poll() is not None:
                self._start()
            try:
                socket.send_fds(self._control, [message], [asker.fileno()])
            except OSError:
                self._start()
                socket.send_fds(self._control, [message], [asker.fileno()])

    def close(self) -> None:
        """End the chamber and wait for it."""
        with self._lock:
            if self._control is not None:
                self._control.close()
            if self._process is not None:
                self._process.wait()
            self._process = self._control = None

    def _start(self) -> None:
        if self._control is not None:
            self._control.close()
        ours, theirs = socket.socketpair(socket.AF_UNIX, socket.SOCK_SEQPACKET)
        with theirs:
            self._process = subprocess.Popen(
                [sys.executable, "-P", "-m", "registry.frames.chamber", str(theirs.fileno())],
                pass_fds=[theirs.fileno()],
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                cwd="/",
                env=_environment(),
                start_new_session=True,
            )
        self._control = ours


def _environment() -> dict[str, str]:
    """What the chamber may know: where programs are, and to use one thread; no setting, no secret."""
    known = {name: os.environ[name] for name in _ENVIRONMENT if name in os.environ}
    threads = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"), "1")
    return known | threads | {"PYTHONPATH": str(_ROOT)}


_chamber = _Chamber()


def _forget_chamber() -> None:
    """A forked process asks for a chamber of its own."""
    global _chamber
    _chamber = _Chamber()


os.register_at_fork(after_in_child=_forget_chamber)


def close_chamber() -> None:
    """End this process's chamber, as when tests or a command are done; the next frame starts another."""
    _chamber.close()


atexit.register(close_chamber)


def run_confined(path: Path, folder: Path, limits: FrameLimits) -> None:
    """Have one file taken in into a folder by a limited process, and return when it is done.

    Raises Unreadable: decoder-busy when no turn came, decoder-gave-up when the process was ended or died.
    """
    job = {"path": str(path.resolve()), "folder": str(folder.resolve()), "limits": limits.to_dict()}
    with _turn(limits):
        ours, theirs = socket.socketpair()
        with ours:
            with theirs:
                _chamber.send(json.dumps(job).encode(), theirs)
            ours.settimeout(limits.wall_seconds + _GRACE_SECONDS)
            try:
                outcome = json.loads(ours.recv(1024) or b"{}")
            except TimeoutError:
                outcome = {}
    if outcome.get("exit") != 0:
        raise refusals.gave_up(_why(outcome, limits), outcome.get("signal"))


def _why(outcome: dict[str, Any], limits: FrameLimits) -> str:
    number = outcome.get("signal")
    if outcome.get("late"):
        return f"it took more than {limits.wall_seconds:g} seconds"
    if number == signal.SIGXCPU:
        return f"it took more than {limits.cpu_seconds} seconds of computing"
    if number == signal.SIGKILL:
        return "the system ended the decoder, as it does when memory runs out"
    if number == signal.SIGXFSZ:
        return f"it wrote more than {limits.output_bytes / 1e6:.0f} MB"
    if number is not None:
        return f"the decoder crashed ({signal.Signals(number).name})"
    return "the decoder ended without an answer"


@contextmanager
def _turn(limits: FrameLimits) -> Iterator[None]:
    """Hold one of the machine's places for decoding; places are locked files, freed even by a crash."""
    folder = _places_folder()
    deadline = time.monotonic() + limits.queue_seconds
    while True:
        for number in range(limits.concurrency):
            place = os.open(folder / f"place-{number}", os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
            try:
                fcntl.flock(place, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError:
                os.close(place)
                continue
            try:
                yield
            finally:
                os.close(place)
            return
        if time.monotonic() >= deadline:
            raise refusals.busy(limits.queue_seconds)
        time.sleep(_TURN_SECONDS)


def _places_folder() -> Path:
    """A folder that only this account can write, shared by all its processes on this machine."""
    folder = Path(tempfile.gettempdir()) / f"cleanstop-frames-{os.getuid()}"
    folder.mkdir(mode=0o700, exist_ok=True)
    found = folder.lstat()
    if found.st_uid != os.getuid() or found.st_mode & 0o077 or folder.is_symlink():
        raise refusals.gave_up(f"the folder {folder} belongs to someone else or is open to others")
    return folder
