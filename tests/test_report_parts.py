"""A recording of several parts, as it is drawn: a player who left the click, a stepped click, two takes in one file."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from report_takes import take

from strumclock import report
from strumclock.examples import example_session
from strumclock.pipeline import Measurement, measure
from strumclock.pipeline.measurement import LeftClick
from strumclock.pipeline.own_tempo import own_tempo
from strumclock.report import student
from strumclock.report.page_bars import BOTTOM, HEIGHT, MIDDLE, TOP, WIDTH, chart
from strumclock.report.page_parts import drawn_parts
from strumclock.report.part_words import part_lines, several_parts
from strumclock.report.recording_plot import plot_recording

KINDS = ("left the click", "never with the click", "stepped tempo", "two takes", "one strum")


@cache
def session(kind: str) -> Measurement:
    return measure(*example_session(kind))


def marks(ax, shape: str) -> np.ndarray:
    """All marks of a shape, (n, 2)."""
    found = [np.column_stack(line.get_data()) for line in ax.lines if line.get_marker() == shape]
    return np.concatenate([*found, np.empty((0, 2))])


def blank(ax) -> bool:
    """Whether axes show no more than a sentence or their frame."""
    return not ax.axison or not any(len(line.get_xdata()) > 1 or line.get_marker() != "None" for line in ax.lines)


@pytest.mark.parametrize("kind", KINDS)
def test_no_panel_is_blank_and_nothing_is_cut(kind: str) -> None:
    """Axes that show a sentence or nothing would be blank; letters cut by the edge would leave it not white."""
    figure = report.plot_take(session(kind))
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    assert not [ax.get_title(loc="left") for ax in figure.axes if blank(ax)]
    pixels = np.asarray(canvas.buffer_rgba())[..., :3]
    for edge in (pixels[0], pixels[-1], pixels[:, 0], pixels[:, -1]):
        assert np.all(edge == 255)


@pytest.mark.parametrize("kind", KINDS)
def test_no_text_lies_on_another(kind: str) -> None:
    """By the boxes that matplotlib gives its texts, a twentieth of each side allowed for the room around letters."""
    figure = report.plot_take(session(kind))
    FigureCanvasAgg(figure).draw()
    texts = [*figure.texts]
    for ax in figure.axes:
        texts += [
            *ax.texts,
            ax.xaxis.label,
            ax.yaxis.label,
            *ax.get_xticklabels(),
            *ax.get_yticklabels(),
            ax._left_title,
        ]
        texts += ax.get_legend().get_texts() if ax.get_legend() else []
    boxes = [(t.get_text(), t.get_window_extent()) for t in texts if t.get_text().strip() and t.get_visible()]
    boxes = [(text, box) for text, box in boxes if 0 <= box.x0 < figure.bbox.width and box.y0 >= 0]
    for i, (text, box) in enumerate(boxes):
        for other, under in boxes[i + 1 :]:
            wide = min(box.x1, under.x1) - max(box.x0, under.x0)
            high = min(box.y1, under.y1) - max(box.y0, under.y0)
            least = min(box.height, under.height)
            assert wide <= 1 or high <= 0.2 * least, f"{text!r} lies on {other!r}"


def test_a_stretch_of_its_own_tempo_is_drawn_against_that_tempo() -> None:
    """Truth: an even player of 8 ms at 84 bpm, who was laid on eighths of that tempo: no mark lies beyond 40 ms."""
    m = session("left the click")
    ax = plot_recording(m, Figure().add_subplot())
    own = marks(ax, "D")
    (left,) = m.left_click
    assert own[:, 0].tolist() == [s.time_s for s in m.strums if s.left_click]
    assert 4 < np.std(own[:, 1]) < 16
    assert left.start_s == own[0, 0]
    assert left.end_s == own[-1, 0]


def test_strums_on_the_grid_are_drawn_where_they_were_measured_in_time() -> None:
    """Truth: each strum's offset against its own part's grid, of all parts; those beyond the axis stand at its edge."""
    m = session("two takes")
    ax = plot_recording(m, Figure().add_subplot())
    known = {(s.time_s, s.offset_ms) for s in (*m.strums, *m.elsewhere) if s.slot is not None}
    assert len(known) == 72
    assert {(x, y) for x, y in marks(ax, "o")} == known


def test_a_player_who_never_met_the_click_has_a_picture_of_their_own_tempo() -> None:
    """Truth: all strums but those that met the grid; the click's beats pass by every 9.7 of the player's (87 on 96)."""
    m = session("never with the click")
    ax = report.plot_offsets(m)
    assert len(marks(ax, "D")) == sum(s.left_click for s in m.strums) > 60
    passes = [line for line in ax.lines if line.get_linestyle() not in ("-", "None") and len(line.get_xdata()) > 3]
    starts = np.array([float(np.interp(0, -line.get_ydata(), line.get_xdata())) for line in passes])
    between = np.diff(np.sort(starts))
    assert np.median(between) == pytest.approx(60 / (96 - 87), rel=0.02)


def test_a_player_who_never_met_the_click_is_told_so() -> None:
    """Truth: the synthesised player kept 87 against 96 from the first strum to the last."""
    m = session("never with the click")
    said = report.summary(m, width=200)
    assert "From first to last the strums keep a tempo of their own, about 87 bpm." in said
    assert "left out, most" not in said
    message = student.message(m)
    assert message.startswith("You played at a speed of your own, not the click's. Listen to the click for two bars")


def test_the_own_pulse_is_the_one_that_was_played() -> None:
    """Truth: eighths at 84 bpm with known errors, laid beside a click of 96 by hand."""
    rng = np.random.default_rng(3)
    errors = 0.006 * rng.standard_normal(32)
    times = 20.0 + 30 / 84 * np.arange(32) + errors
    left = LeftClick(start_s=float(times[0]), end_s=float(times[-1]), played_bpm=84.2)
    m = take(bars=4, added_s=tuple(times.tolist()), left_click=(left,))
    own = own_tempo(m, left)
    assert own.beat_s == pytest.approx(60 / 84, rel=0.001)
    line = np.polyval(np.polyfit(np.arange(32), times, 1), np.arange(32))
    np.testing.assert_allclose(own.deviation_ms, 1000 * (times - line), atol=1e-6, rtol=0)
    beat_s = 0.6 / (1 + 12e-6)  # 100 bpm by a clock that is 12 ppm fast
    assert np.diff(own.click_s) == pytest.approx(beat_s)
    since = (own.click_s[0] - 2.4) / beat_s
    assert since == pytest.approx(round(since), abs=1e-6)


def test_steps_are_drawn_where_they_are_with_their_tempi_and_tolerances() -> None:
    """Truth: steps of four bars at 88, 96 and 104 bpm; ``steady`` allows 35 ms of these eighths either way."""
    m = session("stepped tempo")
    ax = report.plot_offsets(m)
    said = {text.get_text(): text.xy[0] for text in ax.texts}
    assert {tempo: round(x, 6) for tempo, x in said.items()} == {"88 bpm": 1, "96 bpm": 5, "104 bpm": 9}
    spans = [path.vertices for lines in ax.collections if hasattr(lines, "get_segments") for path in lines.get_paths()]
    steps = [(round(span[0, 0]), span[0, 1]) for span in spans]
    for first in (5, 9):
        low, high = sorted(y for begin, y in steps if begin == first)
        assert high - low == pytest.approx(70, abs=0.01)


def test_the_parts_are_named_in_words_with_their_numbers() -> None:
    """Truth: four and eight bars at 96 bpm from bar lines at 3.2 and 22.4 s; the longer one is measured."""
    assert part_lines(session("two takes")) == [
        "1   0:03 to 0:13: another take at 96 bpm",
        "2   0:22 to 0:42: played at 96 bpm; the figures are of this",
    ]
    drawn = [text.get_text() for text in plot_recording(session("two takes"), Figure().add_subplot()).texts]
    assert drawn[:2] == ["1", "2"]


@pytest.mark.parametrize(
    ("kind", "several"), [("left the click", True), ("stepped tempo", False), ("one strum", False)]
)
def test_only_a_recording_of_several_parts_has_that_panel(kind: str, several: bool) -> None:
    """Steps alone are one take, and shown as such."""
    titles = [ax.get_title(loc="left") for ax in report.plot_take(session(kind)).axes]
    assert several_parts(session(kind)) is several
    assert ("The whole recording" in titles) is several


def test_a_strum_beyond_the_axis_keeps_its_chord_changes_square() -> None:
    """Truth: one change among eighths that scatter by 8 ms comes 400 ms late; every change has a square."""
    m = take(bars=20, outliers={48: 400})
    changes = [s for s in m.strums if s.at_change]
    assert any(s.offset_ms is not None and s.offset_ms > 300 for s in changes)
    ax = report.plot_offsets(m)
    squares, beyond = marks(ax, "s"), marks(ax, "^")
    assert len(squares) == len(changes)
    assert len(beyond) == 1
    assert beyond[0].tolist() in squares.tolist()


def test_the_pages_bars_of_an_own_tempo_hold_its_strums_and_the_clicks_beats() -> None:
    """Truth: six bars at 84 bpm, a click of 96: each strum once, the click's beats are 7/8 of the player's."""
    m = session("left the click")
    parts = drawn_parts(m)
    assert [(part.number, part.kind, part.measured) for part in parts] == [
        (1, "played", True), (2, "own-tempo", False), (3, "played", True),
    ]  # fmt: skip
    own = parts[1].chart
    assert own is not None
    times = [mark.time_s for bar in own.bars for mark in bar.marks]
    assert times == [s.time_s for s in m.strums if s.left_click]
    assert all(bar.end_s - bar.start_s == pytest.approx(4 * 60 / 84, rel=0.003) for bar in own.bars)
    between = np.concatenate([np.diff(bar.clicks) for bar in own.bars])
    assert between == pytest.approx(WIDTH / 4 * 84 / 96, rel=0.003)


def test_the_pages_strip_shows_each_part_where_it_lies() -> None:
    """Truth: the parts' own seconds, as shares of the recording; each strum in its part."""
    m = session("two takes")
    for part, drawn in zip(m.parts, drawn_parts(m), strict=True):
        assert drawn.left == pytest.approx(100 * part.start_s / m.take.duration_s)
        assert drawn.left + drawn.width == pytest.approx(100 * part.end_s / m.take.duration_s)
        assert len(drawn.ticks) == part.n
        assert min(drawn.ticks) >= drawn.left - 1e-9
    assert drawn_parts(session("stepped tempo")) == ()


