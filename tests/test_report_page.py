"""The page: one file, nothing fetched, nothing run, readable without the picture, safe with any name."""

from __future__ import annotations

import re
from dataclasses import replace
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path

import pytest
from report_takes import free_take, take

from strumclock import report
from strumclock.errors import Absent, Notice
from strumclock.grid import Exercise
from strumclock.onsets import Ignored

HOSTILE = '<script>alert("x")</script>\' onerror="y" & <b>'
VOID = {"meta", "img", "br"}


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
    assert not {tag for tag, _ in reader.tags} & {"script", "link", "iframe", "object", "form"}
    sources = [attributes["src"] for tag, attributes in reader.tags if tag == "img"]
    assert len(sources) == 1
    assert str(sources[0]).startswith("data:image/svg+xml;base64,")
    assert not re.search(r"""(href|src)=["']?(https?:)?//""", page)
    assert "url(" not in page


def test_the_page_can_be_read_without_seeing_it() -> None:
    """Truth: WCAG 2.1: language, title, one h1, text in place of the picture, table heads with their scope."""
    m = take(bars=14)
    reader = read(report.page(m))
    tags = reader.tags
    assert ("html", {"lang": "en"}) in tags
    assert sum(tag == "h1" for tag, _ in tags) == 1
    alternative = next(attributes["alt"] for tag, attributes in tags if tag == "img")
    assert report.headline(m) in str(alternative)
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


def test_the_page_is_one_file(tmp_path: Path) -> None:
    """Truth: the folder."""
    report.write_page(take(), tmp_path / "take.html")
    assert [path.name for path in tmp_path.iterdir()] == ["take.html"]
    assert (tmp_path / "take.html").read_text(encoding="utf-8").startswith("<!doctype html>")
