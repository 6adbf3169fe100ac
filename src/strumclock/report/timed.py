"""Sentences on how a take was timed: early or late, evenness, pace, where in the bar, what was played.

A lean whose interval includes zero is no lean, and "on the click" is said only where the whole interval is less than
ears can tell.
"""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from strumclock.report import words
from strumclock.report.places import count_name, place_in_words

if TYPE_CHECKING:
    from strumclock.pipeline import Measurement
    from strumclock.timing import Estimate, Timing


STRAIGHT = 0.5  # place of the second of two even parts in the beat


def offset(measurement: Measurement) -> str:
    """Early or late on average, and whether ears can tell."""
    timing = timing_of(measurement)
    mean = timing.mean_offset_ms
    if mean is None:
        return ""  # its reason stands under what is not known
    fits = f"{words.side(mean.value)} as measured; anything {words.between_sides(mean)} would fit"
    if not mean.excludes(0):
        if reach(mean) <= timing.audible_ms:
            return f"On the click, as far as ears can tell: {fits}."
        return f"No clear lean early or late: {fits}."
    text = f"On average {words.amount(mean.value)} {'late' if mean.value > 0 else 'early'}, {words.spread(mean)}"
    if reach(mean) <= timing.audible_ms:
        return f"{text}: less than ears can tell."
    if min(abs(mean.low), abs(mean.high)) <= timing.audible_ms:
        return f"{text}: around the limit of what ears can tell."
    return f"{text}. If that was meant, keep it: late and early can be a choice."


def evenness(measurement: Measurement) -> str:
    """How far the strums scatter, and how many lie within the tolerance."""
    timing = timing_of(measurement)
    said = []
    if timing.jitter_ms is not None:
        said.append(
            f"Your strums scatter by {words.amount(timing.jitter_ms.value)}, {words.spread_of_size(timing.jitter_ms)}"
        )
    within = timing.within_tolerance
    if within is not None:
        share = "all" if within.share.value == 1 else words.percent(within.share.value)
        whose = "them" if said else "your strums"
        said.append(f"{share} of {whose} lie within {words.tolerance(within.tolerance_ms)} of your own average")
    return words.sentence("; ".join(said)) if said else ""


def pace(measurement: Measurement) -> str:
    """Falling behind or pulling ahead; a word for it only where the take shows it and ears can tell."""
    timing = timing_of(measurement)
    drift = timing.drift_ms_per_min
    if drift is None:
        return ""
    minutes = take_minutes(measurement)
    fitted = measurement.grid is not None and measurement.grid.anchor == "fitted"
    reference = "the tempo told" if fitted else "the click"
    in_all = f"about {words.amount(drift.value * minutes)} over the take"
    word = pace_word(measurement)
    if word:
        did = "pulled ahead of" if drift.value < 0 else "fell behind"
        return f"You {did} {reference} by {words.amount(drift.value)} a minute, {words.spread(drift)}: {in_all}."
    small = reach(drift) * minutes <= timing.audible_ms
    if drift.excludes(0):
        limit = "less than ears can tell" if small else "around the limit of what ears can tell"
        side = "ahead of" if drift.value < 0 else "behind"
        by = f"{words.amount(drift.value)} a minute, {words.spread(drift)}"
        return f"A drift {side} {reference} of {by}: {in_all}, {limit}."
    if small:
        return f"You kept pace with {reference}: any drift over the take is less than ears can tell."
    low, high = (words.side(end * minutes, late="behind", early="ahead") for end in (drift.low, drift.high))
    return f"No proof of falling behind or pulling ahead: over the take, anything from {low} to {high} would fit."


def where(measurement: Measurement) -> str:
    """The beat, part or chord changes that stand out: only where chance is ruled out and ears can tell."""
    m = measurement
    said = [
        f"{place_in_words(finding, m)} come {words.side(finding.size.value, late='later', early='earlier')} "
        f"than the others ({words.spread(finding.size)})"
        for finding in timing_of(m).named
        if finding.kind in ("beat", "part") or (finding.kind == "changes" and m.changes is None)
    ]
    return f"Your strums {words.listed(said)}." if said else ""


