"""Which reports are one voice: union of everything that shares a tester, a copy, a source or an echo."""

from __future__ import annotations

import numpy as np

from registry.consensus.arrays import EvidenceArrays


def cluster_labels(lens: np.ndarray, *shared: np.ndarray) -> np.ndarray:
    """Label of each report's cluster (its first report's index), shape (reports,); no cluster spans two lenses.

    shared: arrays of codes (−1: not stated); two reports of one lens that agree in any of them belong
    together, and so does whatever is connected through them: the least label spreads until nothing changes.
    lens: sorted.
    """
    count = len(lens)
    labels = np.arange(count)
    links = [link for codes in shared if (link := _link(lens, codes))]
    while True:
        before = labels
        for stated, thing, things in links:
            least = np.full(things, count)
            np.minimum.at(least, thing, labels[stated])
            labels = labels.copy()
            labels[stated] = least[thing]
        if np.array_equal(labels, before):
            return labels


def _link(lens: np.ndarray, codes: np.ndarray) -> tuple[np.ndarray, np.ndarray, int] | None:
    """Reports that state something, the number of what each states, and how many different things there are."""
    stated = np.flatnonzero(codes >= 0)
    if not len(stated):
        return None
    thing = codes[stated]
    if lens[0] != lens[-1]:
        _, thing = np.unique(lens[stated] * (int(codes.max()) + 1) + thing, return_inverse=True)
    return stated, thing, int(thing.max()) + 1


def clusters_of(arrays: EvidenceArrays) -> np.ndarray:
    """Label of the cluster of every report."""
    return cluster_labels(
        arrays.report_lens,
        arrays.report_tester,
        arrays.report_copy,
        arrays.report_source,
        arrays.report_echo,
    )
