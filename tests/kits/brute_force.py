"""The best kit by trying every purchase: slow, obvious, and sharing no code with the planner but its input types.

It knows the rules only in words: routes of at most two rings, nothing narrower than the thread by more than is
allowed, and the order of aims.
"""

from __future__ import annotations

import itertools

import numpy as np


def routes_of(thread, rings, most_rings, narrower_by):
    """Every way from the thread outwards: (rings used, size reached)."""
    found = [((), thread)]
    for count in range(1, most_rings + 1):
        for chain in itertools.permutations(rings, count):
            sizes = [thread, *(ring[1] for ring in chain)]
            joined = all(ring[0] == size for ring, size in zip(chain, sizes, strict=False))
            if joined and len(set(sizes)) == len(sizes) and min(sizes) >= thread - narrower_by:
                found.append((chain, sizes[-1]))
    return found


def best_key(lenses, filters, rings, *, narrower_by=0.0):
    """The least (cost, filters, rings, narrower, diameter, placements) of any purchase, rings shared.

    lenses: (thread, most rings, cut-ons). filters: {(cut-on, diameter): price or None if owned}; rings likewise.
    """
    filters_for_sale = [one for one, price in filters.items() if price is not None]
    rings_for_sale = [one for one, price in rings.items() if price is not None]
    pieces = [*filters_for_sale, *rings_for_sale]
    bit = {
        (kind, one): 1 << index
        for index, (kind, one) in enumerate(
            [("filter", one) for one in filters_for_sale] + [("ring", one) for one in rings_for_sale]
        )
    }
    purchases = np.arange(1 << len(pieces))
    worst = 10**6
    narrower, placements = np.zeros(len(purchases), int), np.zeros(len(purchases), int)
    for thread, most_rings, cut_ons in lenses:
        ways = routes_of(thread, list(rings), most_rings, narrower_by)
        for cut_on in cut_ons:
            # Fewest narrower first, then fewest rings: one number, since no route has a hundred rings.
            least = np.full(len(purchases), worst)
            for chain, size in ways:
                if (cut_on, size) not in filters:
                    continue
                wanted = bit.get(("filter", (cut_on, size)), 0)
                for ring in chain:
                    wanted |= bit.get(("ring", ring), 0)
                tight = min([size, *(ring[1] for ring in chain)]) < thread
                effort = 100 * tight + len(chain)
                least = np.where(purchases & wanted == wanted, np.minimum(least, effort), least)
            narrower += np.where(least >= worst, worst, least // 100)
            placements += least % 100
    keys = []
    for purchase in purchases[narrower < worst]:
        bought = [pieces[index] for index in range(len(pieces)) if purchase >> index & 1]
        own = bought[: sum(bool(purchase >> index & 1) for index in range(len(filters_for_sale)))]
        cost = sum(filters[one] for one in own) + sum(rings[one] for one in bought[len(own) :])
        diameter = round(sum(one[1] for one in own), 1)
        keys.append(
            (
                cost,
                len(own),
                len(bought) - len(own),
                int(narrower[purchase]),
                diameter,
                int(placements[purchase]),
            )
        )
    return min(keys, default=None)


def best_key_apart(lenses, filters, rings, owned_rings):
    """The same key where rings aren't shared: every way for every lens, all combinations.

    rings: {ring: price}. owned_rings: the copies owned, a list.
    """
    targets = [(index, thread, cut_on) for index, (thread, _, nms) in enumerate(lenses) for cut_on in nms]
    ways = [
        [
            (index, cut_on, chain, size)
            for chain, size in routes_of(thread, sorted({*rings, *owned_rings}), lenses[index][1], 0)
            if (cut_on, size) in filters
        ]
        for index, thread, cut_on in targets
    ]
    keys = []
    for taken in itertools.product(*ways):
        bought = {(nm, size) for _, nm, _, size in taken if filters[nm, size] is not None}
        placed = [ring for _, ring in {(index, ring) for index, _, chain, _ in taken for ring in chain}]
        missing = {ring: max(0, placed.count(ring) - owned_rings.count(ring)) for ring in set(placed)}
        if any(count and ring not in rings for ring, count in missing.items()):
            continue
        cost = sum(filters[one] for one in bought) + sum(rings[one] * n for one, n in missing.items() if n)
        stacked = sum(len(chain) for _, _, chain, _ in taken)
        keys.append(
            (cost, len(bought), sum(missing.values()), 0, round(sum(s for _, s in bought), 1), stacked)
        )
    return min(keys, default=None)
