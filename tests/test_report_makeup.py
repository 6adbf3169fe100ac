"""Words and tables on what the timing is made of: changes, pitch, correction; open strings; two takes."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import Any

import pytest
from report_takes import estimate, free_take, take

from strumclock import report
from strumclock.chords import Change, Changes, CostliestPair
from strumclock.correction import Correction
from strumclock.errors import Absent, Notice
from strumclock.pipeline.comparison import Comparison, Difference
from strumclock.report import makeup
from strumclock.stroke.values import Accent, Heard, Side, Stroke, UpAgainstDown
from strumclock.timing import Estimate
from strumclock.tuning import OpenString, OpenStrings, Tuning


def changes(*, late: Estimate | None, pair: CostliestPair | None = None, lost: int = 0, n: int = 6) -> Changes:
    one: dict[str, Any] = {"from_chord": "A", "to_chord": "D", "confidence": None, "gap_s": 0.6, "pause_ms": 5.0}
    return Changes(
        source="told",
        changes=tuple(Change(time_s=2.0 + 2.4 * i, late_ms=12.0, lost=lost if i == 0 else 0, **one) for i in range(n)),
        seconds_per_change=estimate(2.4, 0.1),
        changes_per_minute=estimate(25.0, 1.0),
        lateness_ms=late,
        costliest=pair,
        click_bpm_one_bar=100.0,
    )


def test_late_changes_are_told_with_their_reach_and_the_latest_pair() -> None:
    """Truth: the figures given."""
    pair = CostliestPair(from_chord="A", to_chord="D", n=3, late_ms=estimate(41.0, 9.0))
    said = makeup.changes(replace(take(), changes=changes(late=estimate(30.2, 6.0), pair=pair, lost=2)))
    assert said == (
        "6 chord changes, 25 a minute; strums at changes come 30 ms later than the others, give or take 6 ms; "
        "of the pairs played often enough to tell, A to D (3 times) is latest: 41 ms later, give or take 9 ms; "
        "2 strums left out around them."
    )


def test_changes_whose_interval_holds_zero_are_not_called_late() -> None:
    """Truth: 3 ± 6 ms holds zero."""
    said = makeup.changes(replace(take(), changes=changes(late=estimate(3.0, 6.0))))
    assert "not clearly later or earlier" in said
    assert "anything from 3.0 ms earlier to 9.0 ms later would fit" in said


def test_changes_without_a_click_are_told_as_the_click_that_equals_them() -> None:
    """Truth: 25 changes a minute are a change every four beats at 100 bpm."""
    said = makeup.changes(replace(free_take(), changes=changes(late=None)))
    assert said == (
        "6 chord changes, 25 a minute; a click of 100 bpm with a change every four beats asks for the same."
    )


def test_a_costly_pair_is_told_among_the_details() -> None:
    """Truth: the pair that was given, with its interval."""
    pair = CostliestPair(from_chord="A", to_chord="D", n=3, late_ms=estimate(41.0, 9.0))
    late = replace(take(bars=14), changes=changes(late=estimate(30.0, 6.0), pair=pair))
    assert (
        "A to D (3 times) is latest: 41 ms later"
        in {line.topic: line.text for line in report.details(late)}["Chord changes"]
    )


@pytest.mark.parametrize(
    ("cents", "said"),
    [
        (
            estimate(-31.0, 4.0),
            "The guitar sounds 31 cents below equal temperament at A = 440 Hz, give or take 4 cents.",
        ),
        (
            estimate(1.0, 4.0),
            "The guitar's pitch does not clearly differ from equal temperament at A = 440 Hz: anything",
        ),
    ],
)
def test_pitch_is_reported_and_not_judged(cents: Estimate, said: str) -> None:
    """Truth: the interval given; a capo moves whole semitones, which cannot be told."""
    told = makeup.tuning(replace(take(), tuning=Tuning(cents=cents, a4_hz=440.0, n_strums=40)))
    assert told.startswith(said)
    assert "capo" in told


def test_how_errors_are_corrected_is_in_the_table_and_the_picture() -> None:
    """Truth: the share that was given; 13 neighbours a pair of bars in D.DU.UDU."""
    told = Correction(
        n=40,
        runs=14,
        corrected_share=estimate(0.4, 0.2, u=0.02),
        clock_ms=None,
        hand_ms=None,
    )
    m = replace(take(bars=4), correction=told)
    said = "Of each error the next strum corrects about 40 % (20 to 60 %)."
    assert said in report.table(m, width=200)
    assert said in report.page(m)
    over = replace(m, correction=replace(told, corrected_share=estimate(1.4, 0.3)))
    assert "makes up for 140 % of it (110 to 170 %)" in report.table(over, width=200)
    figure = report.plot_take(m, everything=True)
    ax = next(ax for ax in figure.axes if ax.get_title(loc="left") == "Each error and the next")
    slots = [s.slot for s in m.strums if s.slot is not None]
    pairs = sum(b - a == 1 for a, b in pairwise(slots))
    assert len(next(line for line in ax.lines if line.get_marker() == "o").get_xdata()) == pairs


def test_open_strings_are_a_table_with_what_is_worth_saying() -> None:
    """Truth: the figures given."""
    string = OpenString(string="E2", frequency_hz=82.12, cents=estimate(-6.0, 1.0), relative_cents=-12.0, n_plucks=1)
    strings = OpenStrings(
        strings=(string,),
        missing=("B3", "E4"),
        a4_hz=440.0,
        spread_cents=None,
        warnings=(Notice(code="tuning-spread", message="G3 stands 12 cents above E2"),),
    )
    said = report.tuning_table(strings)
    assert "E2" in said
    assert "−6.0" in said
    assert "−7.0 to −5.0" in said
    assert "G3 stands 12 cents above E2." in said
    assert "Not heard: B3 and E4." in said


def test_a_difference_is_called_one_only_where_it_is_larger_than_its_uncertainty() -> None:
    """Truth: the comparison's own flag; B before A is negative."""
    rows = (
        Difference(
            figure="mean_offset_ms",
            a=estimate(12, 3),
            b=estimate(2, 3),
            b_minus_a=estimate(-10, 4.2),
            shown=True,
        ),
        Difference(figure="jitter_ms", a=estimate(12, 3), b=estimate(11, 3), b_minus_a=estimate(-1, 4.2), shown=False),
    )
    result = Comparison(
        path_a="a.wav",
        path_b="b.wav",
        bpm_a=100.0,
        bpm_b=100.0,
        same_exercise=True,
        differences=rows,
        n_places=48,
        apart_ms=estimate(-10.0, 4.0),
        spread_ms=estimate(14.0, 3.0),
        leads="B",
    )
    said = report.comparison(result)
    offset, jitter = (line for line in said.splitlines() if line.lstrip().startswith(("Mean offset", "Jitter")))
    assert "−10.0 ms" in offset
    assert offset.endswith(" these two differ")
    assert "does not say that it stays so" in said
    assert jitter.endswith("no clear difference")
    assert "B leads by 10 ms over the 48 places that both played, give or take 4 ms." in said
    unclear = report.comparison(replace(result, leads=None, apart_ms=estimate(-1.0, 4.0)))
    assert "Neither leads clearly" in unclear
    assert "from 5.0 ms before A to 3.0 ms after A" in unclear


