"""The pictures of this folder's gallery, and a take's page: ``python examples/make_gallery.py``.

The reference takes, recordings that are no plain take, and an invented class of two over ten weeks
(`strumclock.examples`). Whoever changes a picture runs
this and looks at every one of them.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import strumclock as sc
from strumclock import report
from strumclock.examples import example_journal, example_session

if TYPE_CHECKING:
    from matplotlib.figure import Figure

HERE = Path(__file__).parent
TAKES = HERE.parent / "reference_audio"


def take(name: str, exercise: sc.Exercise, *, everything: bool = False) -> Callable[[], Figure]:
    """The picture of a reference take."""
    return lambda: sc.plot_take(sc.measure(TAKES / name, exercise), everything=everything)


def session(kind: str) -> Callable[[], Figure]:
    """The picture of a recording that is no plain take."""
    return lambda: sc.plot_take(sc.measure(*example_session(kind)))


def of_weeks(kind: str) -> Figure:
    """The class, or the first of its students."""
    with tempfile.TemporaryDirectory() as folder:
        journal = example_journal(folder)
        if kind == "class":
            return sc.plot_class(sc.class_list(journal))
        return sc.plot_progress(sc.progress(journal, journal.students()[0]))


CHANGES = sc.Exercise(bpm=72, chords=("G", "C", "D", "C"), beats_per_change=4)
PICTURES: dict[str, Callable[[], Figure]] = {
    "steady": take("steady.flac", sc.Exercise(bpm=84)),
    "late_changes": take("late_changes.flac", CHANGES),
    "late_changes_all": take("late_changes.flac", CHANGES, everything=True),
    "pulling_ahead": take("pulling_ahead.flac", sc.Exercise(bpm=96, pattern="D.DU.UDU", per_beat=2)),
    "omitted_and_added": take("omitted_and_added.flac", sc.Exercise(bpm=100, meter="3/4", pattern="D", per_beat=1)),
    "headphones": take("headphones.flac", sc.Exercise(bpm=104)),
    "left_the_click": session("left the click"),
    "stepped_tempo": session("stepped tempo"),
    "two_takes": session("two takes"),
    "class": lambda: of_weeks("class"),
    "progress": lambda: of_weeks("progress"),
}
PAGE = HERE / "late_changes.html"


def page() -> str:
    """A take's page with its sound: what `strumclock measure … --page` writes."""
    return report.page(sc.measure(TAKES / "late_changes.flac", CHANGES))


def main() -> None:
    """Draw them all."""
    PAGE.write_text(page(), encoding="utf-8")
    print(PAGE)
    to = HERE / "gallery"
    to.mkdir(exist_ok=True)
    for name, draw in PICTURES.items():
        draw().savefig(to / f"{name}.png", metadata={"Software": None})
        print(to / f"{name}.png")


if __name__ == "__main__":
    main()
