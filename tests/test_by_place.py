"""Doubtful sounds judged by where they fall in the exercise (`alignment.by_place`), and what is said of them.

Truths: Bayes' rule and Student's t by scipy; synthesised takes whose every strum is known.
"""

from __future__ import annotations

import math
from dataclasses import replace

import jsonschema
import numpy as np
import pytest
import scipy.stats

import strumclock as sc
from strumclock.alignment import align, by_place, judged_by_place, played_anyway
from strumclock.alignment.by_place import AT_CLICK, BETWEEN, EMPTY, EXTRA, FILLED, IN_TIME, MEANT
from strumclock.grid import Exercise
from strumclock.onsets import Doubtful, Ignored, Strums, find_strums
from strumclock.onsets.doubtful import LEAST_P, Opinion, pooled
from strumclock.onsets.finding import LEAST_GAP_S
from strumclock.onsets.strums import TAIL_S
from strumclock.report import load_schema
from strumclock.report.schema import to_dict
from strumclock.synthesis import Player, Scene, synthesise

EXERCISE = Exercise(bpm=90, meter="4/4", per_beat=2, bars=6, pattern="DUDUDUDU")
SCATTER_S = 0.010


def _strums(left_out: list[int], *doubtful: Doubtful, extra_s: float | None = None, extra_p: float = 0.7) -> Strums:
    """Strums at the places of the exercise, from 2 s, some left out, perhaps one between two places."""
    rng = np.random.default_rng(1)
    place_s = 2.0 + np.arange(48) / 3
    time_s = np.delete(place_s + SCATTER_S * rng.standard_normal(48), left_out)
    p = np.ones(len(time_s))
    if extra_s is not None:
        at = int(np.searchsorted(time_s, extra_s))
        time_s, p = np.insert(time_s, at, extra_s), np.insert(p, at, extra_p)
    known = Strums.of(time_s, u_s=0.001)
    return replace(known, p=p, doubtful=doubtful)


def _place(slot: int) -> float:
    return 2.0 + slot / 3


def _sound(time_s: float, p: float, u_s: float = 0.001) -> Doubtful:
    return Doubtful(time_s=time_s, u_s=u_s, strength_db=-10.0, p=p)


def _judged(strums: Strums, *, clicks_s: list[float] | None = None) -> Strums:
    clicks = None if clicks_s is None else np.array(clicks_s)
    return judged_by_place(strums, align(strums, EXERCISE, first_downbeat_s=2.0), clicks_s=clicks)


def test_a_sound_at_an_empty_place_has_the_odds_of_bayes_rule() -> None:
    """Prior odds times the density of strums over that of other sounds, with scipy's Student t of 4 degrees."""
    sound = _sound(_place(17) + 0.004, 0.45)
    strums = _strums([17, 30], sound)
    found = align(strums, EXERCISE, first_downbeat_s=2.0)
    judged = judged_by_place(strums, found)
    i = int(np.argmin(np.abs(judged.time_s - sound.time_s)))
    player = by_place._player(strums, found)
    assert player is not None
    assert player.filled == (46 + FILLED) / (48 + FILLED + EMPTY)
    scale_s = math.hypot(player.scatter_s, sound.u_s)
    density = scipy.stats.t(4).pdf((sound.time_s - player.slot_s[17]) / scale_s) / scale_s
    strum = player.filled * density / (45 / (strums.time_s[-1] - strums.time_s[0]))
    odds = 0.45 / 0.55 * strum / (1 - IN_TIME + IN_TIME * strum)
    assert judged.p[i] == pytest.approx(odds / (1 + odds), abs=1e-9)
    assert (len(judged), judged.doubtful) == (47, ())


@pytest.mark.parametrize(
    ("time_s", "p", "clicks_s"),
    [
        (_place(17) + 0.080, 0.45, None),  # eight standard deviations from its place
        (_place(17), 0.10, None),  # hardly anything
        (_place(17), 0.45, [_place(17)]),  # what is left of a click
        (_place(18) - 0.100, 0.45, None),  # beside a place that is not empty
    ],
)
def test_what_is_no_strum_is_not_taken_for_one(time_s: float, p: float, clicks_s: list[float] | None) -> None:
    """A slot without a strum stays omitted unless a likely sound lies at it, away from clicks: Bayes' rule again."""
    strums = _strums([17], _sound(time_s, p))
    assert _judged(strums, clicks_s=clicks_s) is strums


