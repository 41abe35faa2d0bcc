"""The chamber: a small process with the decoders loaded that forks one limited child for each frame.

Run as `python -m registry.frames.chamber FD`, FD being a Unix socket to the process that started it
(confinement.py). Loading the decoders costs as much as decoding a frame, so it is done once. The chamber
itself never looks at untrusted bytes, and it has neither the site's settings nor its secrets: only the
arguments of each job reach it.

For each job it receives {"path", "folder", "limits"} as JSON together with a socket of the asker's. When the
child has ended it sends one JSON object there: {"exit": code} or {"signal": number, "late": bool}.
When the asker's side closes, it ends.
"""

from __future__ import annotations

import json
import os
import resource
import select
import signal
import socket
import sys
import time
import traceback
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass
from typing import Any

import exifread  # noqa: F401 - loaded here once, so that children needn't
import imagecodecs
import rawpy  # noqa: F401
from PIL import Image

from registry.frames.work import do_job

MESSAGE_BYTES = 65536
_OPEN_FILES = 64
_FAILED = 70  # EX_SOFTWARE of sysexits.h: the job itself failed, which is a defect of ours


@dataclass
class _Child:
    """One frame's process: alive while the write end of its pipe is open."""

    pid: int
    pipe: int
    asker: socket.socket
    deadline: float
    late: bool = False


def serve(control: socket.socket) -> None:
    """Fork a limited child for each job until the other side of the control socket closes."""
    _load_decoders()
    children: dict[int, _Child] = {}
    while True:
        wait = _seconds_to_next_deadline(children.values())
        ready, _, _ = select.select([control, *children], [], [], wait)
        for pipe in ready:
            if pipe is not control:
                _report(children.pop(pipe))
        for child in children.values():
            if not child.late and time.monotonic() >= child.deadline:
                child.late = True
                os.kill(child.pid, signal.SIGKILL)
        if control in ready:
            message, sockets, _, _ = socket.recv_fds(control, MESSAGE_BYTES, 1)
            if not message or not sockets:
                break
            child = _start(json.loads(message), socket.socket(fileno=sockets[0]), control)
            children[child.pipe] = child
    for child in children.values():
        os.kill(child.pid, signal.SIGKILL)


def _seconds_to_next_deadline(children: Iterable[_Child]) -> float | None:
    """How long the chamber may sleep; None while no child's clock is running."""
    waits = [child.deadline - time.monotonic() for child in children if not child.late]
    return max(0.0, min(waits)) if waits else None


def _load_decoders() -> None:
    """Load what children would otherwise load one by one."""
    Image.preinit()
    Image.MAX_IMAGE_PIXELS = None  # sizes are checked from the headers before Pillow sees a file
    for name in ("png_decode", "lzw_decode", "zlib_decode", "zlib_encode", "delta_encode", "delta_decode"):
        getattr(imagecodecs, name)


def _start(job: dict[str, Any], asker: socket.socket, control: socket.socket) -> _Child:
    reading, writing = os.pipe()
    pid = os.fork()
    if pid == 0:
        os.close(reading)
        control.close()
        asker.close()
        _run(job)
    os.close(writing)
    return _Child(pid, reading, asker, time.monotonic() + job["limits"]["wall_seconds"])


def _run(job: dict[str, Any]) -> None:
    """The child's whole life."""
    code = _FAILED
    try:
        _confine(job["limits"])
        do_job(job)
        code = 0
    except BaseException:  # a defect of ours or a full disk: told to whoever reads the server's log
        traceback.print_exc()
    finally:
        os._exit(code)


def _confine(limits: dict[str, Any]) -> None:
    """Hard limits that the child can't lift again; the kernel ends it when it passes them."""
    seconds = int(limits["cpu_seconds"])
    resource.setrlimit(resource.RLIMIT_CPU, (seconds, seconds + 1))  # SIGXCPU first, then SIGKILL
    for kind, value in (
        (resource.RLIMIT_AS, limits["address_space"]),
        (resource.RLIMIT_FSIZE, limits["output_bytes"]),
        (resource.RLIMIT_NOFILE, _OPEN_FILES),
        (resource.RLIMIT_CORE, 0),
    ):
        resource.setrlimit(kind, (value, value))
    signal.signal(signal.SIGXFSZ, signal.SIG_DFL)  # Python ignores it, and the asker is to learn the reason
    os.setsid()


def _report(child: _Child) -> None:
    """Tell the asker how its child ended."""
    os.close(child.pipe)
    _, status = os.waitpid(child.pid, 0)
    if os.WIFSIGNALED(status):
        outcome = {"signal": os.WTERMSIG(status), "late": child.late}
    else:
        outcome = {"exit": os.WEXITSTATUS(status)}
    with child.asker, suppress(OSError):  # the asker may have gone; nobody is left to tell then
        child.asker.sendall(json.dumps(outcome).encode())


if __name__ == "__main__":
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    serve(socket.socket(fileno=int(sys.argv[1])))
