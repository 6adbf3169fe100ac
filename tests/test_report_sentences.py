"""The words: each sentence is true of its figures, at their edges too, and none scolds."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from report_takes import estimate, free_take, take

from strumclock import report
from strumclock.correction import Correction
from strumclock.errors import Absent, Notice
from strumclock.grid import Exercise
from strumclock.onsets import Ignored
from strumclock.pipeline import measure
from strumclock.pipeline.components import NOT_ASKED
from strumclock.pipeline.measurement import LeftClick, Measurement, Step
from strumclock.report import conclusion, places, timed, words
from strumclock.report.obstacle_words import obstacle_sentence
from strumclock.timing import Estimate, Finding
from strumclock.verdict import Obstacle, Task, Where
from strumclock.verdict.holding import Criterion

PLAIN = take(bars=14)
SCOLDING = re.compile(
    r"\b(bad|poor|wrong|fail\w*|mistake\w*|sloppy|terrible|should have|unfortunately|perfect|great|excellent)\b", re.I
)


def with_timing(m: Measurement = PLAIN, **figures: Any) -> Measurement:
    """The take with some of its timing figures replaced."""
    assert m.timing is not None
    return replace(m, timing=replace(m.timing, **figures))


def text(m: Measurement) -> dict[str, str]:
    """The summary's rows by topic; of several of one topic the first."""
    return {line.topic: line.text for line in reversed(report.lines(m))}


def more(m: Measurement) -> dict[str, str]:
    """What is said with every figure, by topic."""
    return {line.topic: line.text for line in report.details(m)}


# early or late --------------------------------------------------------------------------------------------------------


def test_an_interval_around_zero_is_no_clear_lean() -> None:
    """Truth: −0.4 ± 5 ms excludes neither early nor late; 12 ms and more would be heard at 100 bpm in quarters."""
    m = with_timing(mean_offset_ms=estimate(-0.4, 5.0), audible_ms=5.0)
    said = timed.offset(m)
    assert (
        said
        == "No clear lean early or late: 0.4 ms early as measured; anything from 5.4 ms early to 4.6 ms late would fit."
    )


def test_on_the_click_is_said_only_where_the_whole_interval_is_less_than_ears_can_tell() -> None:
    """Truth: the rule itself: 5.4 against 5.4 and 5.39 ms."""
    at_edge = with_timing(mean_offset_ms=Estimate(value=-0.4, low=-5.4, high=4.6, u=0.5), audible_ms=5.4)
    beyond = with_timing(mean_offset_ms=Estimate(value=-0.4, low=-5.4, high=4.6, u=0.5), audible_ms=5.39)
    assert timed.offset(at_edge).startswith("On the click, as far as ears can tell")
    assert timed.offset(beyond).startswith("No clear lean")


@pytest.mark.parametrize(
    ("mean", "said"),
    [
        (estimate(12.3, 3.9), "On average 12 ms late, give or take 4 ms."),
        (estimate(-12.3, 3.9), "On average 12 ms early, give or take 4 ms."),
        (estimate(12.3, 6.0), "On average 12 ms late, give or take 6 ms: around the limit of what ears can tell."),
        (estimate(3.2, 2.0), "On average 3.2 ms late, give or take 2 ms: less than ears can tell."),
        (estimate(10.4, 10.3), "On average 10 ms late, somewhere from 0.1 to 21 ms: around the limit"),
        (
            Estimate(value=2.0, low=0.1, high=6.0, u=0.1),
            "On average 2.0 ms late, somewhere from 0.1 to 6.0 ms: less than",
        ),
        (Estimate(value=0.02, low=0.01, high=0.03, u=0.0), "On average less than 0.1 ms late"),
    ],
)
def test_a_lean_is_told_with_its_side_its_reach_and_what_ears_can_tell(mean: Estimate, said: str) -> None:
    """Truth: arithmetic on the interval; 7.5 ms is what is heard at this take's strum interval."""
    m = with_timing(mean_offset_ms=mean, audible_ms=7.5)
    assert timed.offset(m).startswith(said)


def test_a_clear_lean_may_be_meant() -> None:
    """Truth: laid-back playing is a choice (Câmara et al. 2020), so it is reported and not scolded."""
    said = timed.offset(with_timing(mean_offset_ms=estimate(22.0, 4.0)))
    assert "can be a choice" in said


