"""From frames to inner products: the design's columns around one patch centre, and the sums over pixels."""

from __future__ import annotations

import numpy as np
from scipy import sparse

from registry.photometry.baseline import Columns
from registry.photometry.patches import NODES
from registry.photometry.posterior import Sums


def node_columns(columns: Columns, centre: tuple[float, float]) -> sparse.csr_matrix:
    """Each pixel's share of the two nodes that its distance from centre lies between, (pixels, len(NODES))."""
    radius = np.hypot(columns.grid.x - centre[0], columns.grid.y - centre[1])
    left = np.clip(np.searchsorted(NODES, radius, side="right") - 1, 0, len(NODES) - 2)
    share = np.clip((radius - NODES[left]) / (NODES[left + 1] - NODES[left]), 0, 1)
    pointers = np.arange(0, 2 * len(radius) + 1, 2)
    indices = np.column_stack([left, left + 1]).ravel()
    values = (np.column_stack([1 - share, share]) * columns.root_weight[:, None]).ravel()
    return sparse.csr_matrix((values, indices, pointers), shape=(len(radius), len(NODES)))


class Stack:
    """K frames on one grid (log2 of luminance, shape (K, pixels)) and their sums with the fixed columns."""

    def __init__(self, columns: Columns, frames: np.ndarray):
        self.columns, self.frames = columns, frames
        self.fixed = columns.both
        self.fixed_gram = columns.gram
        self.fixed_sums = frames @ self.fixed
        self.data = frames @ frames.T

    def sums(self, nodes: sparse.csr_matrix, drift: np.ndarray, weight: np.ndarray) -> Sums:
        """drift: columns by which the patch may be off centre (pixels, 2); they join the nuisances."""
        cross = nodes.T @ self.fixed
        moved = drift.T @ self.fixed, (nodes.T @ drift).T
        gram = np.block(
            [
                [drift.T @ drift, moved[0], moved[1]],
                [moved[0].T, self.fixed_gram, cross.T],
                [moved[1].T, cross, (nodes.T @ nodes).toarray()],
            ]
        )
        with_data = np.hstack([self.frames @ drift, self.fixed_sums, (nodes.T @ self.frames.T).T])
        counts = (
            drift.shape[1] + self.columns.nuisances.shape[1],
            self.columns.falloffs.shape[1],
            len(NODES),
        )
        return Sums(gram, with_data, self.data, weight, counts)
