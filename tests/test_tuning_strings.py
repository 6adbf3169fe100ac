"""Open strings one by one, against frequencies known by construction."""

from __future__ import annotations

import json
from collections.abc import Sequence

import numpy as np
import pytest

from strumclock.audio import Recording, from_array
from strumclock.errors import RecordingError, UsageError
from strumclock.grid import Exercise
from strumclock.report import tuning_table
from strumclock.synthesis import NYLON, STEEL, Guitar, Player, Scene, note, synthesise
from strumclock.synthesis.strings import LEAD, RATE_HZ
from strumclock.tuning import OPEN_STRINGS, OpenStrings, open_strings
from strumclock.tuning.plucks import fit_stiff_string

CENTS = (-18.0, 7.0, -3.0, 12.0, -9.0, 4.0)
NAMES = tuple(OPEN_STRINGS)


def plucked(
    cents: Sequence[float] = CENTS,
    *,
    guitar: Guitar = STEEL,
    order: Sequence[int] = range(6),
    gap_s: float = 1.6,
    ringing: bool = False,
    capo: int = 0,
    noise_db: float = -60.0,
    phone: bool = False,
    level: float = 0.5,
    a4_hz: float = 440.0,
) -> Recording:
    """Single strings of the synthesiser, whose fundamentals stand at their places to a part in a million."""
    rng = np.random.default_rng(1)
    n = int((len(order) * gap_s + 2.5) * RATE_HZ)
    out, at = np.zeros(n), 0.7
    for string in order:
        pitch = OPEN_STRINGS[NAMES[string]] + capo + cents[string] / 100 + 12 * np.log2(a4_hz / 440)
        x = np.array(note(guitar, string, pitch, 0.6), dtype=np.float64)
        x = x[: int((3.4 if ringing else 0.85 * gap_s) * RATE_HZ)]
        x[-2000:] *= np.linspace(1, 0, 2000)
        start = int(at * RATE_HZ) - LEAD
        end = min(n, start + len(x))
        out[start:end] += x[: end - start]
        at += gap_s * rng.uniform(0.9, 1.1)
    out *= level / np.abs(out).max()
    out += level * 10 ** (noise_db / 20) * rng.standard_normal(n)
    if phone:  # a phone's band: little below 130 Hz and above 8 kHz
        spectrum, hz = np.fft.rfft(out), np.fft.rfftfreq(n, 1 / RATE_HZ)
        out = np.fft.irfft(spectrum * (1j * hz / 130 / (1 + 1j * hz / 130)) ** 2 / (1 + 1j * hz / 8000), n)
    return from_array(out.astype(np.float32), RATE_HZ)


def errors_cents(found: OpenStrings, cents: Sequence[float] = CENTS) -> list[float]:
    return [row.cents.value - cents[NAMES.index(row.string)] for row in found.strings]


def test_open_strings_stand_at_their_published_frequencies() -> None:
    """Truth: FACTS D, arithmetic of equal temperament at A4 = 440 Hz (ISO 16:1975)."""
    published = {"E2": 82.4069, "A2": 110.0, "D3": 146.8324, "G3": 195.9977, "B3": 246.9417, "E4": 329.6276}
    for name, hz in published.items():
        assert abs(440 * 2 ** ((OPEN_STRINGS[name] - 69) / 12) - hz) < 5e-5
    found = open_strings(plucked((0.0,) * 6))
    for row in found.strings:
        assert abs(1200 * np.log2(row.frequency_hz / published[row.string])) < 2
    assert found.warnings == ()
    assert found.missing == ()


@pytest.mark.parametrize(
    "how",
    [
        {},
        {"guitar": NYLON},
        {"order": (5, 4, 3, 2, 1, 0)},
        {"order": (2, 0, 5, 1, 4, 3), "ringing": True},
        {"phone": True, "noise_db": -40.0},
        {"guitar": NYLON, "phone": True, "noise_db": -40.0, "ringing": True},
        {"level": 0.005},
        {"a4_hz": 432.0},
    ],
    ids=["steel", "nylon", "high first", "any order, ringing on", "phone", "nylon, phone, ringing", "quiet", "A = 432"],
)
def test_detuned_strings_are_told_within_two_cents(how: dict[str, object]) -> None:
    """Truth: the synthesiser's detuning of each string."""
    found = open_strings(plucked(**how), a4_hz=float(str(how.get("a4_hz", 440.0))))  # type: ignore[arg-type]
    assert [row.string for row in found.strings] == list(NAMES)
    assert found.moved_semitones == 0
    assert np.max(np.abs(errors_cents(found))) < 2
    for row, cents in zip(found.strings, CENTS, strict=True):
        assert row.cents.low - 1 < cents < row.cents.high + 1
        assert abs(row.relative_cents - (cents - np.mean(CENTS))) < 2