@pytest.mark.parametrize("value", [0.06, 0.4, 2.34, 9.94, 9.96, 12.5, 87.4])
@pytest.mark.parametrize("share", [0.1, 0.9, 0.999])
def test_a_rounded_interval_never_reaches_over_zero_where_the_measured_one_does_not(value: float, share: float) -> None:
    """Truth: value ± share · value excludes zero for every share below one."""
    said = words.spread(estimate(value, share * value))
    told = float(re.findall(r"[\d.]+", words.amount(value))[0])
    if said.startswith("give or take"):
        if "less than" in said:
            assert share * value < 0.1
            return
        assert float(re.findall(r"[\d.]+", said)[0]) < told
        assert float(re.findall(r"[\d.]+", said)[0]) >= share * value - 1e-6
    else:
        assert float(re.findall(r"[\d.]+", said)[0]) > 0


# falling behind, pulling ahead ----------------------------------------------------------------------------------------


def drifting(value: float, reach: float, *, named: bool, audible_ms: float = 7.5) -> Measurement:
    drift = estimate(value, reach)
    finding = Finding(kind="drift", where=None, size=drift, p=0.001, shown=True, audible=True)
    return with_timing(drift_ms_per_min=drift, findings=(finding,) if named else (), audible_ms=audible_ms)


def test_behind_and_ahead_are_said_where_timing_names_the_drift() -> None:
    """Truth: positive drift is falling behind (design, signs)."""
    assert timed.pace(drifting(60.0, 9.0, named=True)).startswith("You fell behind the click by 60 ms a minute")
    assert timed.pace(drifting(-60.0, 9.0, named=True)).startswith("You pulled ahead of the click by 60 ms a minute")


def test_a_drift_exactly_at_what_can_be_heard_is_not_called_falling_behind() -> None:
    """Truth: measured by `measure_timing` itself: the whole take's drift must exceed what can be heard."""
    m = take(bars=14, sd_ms=0.4, drift_ms_per_min=40.0)
    assert m.timing is not None
    minutes = (m.strums[-1].time_s - m.strums[0].time_s) / 60
    for slope, expected in ((7.0 / minutes, False), (8.5 / minutes, True)):
        found = take(bars=14, sd_ms=0.4, drift_ms_per_min=slope)
        said = timed.pace(found)
        assert ("You fell behind" in said) is expected, said


@pytest.mark.parametrize(
    ("value", "reach", "said"),
    [
        (
            2.0,
            1.0,
            "A drift behind the click of 2.0 ms a minute, give or take 1 ms: about 1.1 ms over the take, less than",
        ),
        (
            -12.0,
            10.0,
            "A drift ahead of the click of 12 ms a minute, give or take 10 ms: about 6.7 ms over the take, around",
        ),
        (1.0, 4.0, "You kept pace with the click: any drift over the take is less than ears can tell."),
        (
            1.0,
            40.0,
            "No proof of falling behind or pulling ahead: over the take, anything from 22 ms ahead to 23 ms behind",
        ),
    ],
)
def test_a_drift_that_is_not_named_is_told_as_what_it_is(value: float, reach: float, said: str) -> None:
    """Truth: 0.555 minutes from the first strum to the last, 7.5 ms heard."""
    assert timed.pace(drifting(value, reach, named=False)).startswith(said)


def test_without_a_click_the_drift_is_against_the_tempo_told() -> None:
    """Truth: a fitted grid takes its rate from the tempo told (design, anchors)."""
    m = with_timing(take(bars=14, anchor="fitted"), drift_ms_per_min=estimate(1.0, 4.0))
    assert "the tempo told" in timed.pace(m)


# where ----------------------------------------------------------------------------------------------------------------


def test_a_late_beat_is_named_with_its_size() -> None:
    """Truth: a take made with beat 3 late by 30 ms and scatter 7 ms."""
    m = take(bars=20, sd_ms=7, beat_ms={3: 30})
    assert re.fullmatch(
        r"Your strums on beat 3 come (29|3\d) ms later than the others \(give or take \d ms\)\.", more(m)["Where"]
    )
    assert "on beat 3" in text(m)["Do"]
    assert report.headline(m) == "Held at 100 bpm: late on beat 3"


def test_no_place_is_named_in_a_take_without_one() -> None:
    """Truth: a take made without any late place."""
    assert "Where" not in more(PLAIN)


