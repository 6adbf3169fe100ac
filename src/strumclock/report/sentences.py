"""What a take came to, sentence by sentence, in the words of a patient teacher.

Each function answers one question and returns a sentence that is true of the figures it rests on, also at their
edges: a lean whose interval includes zero is no lean, and "on the click" only where the whole interval is less than
ears can tell; what cannot be known is said with its reason. Nothing scolds: late and early can be meant.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from pathlib import PurePath
from typing import TYPE_CHECKING

from strumclock.report import makeup, words
from strumclock.report.schema import absences

if TYPE_CHECKING:
    from strumclock.measure import Measurement
    from strumclock.timing import Estimate, Finding, Held, Timing

CAUTION = "Stop at any pain or tension."

_PARTS = {1: ("",), 2: ("", "&"), 3: ("", "&", "a"), 4: ("", "e", "&", "a")}  # how musicians count the parts of a beat
_OMITTED_SHARE = 0.1  # of the slots; above it the hand stops rather than slips
_UNMISSED = ("stroke", "correction", "timing.body_offset_ms")
_NOT_ASKED = "not asked for"
_TOLD = {
    "bpm": "tempo",
    "meter": "meter",
    "per_beat": "parts of the beat",
    "pattern": "pattern",
    "swing": "swing",
    "count_in": "count-in",
    "chords": "chords",
    "beats_per_change": "beats on each chord",
}
_FIGURES = {
    "timing.mean_offset_ms": "early or late",
    "timing.median_offset_ms": "early or late",
    "timing.body_offset_ms": "the offset of the strum's middle",
    "timing.jitter_ms": "evenness",
    "timing.drift_ms_per_min": "falling behind or pulling ahead",
    "timing.within_tolerance": "how many lie within the tolerance",
    "timing.within_tolerance.share": "how many lie within the tolerance",
    "changes": "chord changes",
    "tuning": "pitch",
    "stroke": "the stroke",
    "correction": "how errors are corrected",
    "held": "whether the tempo is held",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One row of the summary.

    Attributes
    ----------
    topic : str
        A word or two, such as ``"Evenness"``.
    text : str
        One or two sentences.
    """

    topic: str
    text: str


def lines(measurement: Measurement) -> tuple[Line, ...]:
    """Everything that the summary says about a take, in the order in which a student reads it."""
    m = measurement
    if m.timing is None:
        rows = [
            ("Strums", found(m)),
            ("Left aside", left_aside(m)),
            ("Chord changes", makeup.changes(m)),
            ("Stroke", makeup.stroke(m)),
            ("Pitch", makeup.tuning(m)),
        ]
    else:
        rows = [
            ("On the click", offset(m)),
            ("Evenness", evenness(m)),
            ("Pace", pace(m)),
            ("Where", where(m)),
            ("Played", played(m)),
            ("Left the click", left_click(m)),
            ("Chord changes", makeup.changes(m)),
            ("Stroke", makeup.stroke(m)),
            ("Correcting", makeup.correction(m)),
            ("Pitch", makeup.tuning(m)),
            ("Tempo", tempo(m)),
            ("Next", following(m)),
        ]
    rows += [("Found out", inferred(m))]
    rows += [("Not known", text) for text in not_known(m)]
    rows += [("Note", words.sentence(notice.message)) for notice in m.warnings]
    return tuple(Line(topic=topic, text=text) for topic, text in rows if text)


def title(measurement: Measurement) -> str:
    """Which take this is: exercise or file, tempo, how much was played."""
    m, exercise = measurement, measurement.exercise
    name = exercise.name or (PurePath(m.take.path).stem if m.take.path else "One take")
    details = []
    if m.timing is not None:
        details = [at_tempo(m, exercise.bpm)] if exercise.bpm else []
        details += [text for text in (exercise.meter, exercise.pattern) if text]
    details.append(f"{words.count(len(m.strums), 'strum')} in {words.clock(m.take.duration_s)}")
    return f"{name}: {', '.join(details)}"


def at_tempo(measurement: Measurement, bpm: float | None) -> str:
    """A tempo with the chord changes a minute that it means in this exercise."""
    exercise = measurement.exercise
    if bpm is None or exercise.bpm is None or exercise.changes_per_minute is None:
        return f"{words.bpm(bpm)} bpm" if bpm is not None else "this tempo"
    rate = exercise.changes_per_minute * bpm / exercise.bpm
    return f"{words.bpm(bpm)} bpm ({words.bpm(rate)} chord changes a minute)"


