"""How values show themselves: short at a prompt, on one screen in a notebook, as tables, as a bar to hear."""

from __future__ import annotations

import base64
import io
import re
import subprocess
import sys
from dataclasses import replace
from datetime import date
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, strategies as st
from support import REFERENCE_AUDIO

import strumclock as sc
from strumclock.errors import Absent, Notice, OutputError, UsageError
from strumclock.pipeline.figures import FIGURES, find
from strumclock.report.notebook import MOST_LINES, MOST_ROWS, html
from strumclock.showing import MOST, brief

EXERCISE = sc.Exercise(bpm=72, meter="4/4", per_beat=1, chords=("G", "C", "D", "C"), beats_per_change=4)


@pytest.fixture(scope="module")
def take() -> sc.Measurement:
    """A reference take, whose click is in the recording."""
    return sc.measure(REFERENCE_AUDIO / "late_changes.flac", EXERCISE)


class _Shape(HTMLParser):
    """The tags of a piece of HTML, and whether each that opens is closed in its order."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.seen: list[str] = []
        self.text = ""
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note a tag that opens."""
        self.seen.append(tag)
        if tag not in ("br", "img"):
            self.open.append(tag)
        del attrs

    def handle_endtag(self, tag: str) -> None:
        """Note a tag that closes: it must be the last that opened."""
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        """Keep what is read."""
        self.text += data


def _shape(value: object) -> _Shape:
    text = value._repr_html_()  # type: ignore[attr-defined]
    assert text is not None
    shape = _Shape(text)
    assert shape.open == [], "every tag is closed"
    return shape


def test_the_repr_of_a_take_is_at_most_a_thousand_characters(take: sc.Measurement) -> None:
    """The issue's number, also of a take with a long path, many notices and a standard with a long name."""
    held = take.held
    assert held is not None
    many = tuple(Notice(code=f"a-long-code-{i}", message="a sentence " * 20) for i in range(200))
    standard = replace(held.standard, name="ü" * 5000)
    worst = replace(
        take, take=replace(take.take, path="/far" * 2000), warnings=many, held=replace(held, standard=standard)
    )
    for one in (take, worst):
        assert len(repr(one)) <= MOST == 1000
        assert "\n" not in repr(one)
    assert "late_changes.flac: 32 strums in 32.7 s" in repr(take)


def test_the_reprs_of_all_that_is_shown_are_short(take: sc.Measurement) -> None:
    """Of values with arrays of any length, the same bound; a path of control characters writes none."""
    n = 20_000
    long = sc.Strums(time_s=np.arange(n), u_s=np.ones(n), strength_db=np.ones(n), p=np.ones(n), bias_u_s=0.0)
    grid = sc.build_grid(EXERCISE, bars=5000)
    recording = sc.load(REFERENCE_AUDIO / "late_changes.flac")
    for value in (long, grid, recording, take.timing, take.held, take.verdict, take.exercise):
        assert len(repr(value)) <= MOST, type(value)
    assert "time_s=<20000: 0 … 19999>" in repr(long)
    escaped = repr(replace(take, take=replace(take.take, path="a\x1b[31m.wav")))
    assert "\x1b" not in escaped


def test_an_exercise_shows_what_would_make_it_again() -> None:
    """Python's own rule for a repr: evaluated, it is the value; fields that were not told are left out."""
    text = repr(EXERCISE)
    assert eval(text, {"Exercise": sc.Exercise}) == EXERCISE
    assert "pattern" not in text


def test_an_estimate_shows_what_its_uncertainty_lets_it() -> None:
    """JCGM 100:2008 (GUM) 7.2.6: two figures of u, and the value to the same place."""
    assert repr(sc.Estimate(value=12.34567, low=8.0, high=20, u=0.0234)) == (
        "Estimate(value=12.346, low=8.000, high=20.000, u=0.023)"
    )
    assert repr(sc.Estimate(value=123.4, low=100.0, high=150, u=12.0)) == "Estimate(value=123, low=100, high=150, u=12)"
    with pytest.raises(UsageError, match="finite numbers"):
        sc.Estimate(value=1.0, low=0.0, high=2.0, u=float("nan"))


