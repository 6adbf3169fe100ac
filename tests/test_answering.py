"""What students are answered: true of what was played, never the same twice running, short, plain and kind."""

from __future__ import annotations

import itertools
import random
import re
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from types import SimpleNamespace
from typing import cast

import pytest
from answering_term import (
    BARS,
    CLASS,
    LATE_LESS,
    LEARNERS,
    MONDAY,
    TAKES_A_WEEK,
    UNEVEN_LESS,
    Learner,
    evening,
    exercise,
    play_week,
)
from test_report_language import LETTERS, pseudo

from strumclock.grid import build_grid
from strumclock.journal import Answer, Assignment, Journal, PastTake
from strumclock.report.answer_words import LONGEST, in_words
from strumclock.report.language import ENGLISH, language_of, languages
from strumclock.report.statement_words import _WAYS, ways_of
from strumclock.report.task_words import _TASKS
from strumclock.verdict import Where
from strumclock.weeks.answering import HEARD, RECORDING, SIDED, _obstacle_and_task, replies
from strumclock.weeks.hindrances import Hindrance, of_the_week
from strumclock.weeks.record import DOUBTS
from strumclock.weeks.statements import Reply, Statement

TODAY = date(2026, 11, 28)
TWO_CHORDS = {"name": "Two chords", "chords": "A D", "meter": "4/4", "per_beat": 2}
SCOLDING = re.compile(
    r"\b(bad|poor|fail\w*|mistake\w*|sloppy|terrible|should|must|lazy|unfortunately|disappoint\w*|only \d)\b",
    re.I,
)
STATISTICS = re.compile(
    r"\b(jitter|offset|deviation|interval|the mean|average|median|standard|per cent|ms|bpm|None|nan)\b|%|\d\.\d"
)
KINDS = ("changes", "place", "drift", "step", "placement", "scatter", "omitted", "added", "stopped", "own-tempo")
WHERES = {
    "changes": (Where(), Where(to_chord="Gm7"), Where(from_chord="C♯m7", to_chord="F♯m7")),
    "place": (Where(beat=4), *(Where(part=part) for part in (1, 2, 3, 4))),
    "step": (Where(), Where(bars=(12,))),
}


def statements() -> list[Statement]:
    """Every statement there is, in every place."""
    found = [
        Statement(code=code, where=where, bpm=bpm, n=n, day=TODAY, exercise="Two chords")
        for code in _WAYS
        for where in (
            Where(beat=2, bars=(7,)),
            Where(beat=2, from_chord="A", to_chord="D"),
            Where(beat=2, to_chord="D"),
        )
        for bpm in (72.0, 97.5, None)
        for n in (1, 2, 5)
    ]
    for kind in KINDS:
        for side, where in itertools.product(
            ("-late", "-early") if kind in SIDED else ("",), WHERES.get(kind, (Where(),))
        ):
            found.append(Statement(code=f"obstacle-{kind}{side}", where=where, per_beat=4))
    for code, bpm, rises, subdivide in itertools.product(_TASKS, (72.0, None), (True, False), (True, False)):
        for where in WHERES["step"]:
            found.append(Statement(code=f"task-{code}", where=where, bpm=bpm, rises=rises, subdivide=subdivide))
    return found


# the words -----------------------------------------------------------------------------------------------------------


def test_every_statement_has_at_least_two_ways_in_every_language() -> None:
    """Else the same sentence would have to be sent twice running."""
    for statement, code in itertools.product(statements(), languages()):
        ways = ways_of(statement, language_of(code))
        assert len(set(ways)) == len(ways) >= 2, (statement, ways)


def test_no_word_of_an_answer_escapes_the_catalogue() -> None:
    """Against a language whose every letter is a wide one; what stays narrow are chords and the exercise's name."""
    wide = pseudo()
    for statement in statements():
        for said in ways_of(statement, wide):
            told = re.sub(r"Two chords|C♯m7|F♯m7|Gm7|\b[AD]\b", "", said)
            assert not LETTERS.search(told), said