def test_another_takes_bars_are_those_of_its_own_grid() -> None:
    """Truth: four bars of six strums from its own first bar line; offsets as they were measured there."""
    m = session("two takes")
    other = drawn_parts(m)[0].chart
    assert other is not None
    assert [(bar.number, len(bar.marks)) for bar in other.bars] == [(1, 6), (2, 6), (3, 6), (4, 6)]
    late = {s.time_s: s.offset_ms for s in m.elsewhere}
    for bar in other.bars:
        for mark in bar.marks:
            assert (mark.y < other.middle) == (late[mark.time_s] > 0)


def test_the_pages_bars_name_the_steps_and_lie_about_their_averages() -> None:
    """Truth: steps of four bars at 88, 96 and 104 bpm; ``steady`` allows 35 ms about each step's own average."""
    m = session("stepped tempo")
    drawn = chart(m)
    assert drawn is not None
    assert {bar.number: bar.tempo for bar in drawn.bars if bar.tempo} == {1: "88 bpm", 5: "96 bpm", 9: "104 bpm"}
    for step in m.steps:
        bar = drawn.bars[step.bars[0] - 1]
        mean = np.mean([s.offset_ms for s in m.strums if step.bars[0] <= s.bar <= step.bars[1]])
        reach = float(drawn.reach_said.split()[0])
        edges = [(MIDDLE - y) / ((HEIGHT - TOP - BOTTOM) / 2) * reach for y in bar.edges]
        assert all(min(abs(edge - mean - 35), abs(edge - mean + 35)) < 1.0 for edge in edges)  # reach is told rounded


def test_the_tolerance_on_the_page_lies_about_the_takes_own_average() -> None:
    """Truth: all strums 30 ms late, scattering by 8 ms; one of them 200 ms late, so that both edges are inside."""
    m = take(bars=14, mean_ms=30, outliers={20: 200})
    drawn = chart(m)
    assert drawn is not None
    assert m.timing is not None
    scale = (HEIGHT - TOP - BOTTOM) / 2
    reach = 1.15 * max(abs(s.offset_ms) for s in m.strums)
    upper, lower = ((MIDDLE - y) / scale * reach for y in drawn.bars[0].edges)
    assert (upper + lower) / 2 == pytest.approx(np.mean([s.offset_ms for s in m.strums]), abs=0.01)
    assert (upper - lower) / 2 == pytest.approx(1e3 * m.held.tolerance_s, abs=0.01)