def test_a_click_needs_more_than_a_place() -> None:
    """At a click other sounds are AT_CLICK times as dense as strums, so p of 2/3 is the border of one half."""
    border = AT_CLICK / (1 + AT_CLICK)
    for p, n in ((border - 0.02, 47), (border + 0.02, 48)):
        assert len(_judged(_strums([17], _sound(_place(17), p)), clicks_s=[_place(17)])) == n


def test_an_unlikely_strum_between_the_places_is_ignored_with_its_reason() -> None:
    """Strums between the places are as rare as this take's: odds times the Beta posterior's mean share."""
    between_s = _place(20) + 1 / 6
    strums = _strums([], extra_s=between_s)
    judged = _judged(strums)
    odds = 0.7 / 0.3 * EXTRA / (48 + EXTRA + MEANT)
    assert len(judged) == 48
    assert judged.ignored == (Ignored(time_s=between_s, reason=BETWEEN, p=pytest.approx(odds / (1 + odds))),)


def test_a_sure_strum_between_the_places_stays_added() -> None:
    """Where the exercise was told wrongly, the strums between its places must be seen."""
    strums = _strums([], extra_s=_place(20) + 1 / 6, extra_p=0.95)
    assert _judged(strums) is strums


def test_nothing_is_judged_where_the_pattern_was_not_told() -> None:
    """An inferred pattern counts no omissions (DESIGN.md), and so fills none."""
    strums = _strums([17], _sound(_place(17), 0.6), extra_s=_place(20) + 1 / 6)
    found = align(strums, replace(EXERCISE, pattern=None, per_beat=None, bars=None), first_downbeat_s=2.0)
    assert "pattern" in found.inferred
    assert judged_by_place(strums, found) is strums
    assert played_anyway(strums, found) is None


def test_nothing_is_judged_by_a_few_strums() -> None:
    """Too few strums do not show how their player scatters."""
    strums = _strums([3, *range(11, 48)], _sound(_place(3), 0.6))
    found = align(strums, replace(EXERCISE, bars=1), first_downbeat_s=2.0)
    assert judged_by_place(strums, found) is strums


def test_omitted_slots_say_how_likely_something_was_played() -> None:
    """0 where nothing was heard near it, else the likeliest sound's own probability there."""
    strums = _strums([10, 17], _sound(_place(17), 0.2))
    found = align(strums, EXERCISE, first_downbeat_s=2.0)
    played = played_anyway(strums, found)
    assert played is not None
    assert found.omitted.tolist() == [10, 17]
    assert played[0] == 0.0
    assert 0.2 < played[1] < 0.5


def test_a_sound_that_was_ignored_is_a_strums_own_once_it_is_taken() -> None:
    """What rises within a strum's tail belongs to it (`onsets.strums`)."""
    sound = _sound(_place(17), 0.6)
    near, far = (Ignored(time_s=sound.time_s + s, reason="soft") for s in (0.01, TAIL_S + 0.01))
    strums = replace(_strums([17], sound), ignored=(near, far))
    assert _judged(strums).ignored == (far,)


def test_two_opinions_of_one_sound_are_averaged_in_log_odds() -> None:
    """ln(.8/.2) = 1.386 and ln(.5/.5) = 0: their mean is that of 2/3; a sound not worth a look counts as said."""
    first = Opinion(time_s=np.array([1.0, 2.0, 3.0]), u_s=np.full(3, 0.01), p=np.array([0.5, 0.8, 0.0]))
    second = Opinion(time_s=np.array([3.001, 1.005]), u_s=np.full(2, 0.002), p=np.array([0.9, 0.8]))
    both = pooled(first, second, unheard_p=0.2)
    assert both.time_s.tolist() == [1.005, 2.0, 3.0, 3.001]
    assert both.p.tolist() == pytest.approx([2 / 3, 0.5, 0.0, 0.9])


