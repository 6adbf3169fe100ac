"""The command: learn a detector from a folder of sounds and write its file, with all that it was made from."""

from __future__ import annotations

import argparse
import importlib.metadata
import json
import os
import platform
import sys
import tempfile
import time
from dataclasses import fields, replace
from pathlib import Path

import numpy as np

from strumclock.errors import StrumclockError, UsageError
from strumclock.learning import examples, scenes
from strumclock.learning.calibration import calibrated, kept_takes, reached_by
from strumclock.learning.sounds import Sounds, divided, read_sounds, sha256_of
from strumclock.onsets import Calibration, Detector
from strumclock.onsets.network import Weights

JUDGED_SEED = 10_000_000  # seeds of takes that are judged begin here, of those that calibrate one step further
PACKAGES = ("numpy", "scipy", "torch", "pyroomacoustics", "av", "soxr", "soundfile")


def parsed(words: list[str] | None) -> argparse.Namespace:
    """The command's options."""
    a = argparse.ArgumentParser(prog="python -m strumclock.learning", description=__doc__)
    a.add_argument("sounds", type=Path, help="folder with guitars/, rooms/, noises/, speech/, clicks/")
    a.add_argument("--out", type=Path, default=Path("detector.npz"))
    a.add_argument("--takes", type=int, default=1000, help="simulated takes to learn from")
    a.add_argument("--judged", type=int, default=150, help="takes of sounds kept out, to calibrate and to judge, each")
    a.add_argument("--epochs", type=float, default=10)
    a.add_argument("--seed", type=int, default=1)
    a.add_argument("--keep-out", nargs="*", default=[], help="how names of sounds begin that are only judged with")
    a.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    a.add_argument("--device", default="cpu", help="cpu or cuda")
    a.add_argument("--batch", type=int, default=512)
    a.add_argument("--rate", type=float, default=2.5e-3)
    a.add_argument("--name", default="network", help="of the weights in --folder: several networks, the same examples")
    a.add_argument("--begin", type=int, default=1, help="seed of the network's first weights")
    a.add_argument("--channels", type=int, nargs=5, default=[20, 48, 16, 48, 32], help="fine wide joined seen doubt")
    a.add_argument(
        "--second", help="name of a network in --folder, learned before, that is asked where this one doubts"
    )
    a.add_argument("--set", nargs="*", default=[], metavar="NAME=VALUE", help="numbers of the calibration set by hand")
    a.add_argument("--most-render-s", type=float, default=float("inf"), help="take as many as are ready by then")
    a.add_argument("--most-train-s", type=float, default=float("inf"))
    a.add_argument("--until", choices=("rendered", "taught"), help="stop there (with --folder)")
    a.add_argument("--folder", type=Path, help="keep examples and weights here and use those that are there")
    return a.parse_args(words)


def main(words: list[str] | None = None) -> int:
    """Learn; 0 when the file is written."""
    a = parsed(words)
    try:
        make(a)
    except StrumclockError as e:
        print(e, file=sys.stderr)
        return 2
    return 0


def make(a: argparse.Namespace) -> None:
    """Scenes, features, training, calibration, and the file."""
    started = time.monotonic()
    by_hand(a.set)  # an error in it is better known before an hour of work
    sounds = read_sounds(a.sounds)
    folder = a.folder or Path(tempfile.mkdtemp(prefix="strumclock-learning-"))
    second = None if a.second is None else _network(folder / f"{a.second}.npz")  # not there: known before the work too
    learned = taught(a, sounds, folder, started)
    if a.until or learned is None:
        return
    weights, about = learned
    _, theirs = divided(sounds, tuple(a.keep_out))
    first = 1_000_000 * a.seed + 2 * JUDGED_SEED
    takes = kept_takes(range(first, first + 2 * a.judged), theirs, folder / "takes", a.workers)
    calibration = calibrated(weights, takes[: a.judged], a.workers, second and second[0], by_hand(a.set))
    detector = Detector(weights=weights, calibration=calibration, provenance={}, second=second and second[0])
    reached = reached_by(detector, takes[a.judged :], a.workers)
    say(f"calibrated after {time.monotonic() - started:.0f} s: {calibration} {reached}")
    provenance = about | {
        "set_by_hand": by_hand(a.set),
        "on_sounds_kept_out": reached,
        "second": second and second[1],
    }
    replace(detector, provenance=provenance).save(a.out)
    say(f"{a.out} written after {time.monotonic() - started:.0f} s")