def test_places_are_called_as_musicians_count() -> None:
    """Truth: common practice: 1 &, 1 e & a."""
    assert [places.count_name(2, part, 4) for part in (1, 2, 3, 4)] == ["2", "2 e", "2 &", "2 a"]
    m = take(bars=20, sd_ms=5, part_ms={2: -25})
    assert "“&” of the beats" in more(m)["Where"]
    assert "earlier" in more(m)["Where"]


# played ---------------------------------------------------------------------------------------------------------------


def test_left_out_added_and_ignored_are_counted() -> None:
    """Truth: the take's construction: slots 3 and 9 left out, one strum added, three sounds ignored."""
    ignored = (
        Ignored(time_s=0.5, reason="speech"),
        Ignored(time_s=0.9, reason="speech"),
        Ignored(time_s=1.0, reason="a tap"),
    )
    said = more(take(omit=(3, 9), added_s=(5.11,), ignored=ignored))["Played"]
    assert said == (
        "2 of 48 strums left out (bar 1 beat 3 & and bar 2 beat 3 &); 1 added between. "
        "3 other sounds left aside: speech (2) and a tap (1)."
    )


def test_an_inferred_pattern_counts_no_omissions() -> None:
    """Truth: the design: what was inferred cannot be left out."""
    m = take(inferred=("pattern", "per_beat"))
    assert "Played" not in more(m)
    assert text(m)["Not told"] == "Pattern and parts of the beat: as heard in the recording."


def test_what_was_only_assumed_was_not_found_in_the_recording() -> None:
    """Truth: a meter that no accent marks is assumed, as its notice says, and no pattern was seen."""
    assumed = Notice(code="meter-assumed", message="4/4 is assumed")
    exercise = Exercise(bpm=100, meter="4/4", per_beat=1)
    m = take(inferred=("bpm", "meter", "pattern", "bars"), warnings=(assumed,), exercise=exercise)
    assert text(m)["Not told"] == "Tempo: as heard in the recording."


def test_a_take_with_every_beat_left_out_says_what_to_check() -> None:
    """Truth: none of its strums has a slot."""
    for added, head in (
        ((4.05,), "The one strum fell on none of the places"),
        ((4.05, 6.0), "None of the strums fell on"),
    ):
        m = take(omit_all=True, added_s=added)
        assert more(m)["Played"].startswith(head)
        assert "no strum fell on a place of the pattern" in text(m)["Verdict"]
        assert text(m)["Do"] == "See that tempo, pattern and first downbeat are those that were played."


# the verdict ----------------------------------------------------------------------------------------------------------


def test_a_held_take_says_by_how_much_and_goes_on() -> None:
    """Truth: scatter 8 ms against a tolerance of 35 ms at 100 bpm in eighths; a change every 4 beats is 25 a minute."""
    said = text(PLAIN)
    assert said["Verdict"] == (
        "Held: 100 bpm by the standard “steady”. All strums lie within 35 ms of their average (90 % asked for)."
    )
    assert re.fullmatch(
        r"Next tempo: 104 bpm \(26 chord changes a minute\)\. Stop at any pain or tension\.", said["Next"]
    )
    assert said["Do"] == "Go on: this tempo sits."
    assert "In the way" not in said
    assert len(report.lines(PLAIN)) <= 5


