"""The pictures: they draw what was measured, onto the axes given, without pyplot, and stay whole at the edges."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from report_takes import estimate, free_take, take

from strumclock import report
from strumclock.errors import OutputError
from strumclock.report import drawing

TAKES = {
    "plain": take(bars=14),
    "many": take(bars=70, outliers={30: 400, 99: -250}),
    "few": take(bars=2, keep=8),
    "one": take(keep=1),
    "none": take(omit_all=True, added_s=(4.05,)),
    "fitted": take(anchor="fitted"),
    "gaps": take(omit=(3, 9), added_s=(5.1, 7.3)),
    "free": free_take(),
    "free, one strum": free_take(1),
}


def drawn(figure: Figure) -> np.ndarray:
    """The figure's pixels."""
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    return np.asarray(canvas.buffer_rgba())[..., :3].astype(float)


@pytest.mark.parametrize("name", TAKES)
def test_every_take_has_a_picture_twelve_hundred_pixels_wide(name: str) -> None:
    """Truth: 8 inches at 150 dots an inch; no text or mark is cut by the picture's edge."""
    pixels = drawn(report.plot_take(TAKES[name]))
    assert pixels.shape[1] == 1200
    assert 700 < pixels.shape[0] < 2400
    for edge in (pixels[0], pixels[-1], pixels[:, 0], pixels[:, -1]):
        assert np.all(edge == 255)


@pytest.mark.parametrize("name", ["plain", "fitted", "gaps"])
def test_each_strum_is_drawn_where_it_was_measured(name: str) -> None:
    """Truth: offsets against the click, or deviations from the own mean where the grid is fitted; bars from 1."""
    m = TAKES[name]
    ax = report.plot_offsets(m)
    expected = sorted(
        s.offset_ms if s.offset_ms is not None else s.deviation_ms for s in m.strums if s.slot is not None
    )
    marks = [line for line in ax.lines if line.get_linestyle() == "None" and line.get_marker() == "o"]
    found = sorted(y for line in marks for y in line.get_ydata())
    np.testing.assert_allclose(found, expected, atol=1e-9, rtol=0)
    first = min(float(np.min(line.get_xdata())) for line in marks if len(line.get_xdata()))
    assert first == 1.0


def test_left_out_and_added_strums_have_marks_of_their_own() -> None:
    """Truth: two strums left out and two added."""
    ax = report.plot_offsets(TAKES["gaps"])
    count = {line.get_marker(): len(line.get_xdata()) for line in ax.lines if line.get_marker() in ("x", "+")}
    assert count == {"x": 2, "+": 2}


def test_the_drift_line_has_the_slope_that_was_measured() -> None:
    """Truth: the timing's drift, ms a minute, over the bars' length of 2.4 s at 100 bpm in 4/4."""
    m = take(bars=14, drift_ms_per_min=90.0)
    assert m.timing is not None
    assert m.timing.drift_ms_per_min is not None
    ax = report.plot_offsets(m)
    line = next(line for line in ax.lines if line.get_linestyle() == "-" and len(line.get_xdata()) > 2)
    bars, heights = np.asarray(line.get_xdata()), np.asarray(line.get_ydata())
    slope = np.polyfit(bars * 2.4 / 60, heights, 1)[0]
    assert slope == pytest.approx(m.timing.drift_ms_per_min.value, rel=0.01)


def test_far_outliers_are_at_the_edge_with_their_figure_and_do_not_flatten_the_rest() -> None:
    """Truth: outliers of +400 and −250 ms among strums that scatter by 8 ms."""
    ax = report.plot_offsets(TAKES["many"])
    low, high = ax.get_ylim()
    assert -120 < low < high < 120
    figures = {text.get_text() for text in ax.texts}
    assert any(figure.startswith("+4") for figure in figures)
    assert any(figure.startswith("−2") for figure in figures)


def test_the_means_are_drawn_with_their_intervals() -> None:
    """Truth: the timing's by_beat and by_part."""
    m = TAKES["plain"]
    assert m.timing is not None
    ax = report.plot_beats(m)
    spans = sorted(
        tuple(line.get_xdata()) for line in ax.lines if line.get_linestyle() == "-" and len(line.get_xdata()) == 2
    )
    groups = [*m.timing.by_beat, *m.timing.by_part]
    expected = sorted((g.offset_ms.low, g.offset_ms.high) for g in groups if g.offset_ms is not None)
    assert len(spans) == len(expected) + 1  # and the line at zero
    for span in expected:
        assert span in spans
    assert [label.get_text() for label in ax.get_yticklabels()] == [
        "beat 1",
        "beat 2",
        "beat 3",
        "beat 4",
        "on the beat",
        "all “&”",
    ]


