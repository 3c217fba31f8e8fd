"""Times connectivity and the costliest loss on invented networks; run by hand: python tests/benchmarks/network_size.py.

Places lie at random in a square, 25 to the square kilometre, so that link_m = 1000 joins each to about 75 others and
most of them hang together. Seconds are of processor time, all cores together. The baseline takes places out one by one
by a plain rerun.
"""

from __future__ import annotations

import sys
import time

import numpy as np
import pandas as pd

from habitatmap.network import connectivity
from habitatmap.network.graph import articulations, lengths, links, thinned
from habitatmap.network.importance import equivalent_connectivity, estimated_connectivity


def town(n: int) -> tuple[np.ndarray, pd.DataFrame]:
    """Weights and places."""
    rng = np.random.default_rng(1)
    side = 1000.0 * np.sqrt(n / 25)
    return rng.random(n), pd.DataFrame(rng.uniform(0, side, (n, 2)), columns=["x", "y"])


def main(*sizes: int) -> None:
    """A line for each size."""
    warm, few = town(200)
    connectivity(warm, links(few, 1000, 500))
    for n in sizes or (500, 2_000, 20_000):
        weights, places = town(n)
        start = time.process_time()
        joined = links(places, 1000, 500)
        kept = thinned(lengths(joined)).nnz // 2
        cut = int(articulations(joined).sum())
        made = time.process_time() - start
        start = time.process_time()
        estimate = estimated_connectivity(weights, joined, 400)
        took = time.process_time() - start
        print(
            f"{n:,} places, {(joined.nnz - n) // 2:,} links ({kept:,} can matter), {cut} cut places: {made:.1f} s; "
            f"from 400 sources {took:.1f} s, ec {estimate.ec:.2f} +- {estimate.standard_error:.2f}"
        )
        if n <= 2_000:
            start = time.process_time()
            exact = connectivity(weights, joined)
            took = time.process_time() - start
            start = time.process_time()
            keep = np.arange(n) > 0
            equivalent_connectivity(weights[keep], joined[keep][:, keep])
            plain = (time.process_time() - start) * n
            same = exact.importance["loss"].idxmax() == estimate.importance["loss"].idxmax()
            print(
                f"  exact {took:.1f} s, ec {exact.ec:.2f}, the same costliest place: {same}; plain reruns {plain:.0f} s"
            )


if __name__ == "__main__":
    main(*(int(a) for a in sys.argv[1:]))
