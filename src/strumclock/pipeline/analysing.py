"""What the strums of a take say once each has its slot: stage by stage the figures, and what is concluded from them."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from strumclock.alignment import Alignment
from strumclock.chords import Changes
from strumclock.correction import Correction, measure_correction
from strumclock.errors import Absent
from strumclock.grid import PER_BEAT_RANGE
from strumclock.onsets import Strums
from strumclock.pipeline.components import Heard, chord_names, hear, take_changes, take_spreads, take_stroke
from strumclock.pipeline.judging import take_conclusion
from strumclock.pipeline.listening import Listened
from strumclock.pipeline.options import MeasureOptions
from strumclock.stroke import Spreads, Stroke
from strumclock.timing import SoundPath, Timing, aligned_strums, anchoring_of, errors_of, measure_timing, sound_path
from strumclock.timing.sound_path import SPEED_OF_SOUND_M_PER_S
from strumclock.verdict import Conclusion

# Anywhere from 0.3 to 0.9 m, sitting or standing: rectangular (GUM 4.3.7).
GUITAR_TO_EAR_M, GUITAR_TO_EAR_U_M = 0.6, 0.17


@dataclass(frozen=True, slots=True, kw_only=True)
class Analysis:
    """What each stage after the alignment found, or why it found nothing.

    Attributes
    ----------
    heard : Heard
        Chords and pitch.
    spreads : Spreads
    timing : Timing
    changes, stroke, correction : object or Absent
    conclusion : Conclusion
    """

    heard: Heard
    spreads: Spreads
    timing: Timing
    changes: Changes | Absent
    stroke: Stroke | Absent
    correction: Correction | Absent
    conclusion: Conclusion


def analyse(heard: Listened, alignment: Alignment, options: MeasureOptions) -> Analysis:
    """Every stage after the alignment, in its order."""
    strums, low = heard.strums, heard.low
    components = hear(low, strums, alignment, changes=options.changes, tuning=options.tuning)
    spreads = take_spreads(low, strums)
    timing = take_timing(strums, spreads, alignment, components, options)
    return Analysis(
        heard=components,
        spreads=spreads,
        timing=timing,
        changes=take_changes(components, strums, alignment, timing, asked=options.changes),
        stroke=take_stroke(low, strums, spreads, alignment, timing),
        correction=take_correction(strums, alignment, timing, components),
        conclusion=take_conclusion(strums, alignment, timing, components, options),
    )


def take_timing(
    strums: Strums, spreads: Spreads, alignment: Alignment, heard: Heard, options: MeasureOptions
) -> Timing:
    """The figures of the strums that were meant for a slot."""
    on = np.flatnonzero(alignment.slot >= 0)
    placed = aligned_strums(
        replace(alignment, strums=strums),
        at_change=heard.at_change,
        chord=chord_names(heard, alignment, on),
        spread_s=spreads.spread_s,
    )
    return measure_timing(
        placed,
        anchoring=anchoring_of(alignment, same_clock=options.same_clock),
        errors=errors_of(strums, spread_u_s=spreads.shared_u_s),
        path=take_path(options),
        tolerance_s=list(map(options.judged_by.tolerance_s, placed.part_s.tolist())),
    )


def take_path(options: MeasureOptions) -> SoundPath:
    """The sound's way; the guitar is in the player's arms, so its way to the ear is known as soon as the click's is."""
    known = {"guitar_to_mic_m": options.guitar_to_mic_m, "click_to_mic_m": options.click_to_mic_m}
    if options.click_to_ear_m is None:
        return sound_path(**known)
    path = sound_path(**known, guitar_to_ear_m=GUITAR_TO_EAR_M, click_to_ear_m=options.click_to_ear_m)
    return replace(path, u_s=math.hypot(path.u_s, GUITAR_TO_EAR_U_M / SPEED_OF_SOUND_M_PER_S))


def take_correction(strums: Strums, alignment: Alignment, timing: Timing, heard: Heard) -> Correction | Absent:
    """How errors travel from strum to strum."""
    on = alignment.slot >= 0
    at = alignment.slot[on]
    return measure_correction(
        timing.deviation_ms,
        at,
        u_ms=1000 * strums.u_s[on],
        at_change=heard.at_change[on],
        place=PER_BEAT_RANGE[1] * alignment.grid.beat[at] + alignment.grid.part[at],
    )