def test_every_doubt_about_a_measurement_has_its_way_to_record_again() -> None:
    """Against the list of doubts: none leaves a student without a sentence."""
    doubts = {*DOUBTS, "no click heard", "too little to judge", "could not be measured"}
    assert {f"record-{doubt.replace(' ', '-')}" for doubt in doubts} <= set(_WAYS)


def reading_ease(text: str) -> float:
    """Reading ease: 206.835 - 1.015 words a sentence - 84.6 syllables a word (Flesch 1948, J. Appl. Psychol. 32, 221).

    Sentences end at ``. ! ? : ;``; a syllable is a group of vowels, a silent last e none.
    """
    parts = [part for part in re.split(r"[.!?:;]+", text) if re.search(r"\w", part)]
    said = re.findall(r"[a-z']+", text.lower())
    return 206.835 - 1.015 * len(said) / len(parts) - 84.6 * sum(map(_syllables, said)) / len(said)


def _syllables(word: str) -> int:
    bare = re.sub(r"(?<=[^aeiouyl])e$|(?<=[^aeiouytd])ed$", "", word)
    return max(len(re.findall(r"[aeiouy]+", bare)), 1)


def test_the_count_of_syllables_is_that_of_a_dictionary() -> None:
    """Against syllables as dictionaries part these words."""
    known = {"recording": 3, "strum": 1, "pattern": 2, "evenly": 3, "chord": 1, "change": 1, "little": 2, "played": 1}
    assert {word: _syllables(word) for word in known} == known


def test_every_sentence_reads_easily() -> None:
    """Against Flesch (1948): 60 and above is plain English, 80 is easy; all sentences together are easy."""
    said = {way for statement in statements() for way in ways_of(statement, ENGLISH)}
    bare = {re.sub(r"[A-Z]?♯?m7|“[^”]*”|\d+(\.\d)?", "five", way) for way in said}
    hard = {way: round(ease) for way in bare if (ease := reading_ease(way)) < 60}
    assert hard == {}
    assert reading_ease(" ".join(sorted(bare))) >= 80


def test_no_sentence_scolds_or_has_statistics() -> None:
    """Read aloud; no verdict on the person, no figure but tempi, bars, beats and numbers of recordings."""
    for statement in statements():
        for way in ways_of(statement, ENGLISH):
            assert not SCOLDING.search(way), way
            assert not STATISTICS.search(way.replace("97.5", "97")), way
            assert way[0].isupper() or way[0].isdigit(), way
            assert way.endswith((".", "!")), way
            assert not re.search(r"[.!?] ", way), way  # one sentence


@pytest.mark.parametrize("code", languages())
def test_answers_of_any_state_are_short_and_repeat_nothing(code: str) -> None:
    """Three thousand answers to students in random states, one after the other: at most 300 characters, at most three
    sentences and the greeting, no way of saying a thing twice running."""
    dice = random.Random(5)
    every, tongue = statements(), language_of(code)
    good = [s for s in every if not s.code.startswith(("obstacle-", "task-", "record-"))]
    things = [s for s in every if s.code.startswith("obstacle-")]
    tasks = [s for s in every if s.code.startswith("task-")]
    for _ in range(150):
        before: list[Answer] = []
        name = dice.choice(("Ines", "Aurelia-Konstanze", "Bo", ""))
        usual = (dice.choice(good), dice.choice(things), dice.choice(tasks))
        for week in range(20):
            chosen = usual if dice.random() < 0.6 else (dice.choice(good), dice.choice(things), dice.choice(tasks))
            day = TODAY + timedelta(weeks=week)
            told = in_words(Reply(student=name, statements=chosen, heard=week), before, language=tongue, today=day)
            assert len(told.text) <= LONGEST
            assert told.text.endswith((".", "!"))
            last = set(before[-1].said) if before else set()
            assert not last & set(told.said), (before, told)
            if before:
                spoken = set(re.split(r"(?<=[.!]) ", told.text)) & set(re.split(r"(?<=[.!]) ", before[-1].text))
                assert spoken <= {f"Hi {name}!", f"Hallo {name}!"}
            before.append(replace(told, sent_on=day))