@given(st.recursive(
    st.none() | st.integers() | st.floats() | st.text(max_size=300),
    lambda inner: st.lists(inner).map(tuple) | st.dictionaries(st.text(max_size=9), inner),
), st.integers(40, 200))  # fmt: skip
def test_brief_is_bounded_whatever_comes(value: object, most: int) -> None:
    """Of any nested value: never longer than asked for."""
    assert len(brief(value, most)) <= most


def test_a_take_shows_its_verdict_its_picture_and_its_figures(take: sc.Measurement) -> None:
    """Against the summary's own sentences and the table's figures, in well-formed HTML that holds its picture."""
    shape = _shape(take)
    assert shape.seen.count("img") == 1
    first = sc.summary(take, width=10_000).splitlines()[1].split(None, 1)[1]
    assert first.split(":")[0] in shape.text
    assert take.timing is not None
    jitter = take.timing.jitter_ms
    assert jitter is not None
    assert f"{jitter.value:.1f} ms" in shape.text
    assert shape.seen.count("tr") <= MOST_LINES + 5
    picture = re.search(r"data:image/png;base64,([^\"']+)", take._repr_html_() or "")
    assert picture is not None
    from matplotlib.image import imread

    pixels = imread(io.BytesIO(base64.b64decode(picture[1])), format="png")
    assert pixels.shape[:2] == (420, 1200)
    assert "width: 800px" in (take._repr_html_() or ""), (
        "280 pixels high: low enough to leave room on a screen for the words"
    )
    assert pixels[..., :3].std() > 0.05


def test_a_take_with_many_notes_still_fits_a_screen(take: sc.Measurement) -> None:
    """Forty notes of a page each: nine lines of words at most, each of two lines of a screen, and it is said."""
    many = tuple(Notice(code=f"c{i}", message=f"note {i} " * 200) for i in range(40))
    shape = _shape(replace(take, warnings=many))
    assert shape.seen.count("tr") <= MOST_LINES + 5
    assert len(shape.text) < 3000
    assert "more lines" in shape.text


def test_what_comes_from_files_is_escaped(take: sc.Measurement) -> None:
    """A name that is a tag stays a name (OWASP's rule for HTML contexts)."""
    bad = "<img src=x onerror=alert(1)>"
    shape = _shape(replace(take, exercise=replace(take.exercise, name=bad)))
    assert shape.seen.count("img") == 1
    assert "onerror" in shape.text
    assert _shape(sc.Exercise(name=bad)).seen.count("img") == 0


def test_what_is_absent_is_said_with_its_reason(take: sc.Measurement) -> None:
    """A figure that is not known has a dash, and its reason below, never a zero."""
    timing = take.timing
    assert timing is not None
    why = {"timing.mean_offset_ms": Absent(code="no-click", reason="no click was heard")}
    text = _shape(replace(timing, mean_offset_ms=None, absent=why)).text
    assert "no click was heard" in text
    assert "Mean offset–" in text


def test_comparison_strings_and_batch_are_short_and_shown(take: sc.Measurement, tmp_path: Path) -> None:
    """Two takes beside each other in the table's own words; a batch with a thousand failures on one line."""
    from strumclock.batch.report import Failure
    from strumclock.report import comparison

    both = sc.compare(take, take)
    assert len(repr(both)) <= MOST
    assert _shape(both).text == comparison(both)
    failures = tuple(Failure(path=f"take {i}.wav", error="no audio" * 20) for i in range(1000))
    report = sc.BatchReport(folder=str(tmp_path), found=1000, measured=0, unchanged=0, failed=failures)
    assert len(repr(report)) <= MOST
    assert "failed=<1000 × Failure>" in repr(report)
    time_s = np.arange(2 * 22050) / 22050
    pluck = np.exp(-2 * time_s) * np.sin(2 * np.pi * 110.5 * np.outer(np.arange(1, 6), time_s)).sum(axis=0) / 10
    strings = sc.open_strings(sc.from_array(np.concatenate([np.zeros(11025), pluck]), 22050))
    assert len(repr(strings)) <= MOST
    assert "A2" in _shape(strings).text