@pytest.mark.parametrize(
    ("m", "way", "do", "head"),
    [
        (
            take(bars=14, change_ms=120),
            r"The first strum of a new chord comes 1\d\d ms late \(\d+ to \d+ ms\), worst in bars [\d, and]+ "
            r"\(0:\d\d\)\. Without this the take would hold\.",
            "Play only the chord changes, back and forth, at 75 bpm",
            "late at chord changes",
        ),
        (
            take(bars=14, drift_ms_per_min=-120),
            r"The strums pull ahead of the click by 1\d\d ms a minute \(\d+ to \d+ ms\)\. Without this .*",
            "Tap the foot with the click",
            "pulling ahead",
        ),
        (
            take(bars=14, beat_ms={3: 90}),
            r"The strums on beat 3 come \d+ ms later \(\d+ to \d+ ms\) than the others, worst in bars .*",
            "Count aloud at 75 bpm and listen only to the strum on beat 3.",
            "late on beat 3",
        ),
        (
            take(bars=14, mean_ms=70),
            r"All strums lie \d+ ms late \(\d+ to \d+ ms\): more than “steady” lets pass, if .*meant\. Without .*",
            "If on the click is where it should be",
            "late as a whole",
        ),
        (
            take(bars=14, sd_ms=45),
            r"The strums are uneven: they scatter by \d+ ms \(\d+ to \d+ ms\), most in bars .* Without this .*",
            "Mute the strings and strum the pattern",
            "uneven strums",
        ),
        (
            take(bars=14, omit=tuple(range(3, 60, 6))),
            r"10 strums of the pattern were left out, most .*in bars? .* Without this the take would hold\.",
            "Keep the strumming hand moving",
            "strums left out",
        ),
        (
            take(bars=14, added_s=tuple(3.1 + 2.4 * i for i in range(11))),
            r"11 strums more than the pattern has, most .* Without this the take would hold\.",
            "Were the added strums meant?",
            "strums added",
        ),
    ],
    ids=["changes", "drift", "beat", "placement", "scatter", "omitted", "added"],
)
def test_what_stands_in_the_way_is_said_with_its_size_its_place_and_what_to_do(
    m: Measurement, way: str, do: str, head: str
) -> None:
    """Truth: one thing wrong with each take, by its construction, and far beyond what is let pass."""
    said = text(m)
    assert said["Verdict"].startswith("Not yet: 100 bpm is not held by the standard “steady”")
    assert re.fullmatch(way, said["In the way"]), said["In the way"]
    assert said["Do"].startswith(do), said["Do"]
    assert report.headline(m) == f"Not yet at 100 bpm: {head}"
    assert re.match(r"Take it down to \d+ bpm|Stay at 100 bpm", said["Next"]), said["Next"]
    assert said["Next"].endswith("Stop at any pain or tension.")


def test_a_short_take_cannot_tell_and_asks_for_a_longer_one() -> None:
    """Truth: 12 of 16 strums and 4.8 of 20 seconds."""
    said = text(take(keep=12))
    assert said["Verdict"].startswith(
        "This take cannot tell whether 100 bpm is held: it has 12 places to strum at and 16 "
    )
    assert said["Do"] == "Record a longer take: 16 strums and 20 seconds at least."
    assert said["Next"].startswith("Stay at 100 bpm.")


def test_what_is_hardly_strums_is_said_to_be() -> None:
    """Truth: the numbers that were put in; a task, and no obstacle."""
    m = take()
    assert m.held is not None
    assert m.verdict is not None
    few = Criterion(code="hardly-strums", found=20, asked=24, margin=None, of=32)
    verdict = replace(m.verdict, state="cannot-tell", obstacles=(), task=Task(code="record-again"))
    said = text(replace(m, held=replace(m.held, held=None, failed=(few,)), verdict=verdict))
    assert said["Verdict"] == (
        "This take cannot tell whether 100 bpm is held: only 20 of the 32 sounds in it are surely strums of a guitar."
    )
    assert "In the way" not in said
    assert said["Do"] == "Record it again with the phone nearer to the guitar, the click sounding in the room."


@pytest.mark.parametrize(
    ("next_bpm", "said"),
    [(95.0, "Take it down to 95 bpm"), (100.0, "Stay at 100 bpm."), (103.0, "Next tempo: 103 bpm")],
)
def test_the_advice_follows_the_next_tempo(next_bpm: float, said: str) -> None:
    """Truth: the comparison with the tempo played."""
    assert PLAIN.held is not None
    m = replace(PLAIN, held=replace(PLAIN.held, next_bpm=next_bpm))
    assert text(m)["Next"].startswith(said)


def test_a_take_that_left_the_click_says_where_to_listen() -> None:
    """Truth: the stretch that was given."""
    m = take(bars=14, left_click=(LeftClick(start_s=12.2, end_s=19.8, played_bpm=96.3),))
    said = text(m)
    assert said["In the way"] == "From 0:12 on the strums keep a tempo of their own, about 96 bpm."
    assert "around 0:12, where strums and click part" in said["Do"]


def test_a_take_that_fails_without_an_obstacle_is_played_once_more() -> None:
    """Truth: the rule: what failed it is told, nothing is shown to stand in the way, so the take may be chance."""
    m = take(bars=14, mean_ms=70)
    assert m.verdict is not None
    m = replace(m, verdict=replace(m.verdict, obstacles=(), task=Task(code="once-more")))
    said = text(m)
    assert re.search(r"on average they lie \d+ ms late and 50 ms are let pass\.$", said["Verdict"])
    assert said["Do"] == "Record it once more: one take does not show whether this is a habit or chance."
    assert said["Next"] == "Stay at 100 bpm. Stop at any pain or tension."
    assert "In the way" not in said
    assert report.message(m) == (
        "Your strums are nicely even. It does not sit yet, but no one thing stands out. Play it a few times more and "
        "listen to the click all the way. Next time keep the click at 100. Stop if anything hurts."
    )