def headline(measurement: Measurement) -> str:
    """The take in one short line, for the head of a picture: place, evenness, pace."""
    timing = measurement.timing
    if timing is None:
        return f"{words.count(len(measurement.strums), 'strum')} found"
    if timing.n == 0:
        return "No strum on a place of the pattern"
    if timing.mean_offset_ms is None and timing.jitter_ms is None and timing.drift_ms_per_min is None:
        return f"{words.count(timing.n, 'strum')}: too few for figures"
    mean = timing.mean_offset_ms
    if mean is None:
        parts = ["early or late not known"]
    elif mean.excludes(0):
        parts = [f"{words.side(mean.value)} on average"]
    else:
        parts = [
            "on the click as far as ears can tell"
            if _reach(mean) <= timing.audible_ms
            else "no clear lean early or late"
        ]
    if timing.jitter_ms is not None:
        parts.append(f"scatter {words.amount(timing.jitter_ms.value)}")
    for finding in timing.named[:1] if timing.named and timing.named[0].kind != "drift" else ():
        parts.append(f"{'later' if finding.contrast.value > 0 else 'earlier'} {place_in_words(finding, measurement)}")
    pace_word = _pace_word(measurement)
    text = ", ".join([*parts, pace_word] if pace_word else parts)
    return text[:1].upper() + text[1:]