def test_values_without_a_view_fall_back_to_their_line() -> None:
    """IPython's rule: None from `_repr_html_` means that there is none."""
    assert html(object()) is None
    assert sc.build_grid(EXERCISE, bars=1)._repr_html_() is None


def test_showing_loads_nothing_before_a_value_is_shown() -> None:
    """In a fresh process: an exercise is made without the report; shown, it is in words."""
    code = (
        "import sys, strumclock as sc\ne = sc.Exercise(bpm=80)\nassert 'strumclock.report' not in sys.modules\n"
        "assert '80 bpm' in e._repr_html_()"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def test_the_table_of_strums_is_the_strums(take: sc.Measurement) -> None:
    """Row for row and field for field; the figures can be worked out from it."""
    frame = take.to_frame()
    assert len(frame) == len(take.strums)
    for column in frame:
        assert frame[column].tolist() == [getattr(strum, column) for strum in take.strums]
    assert np.allclose(1e3 * (frame.time_s - frame.grid_s), frame.offset_ms, rtol=0, atol=1e-6)
    kinds = {str(kind) for kind in frame[["slot", "bar", "beat", "part", "of"]].dtypes}
    assert kinds == {"Int64"}, "whole numbers that may be missing"
    assert {str(kind) for kind in frame[["time_s", "u_ms", "grid_s", "offset_ms"]].dtypes} == {"float64"}
    assert {str(kind) for kind in frame[["at_change", "left_click", "measured"]].dtypes} == {"bool"}
    assert take.timing is not None
    assert take.timing.mean_offset_ms is not None
    assert frame.offset_ms.mean() == pytest.approx(take.timing.mean_offset_ms.value, abs=1e-9)


def test_the_row_of_a_take_is_its_figures(take: sc.Measurement) -> None:
    """Against the registry of figures, value, ends and u; what is absent is missing and named."""
    row = take.to_row()
    assert len(row) == 1
    assert row.loc[0, ["bpm", "n_in_slots", "n_omitted"]].tolist() == [72, 32, 0]
    for figure in FIGURES:
        if "*" in figure.path or figure.column is None:
            continue
        estimate = next(find(take, figure)).estimate
        assert estimate is not None
        name = figure.column
        shown = row.loc[0, [name, f"{name}_low", f"{name}_high", f"{name}_u"]].tolist()
        assert shown == [estimate.value, estimate.low, estimate.high, estimate.u]
    assert row.loc[0, ["median_offset_ms", "stroke_spread_ms", "grid_bpm_heard"]].notna().all()
    assert not [name for name in row if name.startswith("timing")]
    assert np.isnan(row.loc[0, "tuning_cents"])
    assert "tuning: not-asked" in row.loc[0, "absent"]


def test_rows_of_unlike_takes_stack(take: sc.Measurement) -> None:
    """pandas' concat gives one kind of column for all, without a warning, also where a take knows almost nothing."""
    import pandas as pd

    bare = sc.Measurement(take=take.take, exercise=sc.Exercise())
    table = pd.concat([bare.to_row(), take.to_row()], ignore_index=True)
    assert table.dtypes.equals(take.to_row().dtypes)
    assert table.held.tolist()[1] is False
    assert table.n_added.isna().tolist() == [True, False], "without a grid nobody can say what was added"
    assert table.n_added[1] == 0
    assert bare.to_frame().empty


def test_the_csv_of_the_strums_reads_back(take: sc.Measurement, tmp_path: Path) -> None:
    """By pandas' own reader, to a microsecond."""
    import pandas as pd

    read = pd.read_csv(io.StringIO(sc.to_csv(take)))
    assert np.allclose(read.time_s, [s.time_s for s in take.strums], rtol=0, atol=1e-6)
    written = sc.write_csv(take, tmp_path / "strums.csv")
    assert written.read_text(encoding="utf-8") == sc.to_csv(take)


def test_the_csv_never_replaces_the_take(tmp_path: Path) -> None:
    """The house's rule: no output overwrites a recording that is read."""
    copy = tmp_path / "take.flac"
    copy.write_bytes((REFERENCE_AUDIO / "late_changes.flac").read_bytes())
    before = copy.read_bytes()
    with pytest.raises(OutputError):
        sc.write_csv(sc.measure(copy, EXERCISE), copy)
    assert copy.read_bytes() == before


def test_a_bar_is_heard_from_half_a_beat_before(take: sc.Measurement) -> None:
    """Arithmetic: bar 3 of 4/4 at 72 bpm begins 8 beats after the first downbeat, lasts 4, sounds as in the file."""
    sound = sc.hear_bar(take, 3)
    beat_s = 60 / 72
    assert take.grid is not None
    assert sound.start_s == pytest.approx(take.grid.first_downbeat_s + 7.5 * beat_s, abs=2e-3)
    assert len(sound.samples) / sound.sample_rate_hz == pytest.approx(4.5 * beat_s, abs=2e-3)
    whole = sc.load(REFERENCE_AUDIO / "late_changes.flac")
    first = round(sound.start_s * whole.sample_rate_hz)
    cut = whole.mono()[first : first + len(sound.samples)]
    assert np.corrcoef(cut, sound.samples)[0, 1] > 0.9999
    assert 'aria-label="bar 3"' in (sound._repr_html_() or "")


def test_a_bar_with_ticks_has_a_tone_at_each_place(take: sc.Measurement) -> None:
    """The right channel is silent but for 30 ms from each of the bar's four grid lines and the next bar's none."""
    sound = sc.hear_bar(take, 3, ticks=True)
    time_s = sound.start_s + np.arange(len(sound.samples)) / sound.sample_rate_hz
    lines = [s.grid_s for s in take.strums if s.bar == 3]
    assert len(lines) == 4
    near = np.any([(time_s >= line - 1e-3) & (time_s < line + 0.031) for line in lines], axis=0)
    assert np.abs(sound.samples[~near, 1]).max() == 0
    assert all(np.abs(sound.samples[(time_s >= line) & (time_s < line + 0.03), 1]).max() > 0.1 for line in lines)


def test_a_bar_that_is_not_there_is_one_clear_line(take: sc.Measurement) -> None:
    """The range is told; so is what an array needs."""
    with pytest.raises(UsageError, match=r"bar .*from 1 to 8, but 99 came"):
        sc.hear_bar(take, 99)
    with pytest.raises(UsageError, match="pass recording="):
        sc.hear_bar(replace(take, take=replace(take.take, path=None)), 3)


def test_a_journal_shows_its_students(tmp_path: Path) -> None:
    """Who was written down, in order of name, at most a screen of them and the rest counted."""
    journal = sc.Journal(tmp_path)
    for i in range(MOST_ROWS + 3):
        journal.note(f"Student {i:02d}", "came by", on=date(2026, 11, 28))
    shape = _shape(journal)
    assert shape.seen.count("tr") == MOST_ROWS + 1
    assert "Student 00" in shape.text
    assert "and 3 more" in shape.text
    assert [row.takes for row in journal.overview()] == [0] * (MOST_ROWS + 3)


def test_a_students_weeks_fit_a_screen(tmp_path: Path) -> None:
    """Thirty weeks of one exercise: the last twelve are shown, the others are counted and stand in the table."""
    from datetime import timedelta

    page = tmp_path / "page.csv"
    rows = [f"{date(2026, 1, 7) + timedelta(weeks=i)},two chords,{60 + i},yes,Ines" for i in range(30)]
    page.write_text("\n".join(["date,exercise,tempo,held,student", *rows]), encoding="utf-8")
    journal = sc.Journal(tmp_path)
    assert journal.import_csv(page).problems == ()
    weeks = sc.progress(journal, "Ines", today=date(2026, 11, 28))
    shape = _shape(weeks)
    assert shape.seen.count("tr") == MOST_ROWS + 1
    assert "the 18 weeks before" in shape.text
    assert "Ines: 30 takes" in shape.text
    assert len(weeks.to_frame()) == 30
    assert len(repr(weeks)) <= MOST
    assert len(repr(weeks.exercises[0])) <= MOST