def test_one_strum_left_out_or_added_is_in_one_bar() -> None:
    """Truth: of one there is no most."""
    where = Where(bars=(4,), beat=3, part=1)
    one = Obstacle(
        kind="omitted",
        size=estimate(0.02, 0.01),
        unit="share",
        where=where,
        ratio=None,
        share=None,
        held_without=True,
        n=1,
    )
    said = obstacle_sentence(one, per_beat=1, standard_name="own")
    assert said == "1 strum of the pattern was left out, on beat 3, in bar 4."
    said = obstacle_sentence(replace(one, kind="added"), per_beat=1, standard_name="own")
    assert said == "1 strum more than the pattern has, on beat 3, in bar 4."


# the student's message ------------------------------------------------------------------------------------------------


MESSAGES = {
    "held": (
        PLAIN,
        "You held 100: well played. Go on like this. Next time set the click to 104. Stop if anything hurts.",
    ),
    "short": (take(keep=12), "This recording is too short to tell: please play for a minute. Stop if anything hurts."),
}


@pytest.mark.parametrize("name", MESSAGES)
def test_the_message_to_the_student(name: str) -> None:
    """Truth: read aloud."""
    m, said = MESSAGES[name]
    assert report.message(m) == said


def test_the_message_names_the_student_and_the_one_thing() -> None:
    """Truth: chord changes 120 ms late, everything else even; by name."""
    said = report.message(take(bars=14, change_ms=120), name="Ines")
    assert said.startswith(
        "Hi Ines! You played every strum of the pattern. When you change chords, the new chord comes late."
    )
    assert "never stop your strumming hand" in said


EIGHTHS = Exercise(bpm=100, meter="4/4", per_beat=2, pattern="DU", count_in=1)


def test_off_beats_that_come_later_are_placed_in_the_beat_and_how_to_tell_a_swing() -> None:
    """Truth: off-beats 24 ms later than half-way in a beat of 600 ms, .54 of the way; even or sloppy straight: none."""
    said = more(take(bars=14, part_ms={2: 24.0}, exercise=EIGHTHS))["Swing"]
    assert "lie 0.54 of the way from beat to beat" in said
    assert "--swing 0.54" in said
    assert "Swing" not in more(take(bars=14, exercise=EIGHTHS))
    assert "Swing" not in more(take(bars=14, sd_ms=40, exercise=EIGHTHS))
    assert "Swing" not in more(take(bars=14, part_ms={2: -24.0}, exercise=EIGHTHS))


def test_a_swing_told_or_found_is_reported_as_played() -> None:
    """Truth: strums laid on the swing told, and 12 ms (.02 of the beat) after it."""
    swung = replace(EIGHTHS, swing=0.6)
    assert "0.62 of the way" in (said := more(take(bars=14, part_ms={2: 12.0}, exercise=swung))["Swing"])
    assert said.endswith("0.60 was told.")
    found = more(take(bars=14, exercise=swung, inferred=("swing",)))["Swing"]
    assert "0.60 of the way" in found
    assert "read as a swing. Tell --swing 0.5 if" in found


def test_a_take_wholly_at_a_tempo_of_its_own_blames_no_pattern() -> None:
    """Truth: no strum of the take kept the click; nothing is said of strums that missed their places."""
    left = (LeftClick(start_s=2.0, end_s=30.0, played_bpm=90.0),)
    m = take(omit_all=True, keep=0, added_s=tuple(3.0 + 0.66 * i for i in range(39)), left_click=left)
    assert report.headline(m).endswith(": a tempo of its own")
    assert "Played" not in more(m)
    assert "no strum fell" not in text(m)["Verdict"]
    assert text(m)["Do"].startswith("Listen to the click for two bars")