def test_a_named_beat_differs_by_its_mark_and_not_only_by_its_colour() -> None:
    """Truth: beat 3 was made 30 ms late."""
    ax = report.plot_beats(take(bars=20, sd_ms=7, beat_ms={3: 30}))
    diamonds = [line for line in ax.lines if line.get_marker() == "D"]
    assert len(diamonds) == 1
    assert diamonds[0].get_xdata()[0] > 20


def test_inks_stand_out_from_white_in_grey() -> None:
    """Truth: WCAG 2.1 contrast of text, 4.5 to 1, by its formula for relative luminance."""
    for ink in (drawing.INK, drawing.SOFT, drawing.ACCENT, drawing.WARM):
        linear = [c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in to_rgb(ink)]
        luminance = 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
        assert 1.05 / (luminance + 0.05) >= 4.5


def test_plots_go_onto_the_axes_given() -> None:
    """Truth: the axes' own identity."""
    figure = Figure()
    left, right = figure.subplots(1, 2)
    assert report.plot_offsets(TAKES["plain"], left) is left
    assert report.plot_beats(TAKES["plain"], right) is right
    assert len(figure.axes) == 2


def test_the_same_take_gives_the_same_bytes(tmp_path: Path) -> None:
    """Truth: two runs."""
    for ending in ("svg", "png"):
        one, two = tmp_path / f"one.{ending}", tmp_path / f"two.{ending}"
        report.write_plot(TAKES["few"], one)
        report.write_plot(TAKES["few"], two)
        assert one.read_bytes() == two.read_bytes()


@pytest.mark.parametrize(("ending", "head"), [("png", b"\x89PNG"), ("svg", b"<?xml"), ("pdf", b"%PDF")])
def test_the_ending_chooses_the_format(ending: str, head: bytes, tmp_path: Path) -> None:
    """Truth: the formats' first bytes."""
    assert report.write_plot(TAKES["few"], tmp_path / f"take.{ending}").read_bytes().startswith(head)


def test_another_ending_is_refused_in_one_line(tmp_path: Path) -> None:
    """Truth: the list of formats."""
    with pytest.raises(OutputError, match=r"png, \.svg, \.pdf") as caught:
        report.write_plot(TAKES["few"], tmp_path / "take.bmp")
    assert "\n" not in str(caught.value)
    assert not list(tmp_path.iterdir())


def test_words_and_numbers_load_no_plotting_library_and_pictures_no_pyplot() -> None:
    """Truth: sys.modules of a fresh interpreter."""
    code = (
        "import sys; sys.path.insert(0, 'tests'); from report_takes import take; from strumclock import report;"
        "m = take();"
        "report.summary(m); report.to_json(m); assert 'matplotlib' not in sys.modules and 'rich' not in sys.modules;"
        "report.plot_take(m); assert 'matplotlib.pyplot' not in sys.modules"
    )
    root = Path(__file__).resolve().parents[1]
    subprocess.run([sys.executable, "-c", code], check=True, cwd=root)


def test_chord_changes_have_a_panel() -> None:
    """Truth: each change's lateness, row by row."""
    from strumclock.chords import Change, Changes

    changes = Changes(
        source="told",
        changes=tuple(
            Change(
                time_s=3.0 + i,
                from_chord="A",
                to_chord="D",
                confidence=None,
                gap_s=0.6,
                pause_ms=4.0,
                late_ms=20.0 + i,
                lost=0,
            )
            for i in range(4)
        ),
        seconds_per_change=estimate(2.4, 0.1),
        changes_per_minute=estimate(25.0, 1.0),
        lateness_ms=estimate(21.5, 4.0),
        costliest=None,
        click_bpm_one_bar=100.0,
    )
    figure = Figure()
    ax = report.panels.plot_changes(changes, figure.add_subplot())
    assert list(ax.lines[1].get_xdata()) == [20.0, 21.0, 22.0, 23.0]
    assert [label.get_text() for label in ax.get_yticklabels()] == ["A → D"]
