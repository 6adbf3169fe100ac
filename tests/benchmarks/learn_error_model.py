"""What people's takes say of how their errors hang together: shares of the three families, learned on some, for others.

usage: python -m tests.benchmarks.learn_error_model BENCH_DATA_FOLDER

Drummers (`human_deviations.json`, whole takes of 128 strokes and more, means of the two places of the beat taken out)
and tapping people (`tapping_600_3000ms.csv`, trials of 20 taps and more at 600 and 1200 ms) in four groups: two
drummers, tappers 1 to 15 and 16 to 30. For each group the shares that maximise the likelihood of its takes (EM), and
the mean logarithm of how much better the shipped shares, those of the other groups and its own explain its takes than
linear phase correction alone. The shipped shares are the mean of the groups', to a twentieth.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from strumclock.timing import members
from strumclock.timing.design import independent, indicators
from strumclock.timing.likelihood import explain_by_long_memory_and_period, explain_by_phase_correction

Floats = NDArray[np.float64]
SHORTEST_TAKE, SHORTEST_TRIAL, TURNS = 128, 20, 300


def evidence(values: Floats, place: NDArray[np.int64] | None = None) -> Floats:
    """Logarithm of the restricted likelihood of each family, with its own weights within."""
    n = values.size
    slot = np.arange(n)
    design = np.column_stack([np.ones(n), slot - slot.mean()])
    if place is not None:
        design = independent(design, indicators(place))
    table = np.vstack([values - values.mean(), design.T])
    grids = {"phi_grid": members.PHI_GRID, "motor_grid": members.MOTOR_GRID}
    families = [explain_by_phase_correction(table, slot, **grids, across_gaps=True)]
    families.append(explain_by_long_memory_and_period(table))
    logs, priors = [], []
    for family in families:
        inner = family.gram[:, 1:, 1:]
        beta = np.linalg.solve(inner, family.gram[:, 1:, :1])
        rss = family.gram[:, 0, 0] - (family.gram[:, :1, 1:] @ beta)[:, 0, 0]
        logs.append(-0.5 * (family.logdet + np.linalg.slogdet(inner)[1] + (n - design.shape[1]) * np.log(rss)))
        priors.append(family.prior)
    n_long = len(members.HURST_WEIGHT) * len(members.WHITE_WEIGHT)
    parts = (slice(0, 0), slice(0, n_long), slice(n_long, None))
    pieces = [(logs[0], priors[0]), *((logs[1][part], priors[1][part]) for part in parts[1:])]
    return np.array([np.logaddexp.reduce(log + np.log(prior / prior.sum())) for log, prior in pieces])


def groups(folder: Path) -> dict[str, Floats]:
    """Evidence of each take of each group, (takes, families)."""
    found: dict[str, list[Floats]] = {}
    for take in json.loads((folder / "human_deviations.json").read_text()):
        if len(take["eighth"]) >= SHORTEST_TAKE:
            place = np.array(take["eighth"]) % 2
            found.setdefault(take["player"], []).append(evidence(np.array(take["deviation_ms"]), place))
    rows = np.genfromtxt(folder / "tapping_600_3000ms.csv", delimiter=",", names=True)
    for subject in range(1, 31):
        for isi in (600, 1200):
            for trial in np.unique(rows["trial"]):
                one = (rows["subject"] == subject) & (rows["trial"] == trial) & (rows["isi"] == isi)
                if one.sum() >= SHORTEST_TRIAL:
                    name = "tappers 1-15" if subject <= 15 else "tappers 16-30"
                    found.setdefault(name, []).append(evidence(rows["asynch"][one].astype(float)))
    return {name: np.array(takes) for name, takes in found.items()}


def learned(takes: Floats) -> Floats:
    """Shares of the families by expectation and maximisation."""
    likelihood = np.exp(takes - takes.max(axis=1, keepdims=True))
    share = np.full(takes.shape[1], 1 / takes.shape[1])
    for _ in range(TURNS):
        belongs = likelihood * share
        share = (belongs / belongs.sum(axis=1, keepdims=True)).mean(axis=0)
    return np.asarray(share)


def better(takes: Floats, share: Floats) -> float:
    """Mean logarithm of how much better these shares explain the takes than the first family alone."""
    with np.errstate(divide="ignore"):
        return float(np.mean(np.logaddexp.reduce(takes + np.log(share), axis=1) - takes[:, 0]))


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    found = groups(parser.parse_args().folder)
    shares = {name: learned(takes) for name, takes in found.items()}
    shipped = np.array(list(members.FAMILY_SHARE.values()))
    heads = " ".join(f"{family:>7s}" for family in members.FAMILY_SHARE)
    print(f"{'group':16s} takes   {heads}   shipped  others'    own")
    for name, takes in found.items():
        others = np.mean([share for other, share in shares.items() if other != name], axis=0)
        gains = [better(takes, share) for share in (shipped, others, shares[name])]
        told = " ".join(f"{x:7.2f}" for x in shares[name])
        print(f"{name:16s} {len(takes):5d}   {told}   " + "  ".join(f"{gain:+6.2f}" for gain in gains))
    print(f"{'mean':16s}         {' '.join(f'{x:7.2f}' for x in np.mean(list(shares.values()), axis=0))}")


if __name__ == "__main__":
    main()