# what is said, against what was played --------------------------------------------------------------------------------


def truth_of(learner: Learner, week: int) -> dict[str, object]:
    """What a learner's takes of a week were made with; the obstacle that a teacher would name."""
    errors = learner.errors(week) or {}
    return {"change_ms": 0.0, "sd_ms": 0.0, "drift_ms_per_min": 0.0, "mean_ms": 0.0, "omit": (), **errors}


def check(said: Statement, learner: Learner, week: int) -> None:
    """One statement against what was played."""
    truth, code = truth_of(learner, week), said.code
    true = {
        "obstacle-changes-late": truth["change_ms"] >= 25,
        "obstacle-drift-early": truth["drift_ms_per_min"] <= -100,
        "obstacle-scatter": truth["sd_ms"] >= 17,
        "obstacle-omitted": bool(truth["omit"]),
        "obstacle-placement-late": truth["mean_ms"] >= 50,
        "better-changes": truth["change_ms"] < truth_of(learner, 0)["change_ms"],
        "better-scatter": truth["sd_ms"] < truth_of(learner, 0)["sd_ms"],
        "better-rising": learner.name in ("Anneke", "Chiara", "Femke"),
        "better-tempo": said.bpm == learner.bpm(week) > learner.bpm(week - 1),
        "held": said.bpm == learner.bpm(week) and 1 <= said.n <= TAKES_A_WEEK,
        "even": truth["sd_ms"] <= 25,
        "every-strum": not truth["omit"],
        "thanks": said.n == TAKES_A_WEEK,
        "silent": learner.errors(week) is None and learner.errors(0) is not None,
        "first": learner.name == "Jelle",
        "short-take": said.bpm is None or said.bpm <= learner.bpm(week),
        "short-take-of": learner.name == "Jelle" and said.bpm == 66,
        "time-left": said.day is not None and said.day >= evening(week),
        "record-no-click-heard": truth.get("anchor") == "fitted",
        "record-clipped": learner.name == "Lotte",
    }
    if code.startswith("task-"):
        assert said.bpm is not None
        assert said.bpm <= learner.bpm(week) + 4
        assert said.rises == (said.bpm > learner.bpm(week) + 0.5)
    else:
        assert true[code], (learner.name, week, said, truth)


def play(folder: Path, weeks: int, learners: tuple[Learner, ...]) -> dict[str, list[tuple[Statement, ...]]]:
    """A term: every week played, answered, checked and sent. What was said, by student and week."""
    journal = Journal(folder)
    due = MONDAY + timedelta(weeks=2)
    journal.assign([Assignment(student="Jelle", exercise=TWO_CHORDS, bpm=66.0, given_on=MONDAY, due_on=due)])
    told: dict[str, list[tuple[Statement, ...]]] = {learner.name: [] for learner in learners}
    for week in range(weeks):
        play_week(journal, week, learners)
        for reply, before in replies(journal, today=evening(week)):
            answer = in_words(reply, before, language=ENGLISH, today=evening(week))
            for statement in reply.statements:
                check(statement, LEARNERS[reply.student], week)
            told[reply.student].append(reply.statements)
            if reply.statements:
                sent = [one for one in before if one.sent_on is not None]
                assert not sent or not set(sent[-1].said) & set(answer.said) - {c for c in answer.said if HEARD in c}
                journal.mark_sent(journal.keep_answer(answer), on=evening(week))
    return told


def obstacle_codes(said: list[tuple[Statement, ...]]) -> list[str]:
    """The obstacle named each week, or nothing."""
    return [next((s.code for s in week if s.code.startswith("obstacle-")), "") for week in said]