def test_two_tempos_are_said_and_not_averaged() -> None:
    """Truth: the comparison's own reason."""
    result = Comparison(
        path_a="a.wav",
        path_b=None,
        bpm_a=100.0,
        bpm_b=84.0,
        same_exercise=False,
        absent={"differences": Absent(code="two-tempos", reason="the tempos differ: 100 and 84 bpm")},
    )
    said = report.comparison(result)
    assert said.splitlines() == ["A: a.wav, 100 bpm", "B: array, 84 bpm", "The tempos differ: 100 and 84 bpm."]


def strokes(offset: Estimate | None, level: Estimate | None, *, unsure: int = 4) -> Stroke:
    one: dict[str, Any] = {"jitter_ms": None, "level_db": None, "spread_ms": None}
    return Stroke(
        n=60,
        spread_ms=estimate(22.0, 3.0),
        heard=Heard(n_down=30, n_up=26, n_unsure=unsure, right=0.97, agrees=0.95),
        up_against_down=UpAgainstDown(
            source="told", down=Side(n=30, **one), up=Side(n=30, **one), offset_ms=offset, level_db=level
        ),
        evenness_db=estimate(1.9, 0.3),
        accents=tuple(Accent(beat=b, part=1, n=15, level_db=estimate(1.5 - b, 0.5)) for b in (1, 2, 3, 4)),
        attack_db=None,
        attack_sd_db=None,
        by_strum=(),
    )


def test_the_stroke_is_told_with_how_sure_its_directions_are() -> None:
    """Truth: the figures given."""
    said = makeup.stroke(replace(take(), stroke=strokes(estimate(13.0, 3.0), estimate(-1.7, 0.6))))
    assert said == (
        "A strum takes 22 ms from the first string to the last, give or take 3 ms; by the sound 30 down and 26 up, "
        "97 % of these likely right and 95 % as the pattern has them; 4 cannot be told; "
        "up-strokes are 13 ms later (give or take 3 ms) and 1.7 dB quieter (give or take 0.6 dB) than down-strokes; "
        "loudness varies by 1.9 dB, give or take 0.3 dB."
    )


def test_up_strokes_differ_only_where_the_interval_excludes_zero() -> None:
    """Truth: 1 ± 3 ms and 0.1 ± 0.6 dB hold zero."""
    alike = makeup.stroke(replace(take(), stroke=strokes(estimate(1.0, 3.0), estimate(0.1, 0.6), unsure=0)))
    assert "up- and down-strokes do not clearly differ in time or loudness" in alike
    assert "cannot be told" not in alike
    half = makeup.stroke(replace(take(), stroke=strokes(estimate(1.0, 3.0), estimate(-1.7, 0.6))))
    assert "up-strokes are 1.7 dB quieter (give or take 0.6 dB) than down-strokes" in half
    assert "later" not in half


def test_loudness_has_a_panel_by_place() -> None:
    """Truth: four beats, each 1 dB below the one before."""
    figure = report.plot_take(replace(take(), stroke=strokes(None, None)), everything=True)
    ax = next(ax for ax in figure.axes if ax.get_title(loc="left") == "Loudness by place")
    marks = [float(line.get_ydata()[0]) for line in ax.lines if line.get_marker() == "o"]
    assert marks == [0.5, -0.5, -1.5, -2.5]
    assert [label.get_text() for label in ax.get_xticklabels()] == ["1", "2", "3", "4"]
