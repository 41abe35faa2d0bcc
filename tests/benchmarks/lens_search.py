"""Finding a mistyped lens among 5,000: our index against one pass of rapidfuzz's ratio over all names.

Run it with `python -m tests.benchmarks.lens_search`. Prints, for both, how many of 200 seeded queries find the
lens that was meant, and the time of ours as a multiple of the baseline's in the same run.
"""

from __future__ import annotations

import random
import time

from rapidfuzz import fuzz, process

from registry.gear.names import comparable
from registry.gear.search import NameIndex

SIZE, QUERIES = 5000, 200
SYLLABLES = ["mar", "dun", "sal", "fen", "wick", "holm", "brae", "tor", "lin", "quar", "ves"]
MAKERS = ["Osterby", "Quillmark", "Vantorre", "Ferrow", "Haldane & Reed"]


def invented_names(draw: random.Random, size: int = SIZE) -> list[str]:
    """Names of a maker, a series and figures, as a catalogue has them."""
    series = ["".join(draw.choices(SYLLABLES, k=3)).title() for _ in range(120)]
    names: set[str] = set()
    while len(names) < size:
        focal, widest = draw.choice(range(8, 600, 3)), draw.choice([0.95, 1.2, 1.4, 1.8, 2, 2.8, 4, 5.6])
        zoom = f"-{focal * 3}" if draw.random() < 0.3 else ""
        names.add(f"{draw.choice(MAKERS)} {draw.choice(series)} {focal}{zoom} mm f/{widest}")
    return sorted(names)


def mistyped(name: str, draw: random.Random) -> str:
    """The name as a hasty person types it: one letter swapped, dropped or replaced, words perhaps moved."""
    words = name.lower().replace(" mm", "mm").split()
    chosen = draw.choice([place for place, word in enumerate(words) if word.isalpha() and len(word) > 4])
    word = words[chosen]
    at = draw.randrange(len(word) - 1)
    words[chosen] = draw.choice(
        [
            word[:at] + word[at + 1] + word[at] + word[at + 2 :],
            word[:at] + word[at + 1 :],
            word[:at] + draw.choice("aeionrst") + word[at + 1 :],
        ]
    )
    if draw.random() < 0.5:
        words = words[1:] + words[:1]
    return " ".join(words).replace("f/", draw.choice(["f", "f/", "", "1:"]))


def main() -> None:
    draw = random.Random(4)
    names = invented_names(draw)
    meant = draw.sample(range(SIZE), QUERIES)
    typed = [mistyped(names[number], draw) for number in meant]
    maker_and_figures = [
        f"{name.split()[0]} {' '.join(name.split()[-3:])}" for name in (names[n] for n in meant)
    ]
    index, wholes = NameIndex(enumerate(names)), [comparable(name) for name in names]

    def ours(text: str) -> int | None:
        hits = index.find(text)
        return hits[0].number if hits else None

    def baseline(text: str) -> int | None:
        found = process.extractOne(comparable(text), wholes, scorer=fuzz.ratio)
        return found[2] if found else None

    for label, queries in (("whole names, mistyped", typed), ("maker and figures only", maker_and_figures)):
        seconds, right = {}, {}
        for way in (baseline, ours):
            started = time.perf_counter()
            answers = [way(text) for text in queries]
            seconds[way] = time.perf_counter() - started
            right[way] = sum(map(_fits, answers, meant, [names] * QUERIES, queries))
        print(
            f"{label}: right {right[ours]} of {QUERIES}, baseline {right[baseline]}; "
            f"time {seconds[ours] / seconds[baseline]:.2f} × the baseline's"
        )


def _fits(answer: int | None, meant: int, names: list[str], query: str) -> bool:
    """The lens that was meant, or another whose name holds every word and figure that was typed."""
    return answer is not None and (answer == meant or set(query.split()) <= set(names[answer].split()))


if __name__ == "__main__":
    main()
