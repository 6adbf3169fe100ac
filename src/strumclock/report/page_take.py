"""One self-contained web page of a take: verdict, the strums bar by bar to see and to hear, figures.

Opens from a mail, without a network; what it may do, and that whatever comes from files is escaped: `report.html`.
"""

from __future__ import annotations

import os
from pathlib import Path, PurePath
from typing import TYPE_CHECKING, Any

from strumclock.errors import printable
from strumclock.report import html, words
from strumclock.report.obstacle_words import bars_in_words, short_name
from strumclock.report.page_bars import HEIGHT, PAD, WIDTH, Bar, Mark, chart
from strumclock.report.page_parts import drawn_parts
from strumclock.report.page_sound import sounds
from strumclock.report.sentences import details, headline, lines, title
from strumclock.report.text import figures, noted
from strumclock.report.unknown import not_known
from strumclock.report.writing import check_outputs
from strumclock.saving import write_text

if TYPE_CHECKING:
    from strumclock.audio import Recording
    from strumclock.pipeline import Measurement

CAUTIONS = (
    "Stop at any pain or tension, and rest; a teacher or a clinician knows more than a number.",
    "Keep the click and headphones low: NIOSH's limit is 85 dBA for 8 hours, and half that time for every 3 dB more.",
    "Late and early can be meant. The figures say where the strums lie, not how the music feels.",
)

EXPLAINED = (
    ("offset", "when the pick leaves the first string, less the click or the place between clicks; + late, − early"),
    ("jitter", "how far the strums scatter about the drift line (standard deviation)"),
    ("drift", "how the offset changes in a minute; + falling behind, − pulling ahead"),
    ("95 % interval", "where this take's player would be centred, had the take gone on for ever"),
    ("u", "standard uncertainty of measuring this take"),
)


def page(measurement: Measurement, *, recording: Recording | None = None) -> str:
    """The page as HTML text: nothing in it is fetched from elsewhere.

    Parameters
    ----------
    measurement : Measurement
    recording : Recording, optional
        The take, to be heard; by default it is read again from its file. Without either the page is silent.
    """
    m = measurement
    drawn = chart(m)
    said = lines(m)
    rows, notes = noted(figures(m))
    obstacle = m.verdict.obstacles[0] if m.verdict is not None and m.verdict.obstacles else None
    bars = drawn.bars if drawn is not None else ()
    kinds = {mark.kind for bar in bars for mark in bar.marks}
    worst = [bar.number for bar in bars if bar.obstacle]
    context = {
        "bar_label": _bar_label,
        "shape": _shape,
        "clock": words.clock,
        "name": title(m),
        "headline": headline(m),
        "said": [line for line in said if line.topic not in ("Note", "Not known")],
        "sections": (
            ("What to know about these figures", [line.text for line in said if line.topic == "Note"]),
            ("What cannot be known from this take", not_known(m, all_of_it=True)),
        ),
        "chart": drawn,
        "parts": drawn_parts(m),
        "stepped": len(m.steps) > 1,
        "zero": "the click" if drawn is not None and drawn.about_click else "the take's own average",
        "pad": PAD,
        "width": WIDTH,
        "height": HEIGHT,
        "sounds": sounds(m, recording),
        "beat_s": 60 / m.exercise.bpm if m.exercise.bpm else 1.0,
        "worst": f"Hear {bars_in_words(worst)}, the worst" if worst else "",
        "concerned": short_name(obstacle, m.exercise.per_beat or 1) if obstacle and "obstacle" in kinds else "",
        "has_omitted": "omitted" in kinds,
        "has_added": "added" in kinds,
        "details": [line for line in details(m) if line.topic not in ("Not known", "Note")],
        "figures": rows,
        "notes": notes,
        "explained": EXPLAINED,
        "cautions": CAUTIONS,
        "footer": _footer(m),
    }
    return html.render("take.html.j2", style=html.template("take.css"), script=html.template("take.js"), **context)


def write_page(measurement: Measurement, path: str | os.PathLike[str], *, recording: Recording | None = None) -> Path:
    """Write the page to a file, whole or not at all."""
    take = [measurement.take.path] if measurement.take.path else []
    check_outputs({"the page": path}, reads=take)
    return write_text(path, page(measurement, recording=recording))


def _bar_label(bar: Bar) -> str:
    """What a bar is, for those who do not see it."""
    left_out = sum(mark.kind == "omitted" for mark in bar.marks)
    said = [bar.name, *([bar.tempo] if bar.tempo else []), words.count(bar.strums, "strum")]
    if bar.mean:
        said.append(f"{bar.mean} on average, furthest {bar.furthest}")
    if left_out:
        said.append(f"{left_out} left out")
    return ", ".join([*said, *(["one of the worst"] if bar.obstacle else [])])


def _shape(mark: Mark) -> Any:
    """A mark's drawing: kinds differ by shape, not only by colour."""
    x, y = round(mark.x, 1), round(mark.y, 1)
    return html.safe(
        {
            "strum": f'<circle class="strum" cx="{x}" cy="{y}" r="4"/>',
            "obstacle": f'<path class="obstacle" d="M{x} {y - 6:.1f}l6 6-6 6-6-6z"/>',
            "omitted": f'<rect class="omitted" x="{x - 5:.1f}" y="{y - 5:.1f}" width="10" height="10"/>',
            "added": f'<path class="added" d="M{x} {y - 6:.1f}v12M{x - 6:.1f} {y}h12"/>',
        }[mark.kind]
    )


def _footer(m: Measurement) -> str:
    from strumclock.report.schema import version

    said = [f"Measured by strumclock {version()}"]
    if m.take.path:
        said.append(f"from {printable(PurePath(m.take.path).name)}")  # a page is sent: the folders are the teacher's
    if m.take.sha256:
        said.append(f"SHA-256 {m.take.sha256}")
    return ", ".join(said)
