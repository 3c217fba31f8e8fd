"""The outlook on invented towns: python tests/benchmarks/outlook_towns.py [TOWNS]

Each town is the demo town drawn from another seed. In each, the plan and the other ways to choose live through the same
worlds; what is printed are differences town by town, with their 95 % interval over the towns (paired t). Not a test: it
takes about a quarter of a minute a town. Its result and date stand in habitatmap/guide/outlook.md.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.stats import t as student

import habitatmap
from habitatmap.job import simulate_years
from habitatmap.plan.outlook import Strategy
from tests.demo import demo_script


def town(seed: int, folder: Path) -> Path:
    """The demo town of this seed as an area folder."""
    maker = demo_script()
    maker.main(folder, seed)
    return folder


def main(towns: int) -> None:
    rows = []
    for seed in range(1, towns + 1):
        with tempfile.TemporaryDirectory() as folder:
            result = habitatmap.run(habitatmap.open_area(town(seed, Path(folder) / "town")))
        seen = simulate_years(result)
        rows.append(seen.differences[seen.differences["measure"] == "forage in reach"].assign(town=seed))
        ranks = seen.ranks[seen.ranks["strategy"] == Strategy.PLAN].set_index("tail")["rank"]
        print(f"town {seed}: the plan ranks {ranks.to_dict()}", flush=True)
    every = pd.concat(rows)
    print("\n| flight | the plan minus | difference, percentage points | 95 % interval | better in |")
    print("|---|---|---|---|---|")
    for (tail, other), of in every.groupby(["tail", "other"], sort=False)["difference"]:
        values = 100 * of.to_numpy()
        half = student.ppf(0.975, len(values) - 1) * values.std(ddof=1) / np.sqrt(len(values))
        mean, better = values.mean(), int((values > 0).sum())
        print(
            f"| {tail} | {other} | {mean:+.2f} | {mean - half:+.2f} to {mean + half:+.2f} | {better} of {len(values)} |"
        )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 20)