def taught(
    a: argparse.Namespace, sounds: Sounds, folder: Path, started: float
) -> tuple[Weights, dict[str, object]] | None:
    """The network's weights and what they were learned from: as an earlier call left them in the folder, or anew; none
    if only examples are rendered."""
    from strumclock.learning.model import Channels, to_weights
    from strumclock.learning.training import judged, learn

    path = folder / f"{a.name}.npz"
    if path.exists():
        return _network(path)
    ours, theirs = divided(sounds, tuple(a.keep_out))
    first = 1_000_000 * a.seed
    data = examples.kept(folder / "learned.npz", range(first, first + a.takes), ours, a.workers, a.most_render_s)
    first += JUDGED_SEED
    held = examples.kept(folder / "judged.npz", range(first, first + a.judged), theirs, a.workers)
    rendered_s = time.monotonic() - started
    say(f"{len(data)} candidates of {len(set(data.take))} takes after {rendered_s:.0f} s")
    if a.until == "rendered":
        return None
    p = learn(
        data,
        seed=a.begin,
        epochs=a.epochs,
        most_s=a.most_train_s,
        device=a.device,
        batch=a.batch,
        rate=a.rate,
        channels=Channels(**dict(zip(Channels.__slots__, a.channels, strict=True))),
    )
    seen = {"learned": judged(p, examples.some(data, 20_000), a.device), "kept_out": judged(p, held, a.device)}
    say(f"trained after {time.monotonic() - started:.0f} s: {seen}")
    weights = to_weights(p)
    about: dict[str, object] = {
        "command": {k: str(v) for k, v in vars(a).items() if k not in ("folder", "out", "sounds", "second", "until")},
        "packages": {name: importlib.metadata.version(name) for name in PACKAGES},
        "python": platform.python_version(),
        "takes": len(set(data.take)),
        "candidates": len(data),
        "seconds_a_take": scenes.SECONDS,
        "took_s": {"rendering": round(rendered_s), "all": round(time.monotonic() - started)},
        "network_on_candidates": seen,
        "kept_out": sorted(
            str(path.relative_to(a.sounds))
            for part in ("guitars", "rooms", "speech", "noises", "clicks")
            for path in getattr(theirs, part)
            if path not in getattr(ours, part)
        ),
        "sha256": sha256_of(sounds, a.sounds),
    }
    np.savez(path, about=np.array(json.dumps(about)), **weights.arrays())  # type: ignore[arg-type]
    return weights, about


def _network(path: Path) -> tuple[Weights, dict[str, object]]:
    """Weights, and what they were learned from, that an earlier call left."""
    try:
        with np.load(path) as z:
            return Weights.from_arrays({k: z[k] for k in z.files if k != "about"}), json.loads(str(z["about"]))
    except OSError as e:
        raise UsageError(f"--second needs a network that an earlier call left in --folder; {path} is none") from e


def by_hand(words: list[str]) -> dict[str, float]:
    """Numbers of the calibration, from words NAME=VALUE."""
    known, told = {f.name for f in fields(Calibration)}, {}
    for word in words:
        name, _, value = word.partition("=")
        try:
            told[name] = float(value)
        except ValueError:
            name = ""
        if name not in known:
            raise UsageError(f"--set needs NAME=VALUE with a name of {', '.join(sorted(known))}; got {word!r}")
    return told


def say(text: str) -> None:
    """To whoever waits."""
    print(text, file=sys.stderr, flush=True)


if __name__ == "__main__":
    sys.exit(main())
