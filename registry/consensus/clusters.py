"""Which reports are one voice: union of everything that shares a tester, a copy, a source or an echo."""

from __future__ import annotations

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from registry.consensus.arrays import EvidenceArrays


def cluster_labels(lens: np.ndarray, *shared: np.ndarray) -> np.ndarray:
    """Label of each report's cluster, shape (reports,); no cluster spans two lenses.

    shared: arrays of codes (−1: not stated); two reports of one lens that agree in any of them belong
    together, and so does whatever is connected through them.
    """
    count = len(lens)
    reports, things, first_free = [], [], count
    for codes in shared:
        stated = np.flatnonzero(codes >= 0)
        if not len(stated):
            continue
        width = int(codes.max()) + 1
        _, thing = np.unique(lens[stated] * width + codes[stated], return_inverse=True)
        reports.append(stated)
        things.append(thing + first_free)
        first_free += int(thing.max()) + 1
    if not reports:
        return np.arange(count)
    left, right = np.concatenate(reports), np.concatenate(things)
    graph = coo_array((np.ones(len(left), dtype=np.int8), (left, right)), shape=(first_free, first_free))
    return connected_components(graph, directed=False)[1][:count]


def clusters_of(arrays: EvidenceArrays) -> np.ndarray:
    """Label of the cluster of every report."""
    return cluster_labels(
        arrays.report_lens,
        arrays.report_tester,
        arrays.report_copy,
        arrays.report_source,
        arrays.report_echo,
    )