def swing(measurement: Measurement) -> str:
    """Where in the beat the second of two strums lies: of a swing, and of off-beats that come clearly later."""
    m, timing = measurement, timing_of(measurement)
    place, told = timing.swing, m.exercise.swing
    later = place is not None and place.low > STRAIGHT and any(finding.kind == "part" for finding in timing.named)
    if place is None or not (later or (told is not None and told != STRAIGHT)):
        return ""
    way, span = words.fixed(place.value, 2), words.interval(place, signed=False, decimals=2)
    said = f"The strums on the “&” lie {way} of the way from beat to beat ({span}; halfway is 0.50)"
    if told is None or told == STRAIGHT:
        return f"{said}. If a swing is meant, tell it: --swing {way}."
    if "swing" in m.inferred:
        return f"{said}: read as a swing. Tell --swing 0.5 if straight strums are meant."
    return f"{said}; {words.fixed(told, 2)} was told."


def played(measurement: Measurement) -> str:
    """What was left out, added and ignored."""
    m, timing = measurement, timing_of(measurement)
    slots, strums = timing.n + len(m.omitted), len(m.strums)
    added = added_strums(m)
    said = []
    if timing.n == 0 and m.left_click and not added:
        return left_aside(m)
    if timing.n == 0:
        which = "None of the strums fell" if strums > 1 else "The one strum fell on none" if strums else "No strum fell"
        place = " of the places of the pattern" if strums == 1 else " on a place of the pattern"
        said.append(f"{which}{place}: see that tempo, pattern and first downbeat are those that were played")
    elif m.omitted:
        per_beat = m.exercise.per_beat or 1
        places = [f"bar {o.bar} beat {count_name(o.beat, o.part, per_beat)}" for o in m.omitted]
        said.append(f"{len(m.omitted)} of {words.count(slots, 'strum')} left out ({words.some(places, at_most=3)})")
    elif "pattern" not in m.inferred:
        said.append(
            "The one strum asked for was played" if slots == 1 else f"All {slots} strums of the pattern were played"
        )
    if added and timing.n:
        said.append(f"{added} added between")
    if said and m.left_click:
        said[0] = f"beside the stretch that left the click: {said[0][:1].lower()}{said[0][1:]}"
    aside = left_aside(m)
    return " ".join(part for part in (words.sentence("; ".join(said)) if said else "", aside) if part)


def left_aside(measurement: Measurement) -> str:
    """Sounds in no figure, by reason: not taken for strums, or outside the exercise."""
    reasons = Counter(item.reason for item in measurement.ignored)
    if not reasons:
        return ""
    total = sum(reasons.values())
    told = words.listed(f"{reason} ({n})" if len(reasons) > 1 else reason for reason, n in reasons.most_common())
    return words.sentence(f"{words.count(total, 'other sound')} left aside: {told}")


def left_click(measurement: Measurement) -> str:
    """Where the player kept a tempo beside the click's."""
    stretches = []
    for left in measurement.left_click:
        at = f"at about {left.played_bpm:.0f} bpm"
        if left.other_bpm is not None:
            at += f" (or {left.other_bpm:.0f}: tell the parts of the beat or the pattern to know which)"
        stretches.append(f"from {words.clock(left.start_s)} to {words.clock(left.end_s)}, {at}")
    return words.sentence(f"You kept a tempo of your own {words.listed(stretches)}") if stretches else ""


def added_strums(measurement: Measurement) -> int:
    """Strums without a slot, but for those in a stretch that kept a tempo of its own."""
    return sum(strum.added for strum in measurement.strums)


def pace_word(measurement: Measurement) -> str:
    """``"falling behind"`` or ``"pulling ahead"`` where there is a drift beyond chance and hearing, else nothing."""
    timing = measurement.timing
    for finding in timing.named if timing is not None else ():
        if finding.kind == "drift":
            return "falling behind" if finding.size.value > 0 else "pulling ahead"
    return ""


def reach(estimate: Estimate) -> float:
    """The larger size of an interval's two ends."""
    return max(abs(estimate.low), abs(estimate.high))


def take_minutes(measurement: Measurement) -> float:
    """From the first strum on a slot to the last, in minutes."""
    times = [strum.time_s for strum in measurement.strums if strum.slot is not None]
    return (times[-1] - times[0]) / 60 if times else 0.0


def timing_of(measurement: Measurement) -> Timing:
    if measurement.timing is None:
        raise ValueError("this sentence needs a take that was held against a grid; it was measured with --free")
    return measurement.timing
