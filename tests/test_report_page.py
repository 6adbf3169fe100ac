"""The page: one file, nothing fetched, nothing run, readable without the picture, safe with any name."""

from __future__ import annotations

import base64
import hashlib
import io
import re
from dataclasses import replace
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from report_takes import free_take, take

from strumclock import report
from strumclock.audio import Recording, from_array
from strumclock.errors import Absent, Notice
from strumclock.grid import Exercise
from strumclock.onsets import Ignored
from strumclock.pipeline import Measurement
from strumclock.report.page_bars import WIDTH, chart
from strumclock.report.page_sound import sounds

PLAIN = take(bars=14)
HOSTILE = '<script>alert("x")</script>\' onerror="y" & <b>'
VOID = {"meta", "img", "br", "input"}


class Reader(HTMLParser):
    """Collects tags and text, and checks that every tag is closed in order."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.text: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if not self.open or self.open[-1] != "style":
            self.text.append(data)


def read(page: str) -> Reader:
    reader = Reader()
    reader.feed(page)
    reader.close()
    assert reader.open == []
    return reader


@pytest.mark.parametrize(
    "m",
    [take(bars=14, omit=(3,)), take(keep=1), take(omit_all=True), take(anchor="fitted"), free_take()],
    ids=["plain", "one", "none", "fitted", "free"],
)
def test_every_page_is_whole_says_every_sentence_and_needs_nothing_else(m: object) -> None:
    """Truth: the summary's own rows; an HTML parser; no address of anything outside."""
    page = report.page(m)  # type: ignore[arg-type]  # parametrised with measurements
    reader = read(page)
    said = " ".join(" ".join(reader.text).split())
    for line in report.lines(m):  # type: ignore[arg-type]
        assert (line.text.split(": ", 1)[1] if line.topic == "Not known" else line.text) in said
    assert not {tag for tag, _ in reader.tags} & {"script", "link", "iframe", "object", "form", "img"}
    assert not re.search(r"""(href|src)=["']?(https?:)?//""", page)
    assert "url(" not in page
    assert not any("style" in attributes for _, attributes in reader.tags)
    assert not any(name.startswith("on") for _, attributes in reader.tags for name in attributes)


def test_the_page_can_be_read_without_seeing_it() -> None:
    """Truth: WCAG 2.1: language, title, one h1, a name for each bar, table heads with their scope."""
    m = take(bars=14)
    reader = read(report.page(m))
    tags = reader.tags
    assert ("html", {"lang": "en"}) in tags
    assert sum(tag == "h1" for tag, _ in tags) == 1
    labels = [
        str(attributes["aria-label"]) for tag, attributes in tags if tag == "button" and "aria-label" in attributes
    ]
    assert len(labels) == 14
    assert all(re.match(r"bar \d+, 6 strums, .* on average, furthest ", label) for label in labels)
    assert all(attributes.get("aria-hidden") == "true" for tag, attributes in tags if tag == "svg")
    heads = [attributes for tag, attributes in tags if tag == "th"]
    assert heads
    assert all(attributes.get("scope") in ("row", "col") for attributes in heads)
    levels = [int(tag[1]) for tag, _ in tags if re.fullmatch(r"h\d", tag)]
    assert all(b - a <= 1 for a, b in pairwise(levels))


def test_the_page_carries_the_cautions() -> None:
    """Truth: NIOSH: 85 dBA for 8 hours, 3 dB exchange."""
    said = " ".join(read(report.page(take())).text)
    assert "85 dBA for 8 hours" in said
    assert "every 3 dB" in said
    assert "pain or tension" in said


def test_no_text_of_a_users_becomes_markup() -> None:
    """Truth: an HTML parser finds the text as text and no tag that it would have opened."""
    m = take(
        exercise=Exercise(name=HOSTILE, bpm=100, meter="4/4", per_beat=2, pattern="D.DU.UDU"),
        path=HOSTILE,
        warnings=(Notice(code="x", message=HOSTILE),),
        ignored=(Ignored(time_s=1.0, reason=HOSTILE),),
        absent={"tuning": Absent(code="hostile", reason=HOSTILE)},
    )
    reader = read(report.page(m))
    assert not {tag for tag, _ in reader.tags} & {"script", "b"}
    assert not any("onerror" in attributes for _, attributes in reader.tags)
    assert HOSTILE in " ".join("".join(reader.text).split())


def test_a_dollar_in_a_name_is_a_dollar_in_the_picture() -> None:
    """Truth: matplotlib would read $…$ as mathematics and stop at what it cannot parse."""
    m = replace(take(), exercise=Exercise(name=r"$\frac{$ riff", bpm=100))
    report.page(m)
    report.plot_take(m).canvas.draw()


def sounding(m: Measurement) -> Recording:
    """A recording as long as the take, a hum."""
    n = int(44_100 * (m.take.duration_s + 1))
    return from_array((0.1 * np.sin(np.arange(n) / 20)).astype(np.float32), 44_100)


def test_the_policy_lets_just_the_pages_own_style_and_script_run() -> None:
    """Truth: CSP Level 3: the base64 of the SHA-256 of the element's text; a browser refuses what does not match."""
    page = report.page(PLAIN, recording=sounding(PLAIN))
    policy = re.search(r'Content-Security-Policy" content="([^"]*)"', page)
    assert policy is not None
    for tag in ("style", "script"):
        inside = re.search(rf"<{tag}>(.*?)</{tag}>", page, re.DOTALL)
        assert inside is not None
        digest = base64.b64encode(hashlib.sha256(inside[1].encode()).digest()).decode()
        assert f"{tag}-src &#39;sha256-{digest}&#39;" in policy[1]
    assert "default-src &#39;none&#39;" in policy[1]