def _quiet_up_strokes() -> tuple[sc.Recording, list[float]]:
    """Down-strokes and up-strokes, each played by a player of their own, the up-strokes 16 dB softer."""
    quiet = Scene(click_db=None, ride_db=0.0)
    down = synthesise(replace(EXERCISE, pattern="D.D.D.D."), Player(), quiet, seed=5)
    up = synthesise(replace(EXERCISE, pattern=".U.U.U.U"), Player(), quiet, seed=6)
    n = min(len(down.samples), len(up.samples))
    samples = down.samples[:n] + 10 ** (-16 / 20) * up.samples[:n]
    return sc.from_array(samples, down.sample_rate_hz), sorted([*down.truth.strum_s, *up.truth.strum_s])


def test_soft_strums_at_their_places_are_found() -> None:
    """Strokes 16 dB softer, known times: the take finds more of them than the detector does alone, and adds none."""
    recording, strum_s = _quiet_up_strokes()
    alone = sc.measure(recording, EXERCISE, free=True, click="none")
    take = sc.measure(recording, EXERCISE, click="none")
    missed, left = (
        sum(min(abs(strum.time_s - t) for strum in found.strums) > 0.05 for t in strum_s) for found in (alone, take)
    )
    assert left <= missed - 4
    assert all(min(abs(strum.time_s - t) for t in strum_s) < 0.05 for strum in take.strums)


def test_what_is_doubtful_lies_away_from_the_strums_and_has_probabilities() -> None:
    """Of the same soft strokes, in the file's seconds: none nearer to a strum than two strings of one can be."""
    recording, _ = _quiet_up_strokes()
    strums = find_strums(recording.mono(), recording.sample_rate_hz, start_s=5.0)
    assert strums.doubtful
    for sound in strums.doubtful:
        assert np.abs(strums.time_s - sound.time_s).min() > LEAST_GAP_S
        assert LEAST_P <= sound.p < 1
        assert sound.u_s > 0
        assert sound.time_s >= 5.0
    cut = strums.between(6.0, 9.0)
    assert cut.doubtful == tuple(sound for sound in strums.doubtful if 6.0 <= sound.time_s < 9.0)


@pytest.mark.parametrize("seed", [1, 2])
def test_strings_stopped_in_time_leave_their_slots_omitted(seed: int) -> None:
    """A third of the strums left out and the strings stopped there instead, in 20 ms: a player who leaves strums out
    is told so, and that each slot was likely empty; truth is the synthesiser's."""
    take = synthesise(EXERCISE, Player(miss=0.33), Scene(click_db=None, noise_db=-40.0), seed=seed)
    truth, samples = take.truth, take.samples.copy()
    rate = take.sample_rate_hz
    for slot in truth.omitted:
        at_s = float(truth.slot_s[slot])
        until_s = min((t for t in truth.strum_s if t > at_s), default=take.duration_s) - 0.02
        a, b = round(at_s * rate), round(until_s * rate)
        if b > a:
            samples[a:b] *= np.maximum(1 - np.arange(b - a) / (0.02 * rate), 0.01).astype(np.float32)
    found = sc.measure(sc.from_array(samples, rate), EXERCISE, click="none")
    empty = {omitted.slot: omitted.p for omitted in found.omitted}
    assert len(truth.omitted) > 10
    assert set(truth.omitted.tolist()) <= set(empty)
    assert all(p is not None and p > 0.5 for p in empty.values())


def test_omitted_slots_and_ignored_sounds_have_probabilities_in_the_json() -> None:
    """The schema shipped names them, and a document of an older version, without them, is one of /2 too."""
    recording, _ = _quiet_up_strokes()
    document = to_dict(sc.measure(recording, replace(EXERCISE, bars=7), click="none"))
    assert document["omitted"]
    for row in (*document["omitted"], *document["ignored"]):
        assert row["p"] is None or 0 <= row["p"] <= 1
    jsonschema.validate(document, load_schema())
    for row in (*document["omitted"], *document["ignored"]):
        del row["p"]
    jsonschema.validate(document, load_schema())