def test_leaving_the_click_is_told_with_its_place() -> None:
    """Truth: the stretch that was given."""
    m = take(bars=14, left_click=(LeftClick(start_s=12.2, end_s=19.8, played_bpm=96.3),))
    assert more(m)["Left the click"] == "You kept a tempo of your own from 0:12 to 0:20, at about 96 bpm."
    unsure = take(bars=14, left_click=(LeftClick(start_s=12.2, end_s=19.8, played_bpm=140.2, other_bpm=70.1),))
    assert "at about 140 bpm (or 70: tell the parts of the beat" in more(unsure)["Left the click"]
    assert more(m)["Played"].startswith("Beside the stretch that left the click: all ")


def test_strums_beside_the_click_are_not_called_added() -> None:
    """Truth: of two strums without a slot one lies in the stretch that left the click."""
    left = (LeftClick(start_s=5.0, end_s=7.0, played_bpm=96.3),)
    assert "1 added between" in more(take(added_s=(6.13, 9.13), left_click=left))["Played"]
    assert "added" not in more(take(added_s=(6.13,), left_click=left))["Played"]


def test_late_chord_changes_in_the_correcting_are_said_where_they_are_not_known() -> None:
    """Truth: the correction that was given, its changes known or not; with one chord there are none."""
    share = Estimate(value=0.4, low=0.2, high=0.6, u=0.01)
    known = {
        "n": 60, "runs": 1, "corrected_share": share, "clock_ms": None, "hand_ms": None,
    }  # fmt: skip
    said = more(take(correction=Correction(**known, changes_known=False)))["Correcting"]
    assert said.endswith(
        "(20 to 60 %). Late chord changes, if any, were not taken out first and may count among these errors."
    )
    assert more(take(correction=Correction(**known, changes_known=True)))["Correcting"].endswith("(20 to 60 %).")


# what cannot be known -------------------------------------------------------------------------------------------------


def test_headphones_say_what_to_do_next_time() -> None:
    """Truth: the design: offsets are absent with the reason and what to do next time."""
    m = take(bars=14, anchor="fitted")
    assert "On the click" not in more(m)
    assert "next time" in text(m)["Not known"]


@pytest.mark.parametrize("n", [0, 1, 2, 5, 7])
def test_few_strums_give_no_figures_but_reasons(n: int) -> None:
    """Truth: timing gives no figure below 8 strums."""
    m = take(keep=n) if n else take(omit_all=True)
    assert not {"On the click", "Evenness", "Pace", "Where"} & more(m).keys()
    assert "8 strums" in text(m)["Not known"]


def test_what_was_not_asked_for_is_not_missed() -> None:
    """Truth: a figure that nobody asked for is not unknown."""
    m = take(absent={"tuning": NOT_ASKED, "changes": Absent(code="too-few", reason="too few changes")})
    said = more(m)["Not known"]
    assert "tuning" not in said
    assert said == "Chord changes: too few changes."


def test_warnings_are_said_in_words() -> None:
    """Truth: the notice that was given."""
    m = take(warnings=(Notice(code="clipped", message="the loudest strums are clipped"),))
    assert text(m)["Note"] == "The loudest strums are clipped."


def test_only_strums_are_told_without_a_grid() -> None:
    """Truth: nine strums every 0.6 s from 1 s."""
    assert text(free_take())["Strums"].startswith("9 strums, the first at 1.00 s, the last at 5.80 s;")
    assert text(free_take(1))["Strums"].startswith("1 strum, at 1.00 s")
    assert text(free_take(0))["Strums"] == "No strums were found."


EDGES = {
    "plain": PLAIN,
    "late": take(mean_ms=40),
    "uneven": take(sd_ms=60, seed=3),
    "drift": take(bars=14, drift_ms_per_min=-120),
    "gaps": take(omit=tuple(range(0, 40, 3))),
    "one": take(keep=1),
    "none": take(omit_all=True),
    "fitted": take(anchor="fitted"),
    "inferred": take(
        inferred=("bpm", "meter", "per_beat", "pattern", "swing", "count_in", "bars", "chords", "beats_per_change")
    ),
    "everything": take(
        omit=(3,),
        added_s=(5.1,),
        beat_ms={2: 30},
        drift_ms_per_min=90,
        left_click=(LeftClick(start_s=3, end_s=9, played_bpm=88),),
    ),
    "no tempo": replace(take(), exercise=Exercise()),
    "free": free_take(),
}


