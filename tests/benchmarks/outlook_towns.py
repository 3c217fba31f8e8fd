"""The outlook on invented towns: python tests/benchmarks/outlook_towns.py [TOWNS]

Each town is the demo town drawn from another seed. In each, the plan and the other ways to choose live through the same
simulations; what is printed is the plan's gain and that of the best rule of thumb, by way of flying and by the share of
arrivals from unmapped places: means over the towns, the plan minus the rule with its 95 % interval (paired t), and in
how many towns the plan gains as much as every rule, or more. Not a test: it takes about half a minute a
town.
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
from habitatmap.plan.outlook import standings
from habitatmap.plan.simulated_years import Tail
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
            result = habitatmap.run(habitatmap.open_area(town(seed, Path(folder) / "town")), public=False)
        seen = simulate_years(result)
        rows += [standings(seen, tail).assign(tail=tail, town=seed) for tail in Tail]
        print(f"town {seed}: {pd.concat(rows[-2:])['standing'].value_counts().to_dict()}", flush=True)
    every = pd.concat(rows)
    print("\n| flight | from unmapped places | the plan | best rule | plan minus rule | plan first or level in |")
    print("|---|---|---|---|---|---|")
    for (tail, share), of in every.groupby(["tail", "unmapped"], sort=False):
        minus = 100 * (of["gain"] - of["rule_gain"]).to_numpy()
        half = student.ppf(0.975, len(minus) - 1) * minus.std(ddof=1) / np.sqrt(len(minus))
        mean, first = minus.mean(), int((minus >= 0).sum())
        print(
            f"| {tail} | {share:.0%} | {100 * of['gain'].mean():+.2f} | {100 * of['rule_gain'].mean():+.2f} "
            f"| {mean - half:+.2f} to {mean + half:+.2f} | {first} of {len(minus)} |"
        )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 20)
