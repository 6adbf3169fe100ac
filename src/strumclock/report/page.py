"""One self-contained web page of a take: picture, sentences, figures. Opens from a mail, without a network."""

from __future__ import annotations

import html
import io
import os
from pathlib import Path
from typing import TYPE_CHECKING

from strumclock.errors import printable
from strumclock.report import words
from strumclock.report.drawing import save
from strumclock.report.picture import plot_take
from strumclock.report.sentences import details, headline, lines, title
from strumclock.report.text import figures, noted
from strumclock.report.unknown import not_known
from strumclock.report.writing import check_outputs
from strumclock.saving import write_text

if TYPE_CHECKING:
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
    ("95 % interval", "where further takes like this one would be centred, given this one"),
    ("u", "standard uncertainty of measuring this take"),
)

_STYLE = """
:root { color-scheme: light; }
body { margin: 0; background: #f3f4f6; color: #1d2733; }
body { font: 17px/1.5 system-ui, -apple-system, "Segoe UI", sans-serif; }
main { max-width: 60rem; margin: 0 auto; padding: 1.5rem 1.5rem 3rem; background: #fff; }
h1 { font-size: 1.7rem; line-height: 1.2; margin: 0.4rem 0 0.2rem; }
h2 { font-size: 1.15rem; margin: 2rem 0 0.5rem; }
p.take { color: #4a5563; margin: 0 0 1rem; overflow-wrap: anywhere; }
figure { margin: 1.2rem 0; }
figure img { width: 100%; height: auto; border: 1px solid #d5dae0; }
dl.said { display: grid; grid-template-columns: max-content 1fr; gap: 0.35rem 1.2rem; margin: 0; }
dl.said dt { font-weight: 600; color: #174a78; }
dl.said dd { margin: 0; overflow-wrap: anywhere; }
.wide { overflow-x: auto; }
table { border-collapse: collapse; width: 100%; font-size: 0.95rem; }
th, td { text-align: left; padding: 0.3rem 0.7rem 0.3rem 0; border-bottom: 1px solid #d5dae0; vertical-align: top; }
td.figure, th.figure { text-align: right; font-variant-numeric: tabular-nums; white-space: nowrap; }
tbody th { font-weight: 500; }
footer { margin-top: 2rem; color: #4a5563; font-size: 0.9rem; overflow-wrap: anywhere; }
@media (max-width: 40rem) { dl.said { grid-template-columns: 1fr; gap: 0 0; } dl.said dd { margin-bottom: 0.6rem; } }
@media print {
  body { background: #fff; font-size: 11pt; }
  main { padding: 0; max-width: none; }
  h2 { break-after: avoid; }
  tr, figure { break-inside: avoid; }
}
"""


def page(measurement: Measurement) -> str:
    """The page as HTML text: nothing in it is fetched from elsewhere and nothing runs.

    Parameters
    ----------
    measurement : Measurement
    """
    m = measurement
    said = lines(m)
    name = title(m)
    notes = [line for line in said if line.topic == "Note"]
    plain = [line for line in said if line.topic not in ("Note", "Not known")]
    parts = [
        "<!doctype html>",
        '<html lang="en">',
        "<head>",
        '<meta charset="utf-8">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        f"<title>{escape(name)}</title>",
        f"<style>{_STYLE}</style>",
        "</head>",
        "<body>",
        "<main>",
        f"<h1>{escape(headline(m))}</h1>",
        f'<p class="take">{escape(name)}</p>',
        '<dl class="said">',
        *(f"<dt>{escape(line.topic)}</dt><dd>{escape(line.text)}</dd>" for line in plain),
        "</dl>",
        *_section("What to know about these figures", [line.text for line in notes]),
        *_section("What cannot be known from this take", not_known(m, all_of_it=True)),
        "<figure>",
        f'<img alt="{escape(_alternative(m), quote=True)}" src="{_picture(m)}">',
        "</figure>",
        *_described(m),
        *_table(m),
        *_section("Take care", list(CAUTIONS)),
        f"<footer>{_footer(m)}</footer>",
        "</main>",
        "</body>",
        "</html>",
    ]
    return "\n".join(parts) + "\n"


def escape(text: str, *, quote: bool = False) -> str:
    """A text inside HTML, without characters that a page must not hold."""
    return html.escape(printable(text), quote=quote)


def write_page(measurement: Measurement, path: str | os.PathLike[str]) -> Path:
    """Write the page to a file, whole or not at all.

    Raises
    ------
    OutputError
        Where it cannot be written, or must not be: see `strumclock.report.writing`.
    """
    check_outputs({"the page": path}, reads=[measurement.take.path] if measurement.take.path else [])
    return write_text(path, page(measurement))


def _section(heading: str, items: list[str]) -> list[str]:
    if not items:
        return []
    return [f"<h2>{escape(heading)}</h2>", "<ul>", *(f"<li>{escape(item)}</li>" for item in items), "</ul>"]


def _described(m: Measurement) -> list[str]:
    """What else the take says, subject by subject."""
    rows = [line for line in details(m) if line.topic != "Not known"]
    if not rows:
        return []
    said = (f"<dt>{escape(line.topic)}</dt><dd>{escape(line.text)}</dd>" for line in rows)
    return ["<h2>More about this take</h2>", '<dl class="said">', *said, "</dl>"]


def _table(m: Measurement) -> list[str]:
    rows, notes = noted(figures(m))
    if not rows:
        return []
    body = []
    for name, *cells, remark in rows:
        figures_ = "".join(f'<td class="figure">{escape(cell)}</td>' for cell in cells)
        body.append(f'<tr><th scope="row">{escape(name)}</th>{figures_}<td>{escape(remark)}</td></tr>')
    heads = "".join(f'<th scope="col" class="figure">{head}</th>' for head in ("value", "95 % interval", "u"))
    return [
        "<h2>The figures</h2>",
        '<div class="wide"><table>',
        f'<thead><tr><th scope="col">figure</th>{heads}<th scope="col">remark</th></tr></thead>',
        "<tbody>",
        *body,
        "</tbody></table></div>",
        *(f"<p>{escape(note)}</p>" for note in notes),
        "<ul>",
        *(f"<li><strong>{escape(word)}</strong>: {escape(meaning)}</li>" for word, meaning in EXPLAINED),
        "</ul>",
    ]


def _alternative(m: Measurement) -> str:
    """What the picture shows, for those who cannot see it."""
    if m.timing is None:
        return f"The time since the strum before, for {words.count(len(m.strums), 'strum')}."
    strums = words.count(m.timing.n, "strum")
    return (
        f"{strums} on the pattern, each a mark over the bars, higher where later, with drift line and tolerance; "
        f"beside it the mean at each beat with its interval. {headline(m)}. "
        "The sentences and the table say the same."
    )


def _picture(m: Measurement) -> str:
    import base64

    stream = io.BytesIO()
    save(plot_take(m, with_words=False), stream, "svg")
    return f"data:image/svg+xml;base64,{base64.b64encode(stream.getvalue()).decode('ascii')}"


def _footer(m: Measurement) -> str:
    from strumclock.report.schema import version

    details = [f"Measured by strumclock {version()}"]
    if m.take.path:
        details.append(f"from {m.take.path}")
    if m.take.sha256:
        details.append(f"SHA-256 {m.take.sha256}")
    return escape(", ".join(details))
