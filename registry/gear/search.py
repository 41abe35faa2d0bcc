"""Finding a lens by whatever someone typed. Knows names and numbers of rows only, not the database."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from rapidfuzz import fuzz, process

from registry.gear.names import comparable, is_figure, range_of, tokens_of

LONGEST_QUERY = 200
# Shares of a score: how much of what was typed is found in the name, and how alike the two are as wholes.
FOUND_SHARE, WHOLE_SHARE = 0.85, 0.15
WORD_CUTOFF = 60.0  # of rapidfuzz's 0 to 100: below it two words are different words
BEGINNING = 0.9  # likeness of a word and its beginning: people search while they type
END_OF_RANGE = 0.9  # "2.8" for a lens marked f/2.8-4
WITHIN_RANGE = 0.6  # "50" for a 24-70
WORST_SCORE = 0.5


@dataclass(frozen=True)
class Hit:
    """number: the row's, as given to the index. score: 0 to 1."""

    number: int
    score: float


class NameIndex:
    """An index over names; a row may have several (its aliases), and the best one counts."""

    def __init__(self, names: Iterable[tuple[int, str]]):
        """names: (row number, name) pairs."""
        self._numbers: list[int] = []
        self._wholes: list[str] = []
        self._holders: dict[str, list[int]] = defaultdict(list)  # token → positions of the names that hold it
        for position, (number, name) in enumerate(names):
            self._numbers.append(number)
            self._wholes.append(comparable(name))
            for token in set(tokens_of(name)):
                self._holders[token].append(position)
        self._words = [token for token in self._holders if not is_figure(token)]
        self._figures = {token: range_of(token) for token in self._holders if is_figure(token)}

    def find(self, text: str) -> list[Hit]:
        """Rows whose names are like a text, best first, then in the order they were given."""
        typed = tokens_of(text[:LONGEST_QUERY])
        if not typed:
            return []
        found: dict[int, float] = defaultdict(float)
        for token in typed:
            for position, likeness in self._positions_like(token).items():
                found[position] += likeness / len(typed)
        whole = " ".join(sorted(typed))
        scores = {position: self._score(share, whole, position) for position, share in found.items()}
        # Words run together or torn apart share no token with the name, but most of its letters.
        for _, likeness, position in process.extract(
            whole, self._wholes, scorer=fuzz.ratio, score_cutoff=WORD_CUTOFF, limit=50
        ):
            scores[position] = max(scores.get(position, 0.0), likeness / 100)
        return self._best_per_row(scores)

    def _score(self, share: float, whole: str, position: int) -> float:
        return FOUND_SHARE * share + WHOLE_SHARE * fuzz.ratio(whole, self._wholes[position]) / 100

    def _best_per_row(self, scores: dict[int, float]) -> list[Hit]:
        best: dict[int, float] = {}
        for position, score in sorted(scores.items()):
            if score >= WORST_SCORE:
                number = self._numbers[position]
                best[number] = max(best.get(number, 0.0), score)
        return sorted((Hit(*item) for item in best.items()), key=lambda hit: -hit.score)

    def _positions_like(self, token: str) -> dict[int, float]:
        """Positions of the names that hold something like a typed token, with its likeness of 0 to 1."""
        alike = self._figures_like(token) if is_figure(token) else self._words_like(token)
        positions: dict[int, float] = {}
        for known, likeness in alike.items():
            for position in self._holders[known]:
                positions[position] = max(positions.get(position, 0.0), likeness)
        return positions

    def _words_like(self, word: str) -> dict[str, float]:
        alike = {known: BEGINNING for known in self._words if known.startswith(word)}
        if len(word) > 3:  # in shorter ones a single letter makes another word: II is not III
            for known, likeness, _ in process.extract(
                word, self._words, scorer=fuzz.ratio, score_cutoff=WORD_CUTOFF, limit=None
            ):
                alike[known] = max(alike.get(known, 0.0), likeness / 100)
        if word in self._holders:
            alike[word] = 1.0
        return alike

    def _figures_like(self, figure: str) -> dict[str, float]:
        low, high = range_of(figure)
        alike: dict[str, float] = {}
        for known, (known_low, known_high) in self._figures.items():
            if (low, high) == (known_low, known_high):
                alike[known] = 1.0
            elif low == high and known_low != known_high:
                if low in (known_low, known_high):
                    alike[known] = END_OF_RANGE
                elif known_low < low < known_high:
                    alike[known] = WITHIN_RANGE
        return alike
