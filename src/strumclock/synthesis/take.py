"""A whole synthetic take: an exercise, a player, a scene and a seed in; samples and their exact truth out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from strumclock.arrays import Floats, Samples
from strumclock.errors import UsageError
from strumclock.grid import BeatGrid, Exercise, build_grid
from strumclock.synthesis.player import Player, deviations_ms
from strumclock.synthesis.scene import Scene, clicks, recorded
from strumclock.synthesis.strings import RATE_HZ, STEEL, Guitar
from strumclock.synthesis.strumming import Stroke, play
from strumclock.synthesis.truth import NOT_A_SLOT, Truth

PEAK = 0.7  # of full scale: -3 dB, so that no codec's overshoot clips
DEFAULT_CHORDS = ("A", "D", "E", "D")
_CLOSEST_SHARE = 0.35  # two strums are never nearer than this share of a part: hands take their time
_HARDNESS_SD = 0.12  # from strum to strum; by hand


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Take:
    """A synthetic recording and its truth.

    Attributes
    ----------
    samples : (n,) or (n, 2) float32
        Read-only, peak 0.7.
    sample_rate_hz : int
    truth : Truth
    """

    samples: Samples
    sample_rate_hz: int
    truth: Truth

    @property
    def duration_s(self) -> float:
        """Length [s]."""
        return len(self.samples) / self.sample_rate_hz


def synthesise(
    exercise: Exercise,
    player: Player | None = None,
    scene: Scene | None = None,
    seed: int = 0,
    *,
    guitar: Guitar = STEEL,
    capo: int = 0,
    detune_cents: float | tuple[float, ...] = 0.0,
    grid: BeatGrid | None = None,
) -> Take:
    """Synthesise a take of strummed guitar with a click, every time of it known.

    Parameters
    ----------
    exercise : Exercise
        Needs ``bpm`` and ``bars`` unless `grid` is given.  Chords not told: A D E D.
    player : Player, optional
    scene : Scene, optional
    seed : int
        The same arguments give the same samples.
    guitar : Guitar
        `STEEL` or `NYLON`.
    capo : int
        Fret.
    detune_cents : float or tuple of six
        Of the whole guitar, or of each string, low to high; positive = sharp.
    grid : BeatGrid, optional
        Nominal grid, first played downbeat at 0, instead of the exercise's own: a tempo map, say.

    Returns
    -------
    Take

    Raises
    ------
    UsageError
        If tempo or bars are missing, a chord is unknown, or the tuning is no number or six.

    Examples
    --------
    >>> take = synthesise(Exercise(bpm=120, bars=2, meter="4/4", count_in=1), seed=1)
    >>> len(take.truth.strum_s), len(take.truth.click_s), round(take.duration_s, 1)
    (8, 12, 8.7)
    """
    player, scene = player or Player(), scene or Scene()
    cents = _each_string(detune_cents)
    if grid is None:
        if exercise.bars is None:
            raise UsageError("a take to be synthesised needs a length, but the exercise tells no bars; give bars")
        grid = build_grid(exercise, bars=exercise.bars)
    rng = np.random.default_rng(seed)
    first = grid.click_s[0] if len(grid.click_s) else 0.0
    rate = 1 / (1 + scene.skew_ppm * 1e-6)
    placed = grid.placed((scene.lead_s - first) * rate, rate)
    strum_s, slot, own = _strum_times(placed, player, rng)
    chords = _chord_names(placed, exercise)
    strokes = [
        Stroke(
            sample=round(t * RATE_HZ),
            stroke="U" if not meant else "D" if placed.stroke[i] == "?" else str(placed.stroke[i]),
            chord=chords[i],
            hardness=float(np.clip(player.hardness + _HARDNESS_SD * rng.standard_normal(), 0.0, 1.0)),
            spread_s=player.spread_ms / 1000,
        )
        for t, i, meant in zip(strum_s, slot, own, strict=True)
    ]
    n = int((placed.end_s + scene.tail_s) * RATE_HZ)
    guitar_sound, spread_ms = play(strokes, guitar=guitar, capo=capo, detune_cents=cents, n=n, rng=rng)
    click_s, click_sound = _click_sound(placed, scene, guitar_sound, strokes)
    samples = recorded(guitar_sound, click_sound, scene, rng)
    samples *= np.float32(PEAK / np.abs(samples).max())
    samples.flags.writeable = False
    truth = Truth(
        exercise=exercise,
        strum_s=np.array([s.sample for s in strokes]) / RATE_HZ,
        strum_slot=np.where(own, slot, NOT_A_SLOT),
        stroke=np.array([s.stroke for s in strokes]),
        spread_ms=spread_ms,
        slot_s=placed.slot_s,
        at_change=placed.at_change,
        click_s=click_s,
        first_downbeat_s=float(placed.line_s[0]),
        skew_ppm=scene.skew_ppm,
        seed=seed,
    )
    return Take(samples=samples, sample_rate_hz=RATE_HZ, truth=truth)


def _strum_times(
    grid: BeatGrid, player: Player, rng: np.random.Generator
) -> tuple[Floats, NDArray[np.int64], NDArray[np.bool_]]:
    """Times of the strums, increasing; the slot of each; whether it was meant for it (else added after it)."""
    n = len(grid)
    since_min = (grid.slot_s - grid.slot_s[0]) / 60
    ms = player.offset_ms + deviations_ms(player, n, rng) + player.drift_ms_per_min * since_min
    into = np.ones(n, np.bool_) if not player.late_into else np.isin(grid.chord, player.late_into)
    ms += player.change_late_ms * rng.normal(1.0, 0.25, n) * (grid.at_change & into)
    times = grid.slot_s + ms / 1000
    least = _CLOSEST_SHARE * grid.part_s
    for i in range(1, n):  # a late strum pushes the next one on, as it does in a hand
        times[i] = max(times[i], times[i - 1] + least[i])
    played = rng.random(n) >= player.miss
    played[0] = True  # a take begins with its first strum
    added = (rng.random(n) < player.extra) & played
    space = np.append(np.diff(times), np.inf)
    added &= space > 2 * least
    slot = np.concatenate([np.flatnonzero(played), np.flatnonzero(added)])
    own = np.arange(len(slot)) < played.sum()
    when = np.where(own, times[slot], times[slot] + np.minimum(space, grid.part_s)[slot] / 2)
    order = np.argsort(when, kind="stable")
    return when[order], slot[order], own[order]


def _chord_names(grid: BeatGrid, exercise: Exercise) -> list[str]:
    """The chord under each slot: as told, else one of the default chords for each bar."""
    if exercise.chords is not None and len(grid.chord) and grid.chord[0]:
        return [str(c) for c in grid.chord]
    return [DEFAULT_CHORDS[(int(bar) - 1) % len(DEFAULT_CHORDS)] for bar in grid.bar]


def _click_sound(grid: BeatGrid, scene: Scene, guitar: Samples, strokes: list[Stroke]) -> tuple[Floats, Samples | None]:
    """Times of the clicks that sound, and their track at its level; none where the click is not recorded."""
    if scene.click_db is None:
        return np.zeros(0), None
    beat = np.concatenate([np.arange(len(grid.count_in_s)) % grid.beats_per_bar + 1, grid.line_beat])
    times = grid.click_s
    heard = len(times) if scene.click_bars is None else min(scene.click_bars * grid.beats_per_bar, len(times))
    times, beat = times[:heard], beat[:heard]
    track = clicks(times, beat == 1, scene.click_sound, len(guitar))
    within = int(0.05 * RATE_HZ)
    peaks = [float(np.abs(guitar[s.sample : s.sample + within]).max(initial=0.0)) for s in strokes]
    track *= np.float32(np.median(peaks) * 10 ** (scene.click_db / 20))
    return times, track


def _each_string(cents: float | tuple[float, ...]) -> tuple[float, ...]:
    """The tuning as six deviations in cents."""
    each = (float(cents),) * 6 if isinstance(cents, (int, float)) else tuple(float(c) for c in cents)
    if len(each) != 6 or not all(-1200 <= c <= 1200 for c in each):
        raise UsageError(f"a tuning is one number of cents or six, low string first, but {cents!r} came; correct it")
    return each
