"""The one list of a take's figures: what each is called, its unit and sign, its place in the JSON, where it comes from.

The table of figures, the names in sentences about what is not known, the comparison of two takes, the columns of the
practice record's table and the descriptions in the JSON Schema are made from these rows. To add a figure: compute it
into the value that its path leads to, and add its row here.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from strumclock.pipeline.measurement import Measurement
    from strumclock.timing import Estimate

EACH = "*"  # in a path: each of a row of groups, such as the beats
DECIMALS = {"bpm": 3, "ms": 1, "ms/min": 1, "ppm": 1, "cents": 1, "dB": 1, "a minute": 1, "s": 2, "share": 2, "": 2}
"""Decimals that a figure is told with, by its unit: what is finer than the best take's u."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """One figure of a take.

    Attributes
    ----------
    path : str
        Its place in the JSON, and from attribute to attribute in the `Measurement`; ``*`` stands for each of several.
    label : str
        What the table calls it. As in `remark`, names in braces are filled in: fields of the value that holds the
        figure, ``m`` the measurement, ``name`` what musicians call the part of the beat.
    unit : str
        A key of `DECIMALS`; ``"share"`` is told in per cent.
    signed : bool
        Whether a positive value has its plus: it could have been negative.
    about : str
        What it is, in a sentence: the description in the JSON Schema.
    source : str
        Where it is computed: the function's full name.
    remark : str
        What the table says beside it.
    word : str
        What a sentence calls it that says why it is not known; empty where nobody would miss it.
    when : {"always", "known", "several"}
        When the table has a row of it: where what holds it is there; where the figure itself is known; where there are
        several of it.
    in_table : bool
    compared : bool
        Whether the comparison of two takes tells its difference.
    column : str or None
        Its column in the practice record's table of takes.
    """

    path: str
    label: str
    unit: str
    source: str
    about: str
    signed: bool = False
    remark: str = ""
    word: str = ""
    when: str = "always"
    in_table: bool = True
    compared: bool = False
    column: str | None = None

    @property
    def name(self) -> str:
        """The last part of its path.

        Examples
        --------
        >>> named("timing.jitter_ms").name
        'jitter_ms'
        """
        return self.path.rpartition(".")[2]


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """A figure of one take.

    Attributes
    ----------
    figure : Figure
    path : str
        Its place in this take's JSON: ``"timing.by_beat.2.offset_ms"``.
    holder : object
        The value that holds it.
    estimate : Estimate or None
    """

    figure: Figure
    path: str
    holder: Any
    estimate: Estimate | None


def find(measurement: Measurement, figure: Figure) -> Iterator[Found]:
    """The figure in a take, once for each of what its path leads to; nothing where what holds it is not there."""
    *way, name = figure.path.split(".")
    holders: list[tuple[str, Any]] = [("", measurement)]
    for step in way:
        if step == EACH:
            holders = [
                (f"{path}.{getattr(inner, 'place', i)}", inner)
                for path, group in holders
                for i, inner in enumerate(group)
            ]
        else:
            holders = [(f"{path}.{step}".lstrip("."), getattr(holder, step)) for path, holder in holders]
        holders = [(path, holder) for path, holder in holders if holder is not None]
    for path, holder in holders:
        yield Found(figure=figure, path=f"{path}.{name}", holder=holder, estimate=getattr(holder, name))


def named(path: str) -> Figure:
    """The figure of a path.

    Examples
    --------
    >>> named("timing.drift_ms_per_min").unit
    'ms/min'
    """
    return _BY_PATH[path]


_TIMING = "strumclock.timing.measure_timing"
_ALIGN = "strumclock.alignment.align"
_CHANGES = "strumclock.chords.measure_changes"
_STROKE = "strumclock.stroke.measure_stroke"

FIGURES: tuple[Figure, ...] = (
    Figure(
        path="grid.bpm_heard", label="Click heard", unit="bpm", source=_ALIGN, remark="{clicks_heard} clicks",
        about="Tempo of the click by the recorder's clock.",
    ),
    Figure(
        path="grid.clock_skew_ppm", label="Clocks' difference", unit="ppm", signed=True, source=_ALIGN,
        remark="heard against told", about="(tempo heard / tempo told - 1) * 1e6.",
    ),
    Figure(
        path="timing.mean_offset_ms", label="Mean offset", unit="ms", signed=True, source=_TIMING,
        remark="+ late, − early", word="early or late", compared=True, column="mean_offset_ms",
        about="Mean of strum time minus grid line, positive = late.",
    ),
    Figure(
        path="timing.median_offset_ms", label="Median offset", unit="ms", signed=True, source=_TIMING,
        word="early or late", about="Median of strum time minus grid line, positive = late.",
    ),
    Figure(
        path="timing.body_offset_ms", label="Offset of the strum's middle", unit="ms", signed=True, source=_TIMING,
        word="the offset of the strum's middle", about="Offset of the middle of the strums' spread.",
    ),
    Figure(
        path="timing.jitter_ms", label="Jitter", unit="ms", source=_TIMING,
        remark="about the drift line, strays as they came", word="evenness", compared=True, column="jitter_ms",
        about="Standard deviation about the drift line; interval: of takes of this length, far strays as they came.",
    ),
    Figure(
        path="timing.jitter_within_ms", label="Jitter within", unit="ms", source=_TIMING,
        remark="parts, changes taken out", compared=True,
        about="The same without the means of parts and chord changes.",
    ),
    Figure(
        path="timing.explained_share", label="Explained by these", unit="share", source=_TIMING, when="known",
        remark="of the variance", about="Share of the variance about the drift line that these means explain.",
    ),
    Figure(
        path="timing.drift_ms_per_min", label="Drift", unit="ms/min", signed=True, source=_TIMING,
        remark="+ behind, − ahead", word="falling behind or pulling ahead", compared=True, column="drift_ms_per_min",
        about="Slope of the offsets, positive = falling behind.",
    ),
    Figure(
        path="timing.step.size_ms", label="Step", unit="ms", signed=True, source=_TIMING, when="known",
        remark="from bar {bar} on", about="Strums after the shift less those before, positive = later from then on.",
    ),
    Figure(
        path="timing.played_bpm", label="Tempo played", unit="bpm", source=_TIMING, column="played_bpm",
        about="Beats a minute that the drift line amounts to.",
    ),
    Figure(
        path="timing.lag1", label="Lag-1 autocorrelation", unit="", signed=True, source=_TIMING,
        about="Lag-1 autocorrelation of the offsets.",
    ),
    Figure(
        path="timing.swing", label="Swing", unit="", source=_TIMING, when="known",
        remark="place of the “&” in the beat; straight 0.50",
        about="Place in the beat at which the second of two parts was played; 0.5 is straight.",
    ),
    Figure(
        path="timing.within_tolerance.share", label="Within ± {tolerance_ms:.4g} ms of own mean", unit="share",
        source=_TIMING, when="known", remark="{m.timing.n} strums", word="how many lie within the tolerance",
        column="within_share", about="Share of the strums within the tolerance about the take's own mean.",
    ),
    Figure(
        path="timing.at_change", label="Strums at changes", unit="ms", signed=True, source=_TIMING, in_table=False,
        about="How much later the strums at chord changes are than the others.",
    ),
    Figure(
        path="timing.by_beat.*.offset_ms", label="Beat {place}", unit="ms", signed=True, source=_TIMING,
        remark="{n} strums", about="Mean offset there; on a fitted grid contrasts that sum to zero.",
    ),
    Figure(
        path="timing.by_part.*.offset_ms", label="Part {place} ({name})", unit="ms", signed=True, source=_TIMING,
        remark="{n} strums", when="several", about="Mean offset there; on a fitted grid contrasts that sum to zero.",
    ),
    Figure(
        path="timing.by_part.*.jitter_ms", label="Jitter of part {place} ({name})", unit="ms", source=_TIMING,
        remark="about its own mean", when="several",
        about="Standard deviation of the strums of this part about the drift line and their own mean.",
    ),
    Figure(
        path="timing.by_bar.*.offset_ms", label="Bar {place}", unit="ms", signed=True, source=_TIMING, in_table=False,
        about="Mean offset there; on a fitted grid contrasts that sum to zero.",
    ),
    Figure(
        path="changes.lateness_ms", label="At chord changes", unit="ms", signed=True, source=_CHANGES,
        remark="against all other strums", about="Strums at changes less all others, positive = late.",
    ),
    Figure(
        path="changes.changes_per_minute", label="Chord changes", unit="a minute", source=_CHANGES,
        about="Chord changes a minute.",
    ),
    Figure(
        path="changes.seconds_per_change", label="Time on a chord", unit="s", source=_CHANGES, in_table=False,
        about="Mean time from change to change, s.",
    ),
    Figure(
        path="changes.costliest.late_ms", label="Costliest change later by", unit="ms", signed=True, source=_CHANGES,
        in_table=False, about="How much later that pair comes than the other changes.",
    ),
    Figure(
        path="stroke.spread_ms", label="Spread of a strum", unit="ms", source=_STROKE, remark="first to last string",
        about="Mean time from first to last string.",
    ),
    Figure(
        path="stroke.evenness_db", label="Loudness varies by", unit="dB", source=_STROKE, remark="standard deviation",
        about="Scatter of the loudness about the means of the bar's places.",
    ),
    Figure(
        path="stroke.attack_db", label="Hardness of attack", unit="dB", signed=True, source=_STROKE,
        remark="same guitar and room only",
        about="Power from 2 to 5 kHz over that from 80 Hz to 2 kHz in the first 30 ms.",
    ),
    Figure(
        path="stroke.attack_sd_db", label="Hardness varies by", unit="dB", source=_STROKE, in_table=False,
        about="How much the attack's hardness varies from strum to strum.",
    ),
    Figure(
        path="stroke.accents.*.level_db", label="Accent", unit="dB", signed=True, source=_STROKE, in_table=False,
        about="Loudness at one place of the bar against the mean of all places.",
    ),
    Figure(
        path="stroke.up_against_down.offset_ms", label="Up-strokes later by", unit="ms", signed=True, source=_STROKE,
        remark="{up.n} up, {down.n} down, {source}", about="How much later up-strokes are.",
    ),
    Figure(
        path="stroke.up_against_down.level_db", label="Up-strokes louder by", unit="dB", signed=True, source=_STROKE,
        remark="{up.n} up, {down.n} down, {source}", about="How much louder up-strokes are.",
    ),
    *(
        row
        for side, strokes in (("down", "Down-strokes"), ("up", "Up-strokes"))
        for row in (
            Figure(
                path=f"stroke.up_against_down.{side}.jitter_ms", label=f"{strokes}, jitter", unit="ms", source=_STROKE,
                in_table=False, about="About the drift line and their own mean.",
            ),
            Figure(
                path=f"stroke.up_against_down.{side}.level_db", label=f"{strokes}, loudness", unit="dB", signed=True,
                source=_STROKE, in_table=False, about="Mean loudness against the take's median strum.",
            ),
            Figure(
                path=f"stroke.up_against_down.{side}.spread_ms", label=f"{strokes}, spread", unit="ms", source=_STROKE,
                in_table=False, about="Mean time from first to last string.",
            ),
        )
    ),
    Figure(
        path="correction.corrected_share", label="Of an error corrected", unit="share",
        source="strumclock.correction.measure_correction", remark="by the next strum",
        about="Share of an error that the next strum corrects.",
    ),
    Figure(
        path="correction.clock_ms", label="Inner clock", unit="ms", in_table=False,
        source="strumclock.correction.measure_correction",
        about="Standard deviation of the inner clock, which wanders.",
    ),
    Figure(
        path="correction.hand_ms", label="Hand", unit="ms", in_table=False,
        source="strumclock.correction.measure_correction",
        about="Standard deviation of the hand, whose scatter is gone by the next strum but one.",
    ),
    Figure(
        path="tuning.cents", label="Pitch", unit="cents", signed=True, source="strumclock.tuning.take_pitch",
        remark="at A = {a4_hz:g} Hz", about="Against equal temperament, within half a semitone; positive = sharp.",
    ),
)  # fmt: skip

COMPARED = tuple(figure for figure in FIGURES if figure.compared)
"""What the comparison of two takes tells the difference of."""

RELATIVE_JITTER = "jitter_percent"
"""What it compares of takes at two tempi: jitter in per cent of the time from strum to strum."""

COLUMNS = {figure.path: figure.column for figure in FIGURES if figure.column is not None}
"""The columns of figures in the practice record's table of takes, by their places in the JSON."""

_BY_PATH = {figure.path: figure for figure in FIGURES}

PARTS_IN_WORDS = {
    "changes": "chord changes",
    "tuning": "pitch",
    "stroke": "the stroke",
    "correction": "how errors are corrected",
    "held": "whether the tempo is held",
}
"""What a sentence calls a whole part of the result that is not known."""
