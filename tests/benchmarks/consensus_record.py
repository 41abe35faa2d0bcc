"""Keeps a bench's figures where the method page reads them: registry/pages/measured/NAME.json."""

from __future__ import annotations

import datetime
import json
import pathlib
import shlex
import sys

FOLDER = pathlib.Path(__file__).parents[2] / "registry" / "pages" / "measured"


def record(name: str, rows: list[dict], *, seed: int, **more) -> pathlib.Path:
    """Write rows with the day, the command that made them and its seed; what else is given stands beside them."""
    script = pathlib.Path(sys.argv[0])
    command = shlex.join(["python", f"tests/benchmarks/{script.name}", *sys.argv[1:]])
    content = {
        "made": datetime.date.today().isoformat(),
        "command": command,
        "seed": seed,
        "rows": rows,
        **more,
    }
    FOLDER.mkdir(exist_ok=True)
    path = FOLDER / f"{name}.json"
    path.write_text(json.dumps(content, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
    return path