def found(measurement: Measurement) -> str:
    """Without a grid: how many strums, where, how well timed."""
    strums = measurement.strums
    if not strums:
        return "No strums were found."
    middle = words.number(sorted(strum.u_ms for strum in strums)[len(strums) // 2])
    if len(strums) == 1:
        return f"1 strum, at {strums[0].time_s:.2f} s, known to ± {middle} ms (standard uncertainty)."
    return (
        f"{len(strums)} strums, the first at {strums[0].time_s:.2f} s, the last at {strums[-1].time_s:.2f} s; "
        f"half of their times are known to ± {middle} ms or better (standard uncertainty)."
    )


def offset(measurement: Measurement) -> str:
    """Early or late on average, and whether ears can tell."""
    timing = _timing(measurement)
    mean = timing.mean_offset_ms
    if mean is None:
        return ""  # its reason stands under what is not known
    fits = f"{words.side(mean.value)} as measured; anything {words.between_sides(mean)} would fit"
    if not mean.excludes(0):
        if _reach(mean) <= timing.audible_ms:
            return f"On the click, as far as ears can tell: {fits}."
        return f"No clear lean early or late: {fits}."
    text = f"On average {words.amount(mean.value)} {'late' if mean.value > 0 else 'early'}, {words.spread(mean)}"
    if _reach(mean) <= timing.audible_ms:
        return f"{text}: less than ears can tell."
    if min(abs(mean.low), abs(mean.high)) <= timing.audible_ms:
        return f"{text}: around the limit of what ears can tell."
    return f"{text}. If that was meant, keep it: late and early can be a choice."


def evenness(measurement: Measurement) -> str:
    """How far the strums scatter, and how many lie within the tolerance."""
    timing = _timing(measurement)
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
    timing = _timing(measurement)
    drift = timing.drift_ms_per_min
    if drift is None:
        return ""
    minutes = _minutes(measurement)
    fitted = measurement.grid is not None and measurement.grid.anchor == "fitted"
    reference = "the tempo told" if fitted else "the click"
    in_all = f"about {words.amount(drift.value * minutes)} over the take"
    word = _pace_word(measurement)
    if word:
        did = "pulled ahead of" if drift.value < 0 else "fell behind"
        return f"You {did} {reference} by {words.amount(drift.value)} a minute, {words.spread(drift)}: {in_all}."
    small = _reach(drift) * minutes <= timing.audible_ms
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
        f"{place_in_words(finding, m)} come {words.side(finding.contrast.value, late='later', early='earlier')} "
        f"than the others ({words.spread(finding.contrast)})"
        for finding in _timing(m).named
        if finding.kind in ("beat", "part") or (finding.kind == "change" and m.changes is None)
    ]
    return f"Your strums {words.listed(said)}." if said else ""


def played(measurement: Measurement) -> str:
    """What was left out, added and ignored."""
    m, timing = measurement, _timing(measurement)
    slots, strums = timing.n + len(m.omitted), len(m.strums)
    added = _added(m)
    said = []
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
    """Sounds that were not taken for strums, by reason."""
    reasons = Counter(item.reason for item in measurement.ignored)
    if not reasons:
        return ""
    total = sum(reasons.values())
    told = words.listed(f"{reason} ({n})" if len(reasons) > 1 else reason for reason, n in reasons.most_common())
    return words.sentence(
        f"{words.count(total, 'other sound')} not taken for {'a strum' if total == 1 else 'strums'}: {told}"
    )


def left_click(measurement: Measurement) -> str:
    """Where the player kept a tempo beside the click's."""
    stretches = [
        f"from {words.clock(left.start_s)} to {words.clock(left.end_s)}, at about {left.played_bpm:.0f} bpm"
        for left in measurement.left_click
    ]
    return words.sentence(f"You kept a tempo of your own {words.listed(stretches)}") if stretches else ""


def _added(measurement: Measurement) -> int:
    """Strums without a slot, but for those in a stretch that kept a tempo of its own."""
    return sum(strum.added for strum in measurement.strums)


def tempo(measurement: Measurement) -> str:
    """Whether the take holds its tempo, by the standard."""
    held, bpm = measurement.held, measurement.exercise.bpm
    if held is None or _timing(measurement).n == 0:
        return ""
    at = at_tempo(measurement, bpm)
    if held.held:
        return f"You held {at} by the standard “{held.standard.name}”."
    why = "; ".join(reason.rstrip(".") for reason in held.failed)
    said = (
        "is not judged from this take"
        if held.held is None
        else f"is not held yet by the standard “{held.standard.name}”"
    )
    return words.sentence(f"{at} {said}" + (f": {why}" if why else ""))


def following(measurement: Measurement) -> str:
    """The next tempo with its caution, and one thing to try."""
    held, bpm, said = measurement.held, measurement.exercise.bpm, []
    if _timing(measurement).n == 0:
        return ""
    advised = held.next_bpm if held is not None else None
    if advised is not None:
        at = at_tempo(measurement, advised)
        if bpm is None:
            said.append(f"A tempo to start from: {at}.")
        elif words.bpm(bpm) == words.bpm(advised):
            said.append(f"Stay at {words.bpm(advised)} bpm.")
        else:
            said.append(f"Next tempo: {at}." if advised > bpm else f"Take it down to {at}.")
        if held is not None and held.subdivide:
            said.append("Let the click sound between the beats too.")
    said.append(to_try(measurement))
    if advised is not None:
        said.append(CAUTION)
    return " ".join(part for part in said if part)


def to_try(measurement: Measurement) -> str:
    """One thing to try next: the first that the take gives reason for."""
    m, timing = measurement, _timing(measurement)
    slots = timing.n + len(m.omitted)
    if timing.n == 0:
        return ""
    if m.left_click:
        place = words.clock(m.left_click[0].start_s)
        return f"Listen once to the recording around {place}, where you and the click part, then play just that place."
    if m.omitted and len(m.omitted) > _OMITTED_SHARE * slots:
        return "Keep the strumming hand moving through every stroke, even where the chord is not ready."
    late = m.changes.lateness_ms if m.changes is not None else None
    if late is not None and late.low > 0 and late.value > timing.audible_ms:
        pair = m.changes.costliest if m.changes is not None else None
        which = f"the change from {pair.from_chord} to {pair.to_chord}" if pair is not None else "the chord changes"
        return f"Try {which} alone and slowly, the strumming hand never waiting."
    if any(finding.kind == "change" for finding in timing.named):
        return "Try the chord changes alone and slowly, the strumming hand never waiting."
    if _pace_word(m):
        return "Let your foot go with the click, and the hand with the foot."
    places = [finding for finding in timing.named if finding.kind in ("beat", "part")]
    if places:
        return f"Count aloud and listen only to the strum {place_in_words(places[0], m)}."
    if m.held is not None and m.held.held is False:
        return _to_hold(m, m.held, slots)
    if m.held is not None and m.held.held:
        bpm = m.exercise.bpm
        same = "The same" if bpm is None else f"{words.bpm(bpm)} bpm"
        return f"{same} once more on another day shows whether it stays."
    if m.held is not None and timing.n < m.held.standard.min_slots:
        standard = m.held.standard
        return (
            f"A longer take tells more: {standard.min_slots} strums and {standard.min_duration_s:g} seconds at least."
        )
    return ""


def _to_hold(m: Measurement, held: Held, slots: int) -> str:
    """One thing to try where a take does not hold its tempo and nothing else stands out, by what is missing."""
    if held.even_share is not None and held.even_share < held.standard.even_share:
        return (
            "Mute the strings and strum the pattern with the click until the hand swings evenly, then add the chords."
        )
    if _added(m) > held.standard.added_share * slots:
        return "Were the added strums meant? Then tell the pattern with them; else let the hand pass above the strings."
    mean = _timing(m).mean_offset_ms
    if mean is not None and abs(mean.value) > 1e3 * held.tolerance_s:
        return "If on the click is where you want to be, play muted strums until click and strum are one sound."
    return ""


def not_known(measurement: Measurement, *, all_of_it: bool = False) -> list[str]:
    """What cannot be known from this take and why, one sentence for each reason; what was not asked for is left out.

    Parameters
    ----------
    measurement : Measurement
    all_of_it : bool
        Also what a student will not miss.
    """
    by_reason: dict[str, list[str]] = {}
    for path, reason in absences(measurement).items():
        name = _FIGURES.get(path)
        if name is None or reason.startswith(_NOT_ASKED) or (path in _UNMISSED and not all_of_it):
            continue
        if name not in by_reason.setdefault(reason, []):
            by_reason[reason].append(name)
    return [
        words.sentence(f"{words.listed(names)}: {'this' + reason[2:] if reason.startswith('it ') else reason}")
        for reason, names in by_reason.items()
        if names
    ]


def inferred(measurement: Measurement) -> str:
    """What was found out from the recording: not told, or told otherwise; nothing that was only assumed."""
    m = measurement
    unsaid = {"bars"}  # every take has an end
    if any(notice.code == "meter-assumed" for notice in m.warnings):
        unsaid.add("meter")
    if m.exercise.pattern is None:
        unsaid.add("pattern")
    names = [_TOLD.get(name, name) for name in m.inferred if name not in unsaid]
    return words.sentence(f"{words.listed(names)}: found from the recording") if names else ""


def count_name(beat: int, part: int, per_beat: int) -> str:
    """How a musician counts a place in the bar: ``"3"``, ``"3 &"``.

    Examples
    --------
    >>> count_name(3, 1, 2), count_name(3, 2, 2), count_name(1, 2, 4)
    ('3', '3 &', '1 e')
    """
    parts = _PARTS.get(per_beat, ())
    name = parts[part - 1] if 0 < part <= len(parts) else f"part {part}"
    return f"{beat} {name}".strip()


def place_name(part: int, per_beat: int) -> str:
    """How a part of the beat is called: ``"beat"`` for the first, else ``"&"``, ``"e"``, ``"a"``.

    Examples
    --------
    >>> place_name(1, 2), place_name(2, 2)
    ('beat', '&')
    """
    return count_name(0, part, per_beat).removeprefix("0").strip() or "beat"


def place_in_words(finding: Finding, measurement: Measurement) -> str:
    """Where a finding was made: ``"on beat 3"``, ``"on the “&” of the beats"``, ``"at the chord changes"``."""
    if finding.kind == "change":
        return "at the chord changes"
    if finding.kind == "beat":
        return f"on beat {finding.place}"
    per_beat = measurement.exercise.per_beat or 1
    name = place_name(finding.place or 1, per_beat)
    return "on the beats themselves" if name == "beat" else f"on the “{name}” of the beats"


def _pace_word(measurement: Measurement) -> str:
    """``"falling behind"`` or ``"pulling ahead"`` where there is a drift beyond chance and hearing, else nothing."""
    timing = measurement.timing
    found_ = [finding.direction for finding in timing.named if finding.kind == "drift"] if timing is not None else []
    return found_[0] if found_ else ""


def _reach(estimate: Estimate) -> float:
    """The larger size of an interval's two ends."""
    return max(abs(estimate.low), abs(estimate.high))


def _minutes(measurement: Measurement) -> float:
    """From the first strum on a slot to the last, in minutes."""
    times = [strum.time_s for strum in measurement.strums if strum.slot is not None]
    return (times[-1] - times[0]) / 60 if times else 0.0


def _timing(measurement: Measurement) -> Timing:
    if measurement.timing is None:
        raise ValueError("this sentence needs a take that was held against a grid; it was measured with --free")
    return measurement.timing