@pytest.mark.parametrize("name", EDGES)
def test_the_summary_is_short_and_reads_as_sentences(name: str) -> None:
    """Truth: what is promised: few rows, whole sentences, no jargon of the program, no scolding."""
    m = EDGES[name]
    rows = report.lines(m)
    assert len(rows) <= 8
    for row in (*rows, *report.details(m)):
        assert row.text[0].isupper() or row.text[0].isdigit() or row.text[0] == "“", row
        assert row.text.endswith("."), row
        assert "  " not in row.text
        assert ".." not in row.text
        assert not re.search(r"\b(None|nan|inf|slot=|Estimate|timing\.)", row.text), row
        assert not SCOLDING.search(row.text), row
        assert not re.search(r"(?<![\d.])1 (strums|sounds|changes|places)\b", row.text), row
    said = report.summary(m, width=80)
    assert all(len(line) <= 80 for line in said.splitlines())
    assert all(line == line.rstrip() for line in said.splitlines())


@pytest.mark.parametrize("name", EDGES)
def test_the_message_is_short_kind_and_has_two_numbers_at_most(name: str) -> None:
    """Truth: the design: 240 characters, two numbers, words that a twelve-year-old reads."""
    said = report.message(EDGES[name], name="Aurelia-Konstanze")
    assert len(said) <= 240
    assert len(re.findall(r"\d+", said)) <= 2
    assert not SCOLDING.search(said)
    assert not re.search(r"\b(jitter|offset|drift|deviation|interval|None|nan|ms|%)\b", said)


@pytest.mark.parametrize("name", EDGES)
def test_the_table_gives_every_figure_its_interval_or_its_reason(name: str) -> None:
    """Truth: each row has a value with an interval and u, or a dash with a note that stands below."""
    said = report.table(EDGES[name])
    for line in said.splitlines():
        if " – " in f"{line} ":
            number = line.split("note ")[1].split()[0]
            assert f"Note {number}: " in said
    assert "nan" not in said


def test_the_table_shows_the_decimals_that_the_uncertainty_bears() -> None:
    """Truth: a tempo known to 0.001 bpm is told in thousandths, an offset in tenths; ends are rounded outwards."""
    m = with_timing(mean_offset_ms=Estimate(value=5.26, low=-1.41, high=12.03, u=3.4))
    said = report.table(m)
    assert re.search(r"Mean offset +\+5\.3 ms +−1\.5 to \+12\.1 +3\.4", said)
    assert re.search(r"Click heard +100\.000 bpm", said)


def test_all_is_said_only_of_all() -> None:
    """Truth: 419 of 420 is not 100 %."""
    assert words.percent(419 / 420) == "99 %"
    m = take(bars=70, sd_ms=5, outliers={30: 300})
    assert m.timing is not None
    assert "all of them" not in timed.evenness(m)
    assert "99 % of them lie within 35 ms" in timed.evenness(m)


def test_a_beat_that_lies_apart_points_to_chord_changes_only_where_no_chords_were_told():
    """The reference take whose changes are late: its truth says that the chords change on beat 1."""
    sound = Path(__file__).parents[1] / "reference_audio" / "late_changes.flac"
    untold = conclusion.to_do(measure(sound))
    assert "beat 1" in untold
    assert "--chords" in untold
    told = conclusion.to_do(measure(sound, Exercise(bpm=72, chords=("G", "C", "D", "C"), beats_per_change=4)))
    assert "--chords" not in told


def test_a_take_whose_click_steps_is_not_said_to_have_one_tempo():
    """By construction: two steps, of which the second broke; neither title, verdict nor a next tempo says one."""
    m = take()
    first = Step(
        step=1, bpm=70.0, start_s=2.0, bars=(1, 4), n=16, n_omitted=0, mean_offset_ms=None, jitter_ms=None,
        share=estimate(1.0, 0.05), held=True,
    )  # fmt: skip
    second = replace(first, step=2, bpm=80.0, start_s=16.0, bars=(5, 8), share=estimate(0.5, 0.05), held=False)
    stepped = replace(m, steps=(first, second))
    said = {line.topic: line.text for line in report.lines(stepped)}
    assert "70 to 80 bpm in 2 steps" in said["Verdict"]
    assert "100 % at 70 bpm and 50 % at 80 bpm" in said["Steps"]
    assert "It broke at 80 bpm (from bar 5 on)." in said["Steps"]
    assert "Next" not in said
    assert "70 to 80 bpm in 2 steps" in report.headline(stepped)
    assert "Steps" not in {line.topic for line in report.lines(m)}
