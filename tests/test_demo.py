"""The demonstration runs the whole of the practice record and shows what it set out to show."""

from __future__ import annotations

from datetime import date

import pytest

from strumclock import report
from strumclock.demo import build_demo, plan
from strumclock.errors import UsageError
from strumclock.journal import Journal
from strumclock.report.progress_text import facts
from strumclock.weeks import class_list

TODAY = date(2026, 3, 18)


def test_the_plan_is_the_same_every_time_and_no_recording_is_planned_twice(tmp_path):
    """Seeds are fixed and differ; the last evening was yesterday."""
    takes = list(plan(tmp_path, TODAY))
    assert takes == list(plan(tmp_path, TODAY))
    assert len({take.seed for take in takes}) == len({take.path for take in takes}) == len(takes)
    assert max(take.path.name for take in takes).startswith("2026-03-17")


def test_a_folder_that_holds_something_else_is_refused(tmp_path):
    """Nobody's folder is filled with an invented class by a slip."""
    (tmp_path / "thesis.tex").touch()
    with pytest.raises(UsageError, match="new or empty folder"):
        build_demo(tmp_path)
    assert [p.name for p in tmp_path.iterdir()] == ["thesis.tex"]


@pytest.mark.slow
def test_the_class_shows_a_climber_a_plateau_one_who_pulls_ahead_and_one_with_gaps(tmp_path):
    """By construction (see `strumclock.demo`): what each was made to do is what is said of each, from sound alone."""
    demo = build_demo(tmp_path / "class", today=TODAY)
    assert demo.batch.ok, str(demo.batch)
    said = {p.student: (p.need, p.exercises[0], " ".join(report.in_short(p))) for p in demo.students}
    need, joris, words = said["Joris"]
    assert need == "stuck"
    assert joris.reach is not None
    assert 74 <= joris.reach.now.value <= 79  # he is made to hold 76 and to fail at 79
    assert joris.reach.now.high < 84
    assert abs((joris.reach.since - date(2026, 2, 9)).days) <= 7  # the fifth week
    need, tobias, words = said["Tobias"]
    assert need == "silent"
    assert len(tobias.weeks) == 5
    need, ines, words = said["Ines"]
    assert need == "fine"
    assert (ines.weeks[0].held_bpm, ines.weeks[-1].held_bpm) == (62, 80)  # two faster each week, as even as before
    assert "went from 62 to 80 bpm" in " ".join(facts(ines))
    words = said["Mina"][2]
    assert "pull ahead of the click" in words
    assert all(path.stat().st_size > 100 for path in demo.written)
    again = build_demo(tmp_path / "class", today=TODAY)
    assert (again.takes, again.batch.measured) == (0, 0)
    order = [p.student for p in class_list(Journal(tmp_path / "class"), today=TODAY)]
    assert order == ["Joris", "Mina", "Tobias", "Ines"]