def test_three_weeks_of_a_class_are_answered_by_what_was_played(tmp_path: Path) -> None:
    """Against simulated players whose errors are known, timed and judged for real."""
    told = play(tmp_path, 3, CLASS)
    assert obstacle_codes(told["Anneke"]) == ["", "", ""]
    assert obstacle_codes(told["Bram"]) == ["obstacle-changes-late"] * 3
    assert obstacle_codes(told["Dario"]) == ["obstacle-drift-early"] * 3
    assert obstacle_codes(told["Elin"]) == ["obstacle-scatter"] * 3
    assert obstacle_codes(told["Gerrit"]) == ["obstacle-omitted"] * 3
    assert obstacle_codes(told["Hanna"]) == ["obstacle-placement-late"] * 3
    assert [s.code for week in told["Anneke"] for s in week[:1]] == ["held", "better-tempo", "held"]
    for name in ("Kaat", "Lotte"):  # the measurement is unsure: nothing is concluded from it
        assert {s.code.partition("-")[0] for week in told[name] for s in week} == {"thanks", "record"}
    assert [s.code for s in told["Jelle"][0]] == ["first", "short-take-of", "time-left"]


@pytest.mark.slow
def test_a_term_of_a_class_is_answered_by_what_was_played(tmp_path: Path) -> None:
    """The same over ten weeks: who improves is told so, who does not is not."""
    told = play(tmp_path, 10, CLASS)
    codes = {name: {s.code for week in weeks for s in week} for name, weeks in told.items()}
    assert "better-changes" in codes["Chiara"]
    assert "better-scatter" in codes["Femke"]
    assert obstacle_codes(told["Femke"])[0] == "obstacle-scatter"
    assert obstacle_codes(told["Femke"])[-1] == ""
    for name in ("Bram", "Dario", "Elin", "Gerrit", "Hanna", "Ivo", "Jelle", "Kaat", "Lotte"):
        assert not {code for code in codes[name] if code.startswith("better-")}, name
    assert {s.code for week in told["Ivo"][3:] for s in week} == {"silent", "short-take"}
    assert LATE_LESS(9) < LATE_LESS(0)
    assert UNEVEN_LESS(9) < UNEVEN_LESS(0)
    assert len(build_grid(exercise(90.0), bars=BARS).slot_s) > 90


def test_the_obstacle_of_a_week_is_the_one_that_most_takes_show() -> None:
    """By hand: one take's chance finding is none where three others show the changes; a place is told if they agree."""
    late = [
        Hindrance(kind="changes", late=True, where=Where(from_chord=a, to_chord="D"), share=0.3)
        for a in ("A", "A", "E")
    ]
    drift = Hindrance(kind="drift", late=True, where=Where(), share=0.9)
    found = of_the_week([(drift, late[0]), (late[1],), (late[2],)])
    assert found is not None
    assert (found.kind, found.where.from_chord, found.where.to_chord) == ("changes", "A", "D")
    apart = of_the_week([(one,) for one in (late[0], late[2], replace(late[0], where=Where(to_chord="G")))])
    assert apart is not None
    assert apart.where == Where()
    assert of_the_week([(drift,), (), ()]) is None
    assert of_the_week([]) is None


def noted(number: int, *, held: bool | None, source: str) -> PastTake:
    """A take of which only this matters."""
    return cast(PastTake, SimpleNamespace(id=number, held=held, source=source))


@pytest.mark.parametrize(
    ("takes", "codes"),
    [
        ([True, True], ["task-go-on"]),
        ([True, False], ["task-go-on"]),
        ([False, False], ["not-yet", "task-once-more"]),
        ([True, False, False], ["not-yet", "task-once-more"]),
        ([], ["task-go-on"]),
    ],
)
def test_who_did_not_hold_most_takes_is_not_told_to_go_on(takes: list[bool], codes: list[str]) -> None:
    """By the edges: half of the takes held is enough to go on; what takes noted on a page share is not known."""
    following = Statement(code="", bpm=72.0)
    for source, said in ((RECORDING, codes), ("paper", [code for code in codes if code != "not-yet"])):
        sure = [noted(i, held=held, source=source) for i, held in enumerate(takes)]
        assert [one.code for one in _obstacle_and_task(None, following, sure)] == said