def test_the_strums_are_drawn_where_they_were_played() -> None:
    """Truth: a take whose strums at 100 bpm in 4/4 have known times: bars of 2.4 s from 2.4 s; higher is later."""
    drawn = chart(PLAIN)
    assert drawn is not None
    assert [bar.number for bar in drawn.bars] == list(range(1, 15))
    assert drawn.bars[3].start_s == pytest.approx(2.4 + 3 * 2.4, abs=1e-6)
    assert drawn.bars[3].end_s - drawn.bars[3].start_s == pytest.approx(2.4, abs=1e-6)
    marks = {mark.time_s: mark for bar in drawn.bars for mark in bar.marks}
    for strum in PLAIN.strums:
        mark = marks[strum.time_s]
        assert strum.bar is not None
        start_s = 2.4 + 2.4 * (strum.bar - 1)
        assert mark.x == pytest.approx(WIDTH * (strum.time_s - start_s) / 2.4, abs=1e-3)
        assert strum.offset_ms is not None
        assert (mark.y < drawn.middle) == (strum.offset_ms > 0)


def test_the_obstacles_strums_have_a_shape_of_their_own_and_their_worst_bars_a_button() -> None:
    """Truth: strums at the eight changes are 120 ms late; the others are not."""
    m = take(bars=14, change_ms=120)
    drawn = chart(m)
    assert drawn is not None
    at_change = {s.time_s for s in m.strums if s.at_change}
    assert {mark.time_s for bar in drawn.bars for mark in bar.marks if mark.kind == "obstacle"} == at_change
    page = report.page(m, recording=sounding(m))
    worst = [bar.number for bar in drawn.bars if bar.obstacle]
    assert len(worst) == 3
    assert f"Hear bars {worst[0]}, {worst[1]} and {worst[2]}, the worst" in page


def test_what_was_left_out_or_added_is_drawn_in_its_bar() -> None:
    """Truth: slot 3 is bar 1, beat 3 &; a strum at 5.11 s lies in bar 2."""
    drawn = chart(take(omit=(3,), added_s=(5.11,)))
    assert drawn is not None
    kinds = {(bar.number, mark.kind) for bar in drawn.bars for mark in bar.marks}
    assert (1, "omitted") in kinds
    assert (2, "added") in kinds


def test_a_take_of_three_minutes_makes_a_page_below_three_megabytes() -> None:
    """Truth: the bytes; noise, which no codec makes small."""
    m = take(bars=75)
    n = 44_100 * 182
    noise = 0.1 * np.random.default_rng(1).standard_normal(n)
    page = report.page(m, recording=from_array(noise.astype(np.float32), 44_100))
    assert 1e6 < len(page.encode()) < 3e6


def test_the_sounds_begin_where_the_page_says() -> None:
    """Truth: a click at 5 s of the recording is at 5 s less the beginning in what the page holds (one decoder's
    frame of 1,024 samples would be 32 ms)."""
    samples = np.zeros(44_100 * 40, np.float32)
    samples[44_100 * 5] = 0.9
    held = sounds(PLAIN, from_array(samples, 44_100))
    assert held is not None
    assert held.start_s == 0
    import av

    with av.open(io.BytesIO(base64.b64decode(held.take.split(",")[1]))) as container:
        frames = [(float(f.pts * f.time_base), f.to_ndarray()[0], f.sample_rate) for f in container.decode(audio=0)]
    first_s, _, rate_hz = frames[0]
    sound = np.concatenate([x for _, x, _ in frames])
    assert first_s + np.argmax(np.abs(sound)) / rate_hz == pytest.approx(5.0, abs=0.001)


def test_the_page_is_one_file(tmp_path: Path) -> None:
    """Truth: the folder."""
    report.write_page(take(), tmp_path / "take.html")
    assert [path.name for path in tmp_path.iterdir()] == ["take.html"]
    assert (tmp_path / "take.html").read_text(encoding="utf-8").startswith("<!doctype html>")


def test_bars_of_a_stepped_tempo_have_their_own_lengths() -> None:
    """Arithmetic: six bars each at 70, 80 and 90 bpm, every strum on its line; a bar lasts 240 s over its tempo."""
    m = take(bars=18, sd_ms=0.0, exercise=Exercise(bpm=70, meter="4/4", per_beat=1, pattern="DDDD"))
    time_s, at = 4.0, []
    for bar in range(18):
        for _ in range(4):
            at.append(time_s)
            time_s += 60 / (70, 80, 90)[bar // 6]
    exact = [replace(s, time_s=t, offset_ms=0.0, deviation_ms=0.0) for s, t in zip(m.strums, at, strict=True)]
    drawn = chart(replace(m, strums=tuple(exact)))
    assert drawn is not None
    for bar in drawn.bars:
        assert bar.start_s == pytest.approx(at[4 * (bar.number - 1)], abs=1e-6)
        assert bar.end_s - bar.start_s == pytest.approx(240 / (70, 80, 90)[(bar.number - 1) // 6], abs=1e-6)
