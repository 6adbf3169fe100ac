"""Whether a rebuilt house gives the same answers: the JSON of the shared bench's takes before and after.

usage: python -m tests.benchmarks.same_answers record OUT [--cases cases,cases_hard] [--takes DIR] [--told all,nothing]
                                                  [--cmd strumclock] [--only NAME]
       python -m tests.benchmarks.same_answers compare BEFORE AFTER [--tolerance 0.001] [--show 40]

`record` measures every take of the bench's case files (rendered by `evaluate.py --keep DIR` in the folder that
`--takes` names, a sub-folder for each case file) with the options that the case tells, and leaves one JSON file a
take in OUT.
`compare` pairs the takes of two such folders: strums that are in one only, slots that differ, omitted slots, the
anchor, warnings, and every figure of the schema that differs by more than the tolerance (ms, ms/min, bpm, ppm,
shares). Exits 1 when anything differs.
"""

from __future__ import annotations

import argparse
import importlib
import json
import shlex
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

BENCH = Path(__file__).resolve().parents[3] / "shared" / "bench"
SAME_STRUM_S = 0.05  # strums nearer than this are one strum, moved
IGNORED = {"version", "schema", "path", "message", "reason"}  # wording and versions are no answers
STRUM_KEYS = ("slot", "bar", "beat", "part")


def takes(cases: str, folder: Path, told: str) -> list[tuple[str, Path, list[str]]]:
    """Name, file and command-line options of every take of one case file."""
    sys.path.insert(0, str(BENCH))
    module, evaluate = importlib.import_module(cases), importlib.import_module("evaluate")
    found = []
    for name, case in module.CASES.items():
        for seed in module.SEEDS:
            files = [f for f in folder.glob(f"{name}-{seed}.*") if f.suffix not in (".json", ".mid")]
            if files:
                found.append((f"{cases}.{told}.{name}-{seed}", files[0], evaluate.told(case[0], told)))
    return found


def record(out: Path, wanted: list[tuple[str, Path, list[str]]], command: str) -> None:
    """Measure every take and leave its JSON, or what was said instead, in `out`."""
    out.mkdir(parents=True, exist_ok=True)

    def one(take: tuple[str, Path, list[str]]) -> None:
        name, path, options = take
        run = [*shlex.split(command), "measure", str(path), *options, "--json", "-"]
        done = subprocess.run(run, capture_output=True, text=True, check=False)
        text = done.stdout if done.returncode == 0 else json.dumps({"error": done.returncode, "message": done.stderr})
        (out / f"{name}.json").write_text(text, encoding="utf-8")

    with ThreadPoolExecutor(2) as pool:
        list(pool.map(one, wanted))
    print(f"{len(wanted)} takes measured into {out}")


def differences(before: dict[str, Any], after: dict[str, Any], tolerance: float) -> list[str]:
    """What differs between the JSON of one take before and after, a line each."""
    if "error" in before or "error" in after:
        return (
            []
            if before.get("error") == after.get("error")
            else [f"error {before.get('error')} -> {after.get('error')}"]
        )
    said = []
    left = {s["time_s"]: s for s in after["strums"]}
    for strum in before["strums"]:
        at = min(left, key=lambda t: abs(t - strum["time_s"]), default=None)
        if at is None or abs(at - strum["time_s"]) > SAME_STRUM_S:
            said.append(f"strum at {strum['time_s']:.3f} s gone")
            continue
        other = left.pop(at)
        moved_ms = 1e3 * (at - strum["time_s"])
        if abs(moved_ms) > tolerance:
            said.append(f"strum at {strum['time_s']:.3f} s moved by {moved_ms:+.4f} ms")
        said += [
            f"strum at {at:.3f} s: {key} {strum.get(key)} -> {other.get(key)}"
            for key in STRUM_KEYS
            if strum.get(key) != other.get(key)
        ]
    said += [f"strum at {t:.3f} s new" for t in left]
    skip = {"strums"}
    return said + _walk("", {k: v for k, v in before.items() if k not in skip}, after, tolerance)


def _walk(path: str, before: Any, after: Any, tolerance: float) -> list[str]:
    """Differences of two JSON values, keys that were added ignored."""
    if path.startswith("absent."):  # a reason in words, in /1 and in /2: what counts is that there is one
        return []
    if isinstance(before, dict) and isinstance(after, dict):
        return [
            line
            for key, value in before.items()
            if key not in IGNORED
            for line in (
                _walk(f"{path}.{key}".lstrip("."), value, after[key], tolerance)
                if key in after
                else [f"{path}.{key} gone".lstrip(".")]
            )
        ]
    if isinstance(before, list) and isinstance(after, list):
        if len(before) != len(after):
            return [f"{path}: {len(before)} -> {len(after)} entries"]
        return [
            line
            for i, (b, a) in enumerate(zip(before, after, strict=True))
            for line in _walk(f"{path}[{i}]", b, a, tolerance)
        ]
    if isinstance(before, (int, float)) and isinstance(after, (int, float)) and not isinstance(before, bool):
        return [] if abs(before - after) <= tolerance else [f"{path}: {before:.4f} -> {after:.4f}"]
    return [] if before == after else [f"{path}: {before!r} -> {after!r}"]


def compare(before: Path, after: Path, tolerance: float, show: int) -> int:
    """Print what differs between two folders of answers; how many takes differ."""
    names = sorted({p.name for p in before.glob("*.json")} & {p.name for p in after.glob("*.json")})
    differing = 0
    for name in names:
        a, b = (json.loads((folder / name).read_text(encoding="utf-8")) for folder in (before, after))
        lines = differences(a, b, tolerance)
        if lines:
            differing += 1
            print(f"{name.removesuffix('.json')}: {len(lines)} differences")
            for line in lines[:show]:
                print(f"    {line}")
    print(f"{len(names)} takes compared, {len(names) - differing} the same, {differing} different")
    return differing


def main() -> None:
    """The command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    commands = parser.add_subparsers(dest="what", required=True)
    recording = commands.add_parser("record")
    recording.add_argument("out", type=Path)
    recording.add_argument("--cases", default="cases")
    recording.add_argument("--takes", type=Path, required=True)
    recording.add_argument("--told", default="all")
    recording.add_argument("--cmd", default="strumclock")
    recording.add_argument("--only", default="")
    comparing = commands.add_parser("compare")
    comparing.add_argument("before", type=Path)
    comparing.add_argument("after", type=Path)
    comparing.add_argument("--tolerance", type=float, default=0.001)
    comparing.add_argument("--show", type=int, default=12)
    given = parser.parse_args()
    if given.what == "compare":
        sys.exit(1 if compare(given.before, given.after, given.tolerance, given.show) else 0)
    wanted = [
        take
        for cases in given.cases.split(",")
        for told in given.told.split(",")
        for take in takes(cases, given.takes / cases, told)
        if given.only in take[0]
    ]
    if not wanted:
        sys.exit(f"no take of {given.cases} lies in {given.takes}; render them with evaluate.py --keep")
    record(given.out, wanted, given.cmd)


if __name__ == "__main__":
    main()