def test_each_string_plucked_twice_counts_two_plucks() -> None:
    """Truth: strings damped between plucks, each played twice."""
    found = open_strings(plucked(order=[s for s in range(6) for _ in range(2)], gap_s=1.0))
    assert np.max(np.abs(errors_cents(found))) < 2
    assert sum(row.n_plucks for row in found.strings) >= 10


def test_strings_left_out_are_named() -> None:
    """Truth: A and B were not played."""
    found = open_strings(plucked(order=(0, 2, 3, 5)))
    assert found.missing == ("A2", "B3")
    assert np.max(np.abs(errors_cents(found))) < 2
    assert "Not heard: A2 and B3." in tuning_table(found)


@pytest.mark.parametrize(("semitones", "word"), [(2, "capo"), (5, "capo"), (-1, "lower"), (-2, "lower")])
def test_a_capo_or_a_lower_tuning_is_told_apart_from_the_cents(semitones: int, word: str) -> None:
    """Truth: all strings moved by whole semitones, the cents as before."""
    found = open_strings(plucked(capo=semitones))
    assert found.moved_semitones == semitones
    assert np.max(np.abs(errors_cents(found))) < 2
    moved = [notice for notice in found.warnings if notice.code == "moved"]
    assert len(moved) == 1
    assert word in moved[0].message


@pytest.mark.parametrize(
    ("sharp", "codes"),
    [(8.0, []), (14.0, ["tuning-spread"]), (30.0, ["out-of-tune"])],
)
def test_notice_from_10_cents_between_strings_and_warning_from_20(sharp: float, codes: list[str]) -> None:
    """Truth: one string so many cents above the others; thresholds are common practice, no source."""
    found = open_strings(plucked((0.0, 0.0, sharp, 0.0, 0.0, 0.0)))
    assert [notice.code for notice in found.warnings] == codes
    assert found.spread_cents is not None
    assert abs(found.spread_cents.value - sharp) < 2


def test_a_strummed_take_is_refused() -> None:
    """Truth: chords, not single strings."""
    take = synthesise(
        Exercise(bpm=80, bars=4, chords=("E", "G"), beats_per_change=4), Player(), Scene(click_db=None), 1
    )
    with pytest.raises(RecordingError, match="one by one"):
        open_strings(from_array(take.samples, take.sample_rate_hz))


def test_no_string_is_refused() -> None:
    """Truth: noise alone."""
    x = 0.1 * np.random.default_rng(1).standard_normal(5 * RATE_HZ)
    with pytest.raises(RecordingError, match="one by one"):
        open_strings(from_array(x.astype(np.float32), RATE_HZ))


@pytest.mark.parametrize("a4_hz", [0.0, 44.0, float("nan")])
def test_a_reference_that_is_no_pitch_is_refused(a4_hz: float) -> None:
    """Truth: the range stated in the message."""
    with pytest.raises(UsageError, match="380 and 500"):
        open_strings(plucked(order=(0,)), a4_hz=a4_hz)


def test_stiffness_does_not_sharpen_the_pitch_against_theory() -> None:
    """Truth: f_n = n f_0 sqrt(1 + B n²) (Fletcher & Rossing, from memory), f_1 = 110 Hz."""
    n = np.arange(1, 7)
    for b in (0.0, 1e-4, 5e-4):
        hz = 110 * n * np.sqrt((1 + b * n**2) / (1 + b))
        fitted = fit_stiff_string(hz, 1 / n, 110.5)
        assert fitted is not None
        assert abs(1200 * np.log2(fitted / 110)) < 0.01
    assert fit_stiff_string(np.array([177.0]), np.array([1.0]), 110.0) is None


def test_the_json_has_its_schema_and_plain_values() -> None:
    """Truth: the names that the documentation gives."""
    document = json.loads(json.dumps(open_strings(plucked()).to_dict()))
    assert document["schema"] == "strumclock.tuning/1"
    assert {"strings", "missing", "a4_hz", "moved_semitones", "spread_cents", "warnings"} <= set(document)
    assert set(document["strings"][0]["cents"]) == {"value", "low", "high", "u"}
