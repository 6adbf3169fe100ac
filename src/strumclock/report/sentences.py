"""What a take came to, sentence by sentence, in the words of a patient teacher.

Each function answers one question and returns a sentence that is true of the figures it rests on, also at their edges:
an interval that includes zero is "no clear lean", never "on the click"; what is too small to hear is said to be so; what
cannot be known is said with its reason. Nothing scolds: late and early can be meant.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from pathlib import PurePath
from typing import TYPE_CHECKING

from strumclock.report import words
from strumclock.report.schema import absences

if TYPE_CHECKING:
    from strumclock.measure import Measurement
    from strumclock.timing import Finding, Timing

CAUTION = "Stop at any pain or tension."

_PARTS = {1: ("",), 2: ("", "&"), 3: ("", "&", "a"), 4: ("", "e", "&", "a")}  # how musicians count the parts of a beat
_OMITTED_SHARE = 0.1  # of the slots; above it the hand stops rather than slips
_FIGURES = {
    "timing.mean_offset_ms": "early or late",
    "timing.median_offset_ms": "early or late",
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
        rows = [("Strums", found(m)), ("Left aside", left_aside(m)), ("Pitch", tuning(m))]
    else:
        rows = [
            ("On the click", offset(m)),
            ("Evenness", evenness(m)),
            ("Pace", pace(m)),
            ("Where", where(m)),
            ("Played", played(m)),
            ("Left the click", left_click(m)),
            ("Chord changes", changes(m)),
            ("Stroke", stroke(m)),
            ("Correcting", correction(m)),
            ("Pitch", tuning(m)),
            ("Tempo", tempo(m)),
            ("Next", following(m)),
        ]
    rows += [("Not known", text) for text in not_known(m)]
    rows += [("Note", words.sentence(notice.message)) for notice in m.warnings]
    return tuple(Line(topic=topic, text=text) for topic, text in rows if text)


def title(measurement: Measurement) -> str:
    """Which take this is: exercise or file, tempo, how much was played."""
    m, exercise = measurement, measurement.exercise
    name = exercise.name or (PurePath(m.take.path).stem if m.take.path else "One take")
    details = []
    if m.grid is not None:
        details = [f"{words.bpm(exercise.bpm)} bpm"] if exercise.bpm else []
        if exercise.changes_per_minute:
            details.append(f"{words.bpm(exercise.changes_per_minute)} chord changes a minute")
        details += [text for text in (exercise.meter, exercise.pattern) if text]
    details.append(f"{words.count(len(m.strums), 'strum')} in {words.clock(m.take.duration_s)}")
    return f"{name}: {', '.join(details)}"


def headline(measurement: Measurement) -> str:
    """The take in one short line, for the head of a picture: place, evenness, pace."""
    timing = measurement.timing
    if timing is None:
        return f"{words.count(len(measurement.strums), 'strum')} found"
    if timing.n == 0:
        return "No strum on a place of the pattern"
    parts = []
    mean = timing.mean_offset_ms
    if mean is not None:
        if not mean.excludes(0):
            parts.append("no clear lean early or late")
        else:
            parts.append(f"{words.side(mean.value)} on average")
    if timing.jitter_ms is not None:
        parts.append(f"scatter {words.amount(timing.jitter_ms.value)}")
    drift = _pace_word(measurement)
    if drift:
        parts.append(drift)
    if not parts:
        return f"{words.count(timing.n, 'strum')}: too few for figures"
    text = ", ".join(parts)
    return text[:1].upper() + text[1:]


def found(measurement: Measurement) -> str:
    """Without a grid: how many strums, where, how well timed."""
    strums = measurement.strums
    if not strums:
        return "No strums were found."
    middle = sorted(strum.u_ms for strum in strums)[len(strums) // 2]
    span = f"the first at {strums[0].time_s:.2f} s, the last at {strums[-1].time_s:.2f} s" if len(strums) > 1 else f"at {strums[0].time_s:.2f} s"
    return f"{words.count(len(strums), 'strum')}, {span}; half of their times are known to ± {words.number(middle)} ms or better (standard uncertainty)."


def offset(measurement: Measurement) -> str:
    """Early or late on average, and whether ears can tell."""
    timing = _timing(measurement)
    mean = timing.mean_offset_ms
    if timing.n == 0:
        return ""
    if mean is None:
        return ""  # its reason stands under what is not known
    farthest = max(abs(mean.low), abs(mean.high))
    if not mean.excludes(0):
        if farthest <= timing.audible_ms:
            return (
                f"On the click, as far as ears can tell: on average {words.side(mean.value)}, "
                f"and takes like this one come out {words.between_sides(mean)}."
            )
        return (
            f"No clear lean early or late: on average {words.side(mean.value)}, "
            f"but takes like this one come out anywhere {words.between_sides(mean)}."
        )
    text = f"On average {words.side(mean.value)}, {words.spread(mean)}"
    if farthest <= timing.audible_ms:
        return f"{text}: less than ears can tell."
    if min(abs(mean.low), abs(mean.high)) <= timing.audible_ms:
        return f"{text}: around the limit of what ears can tell."
    return f"{text}. That can be a choice: if you meant it, keep it."


def evenness(measurement: Measurement) -> str:
    """How far the strums scatter, and how many lie within the tolerance."""
    timing = _timing(measurement)
    said = []
    if timing.jitter_ms is not None:
        said.append(f"Your strums scatter by {words.amount(timing.jitter_ms.value)} (standard deviation; {words.spread(timing.jitter_ms)})")
    within = timing.within_tolerance
    if within is not None:
        inside = f"{words.percent(within.share.value)} of them lie within {words.amount(within.tolerance_ms)} of your own average"
        said.append(inside if said else inside.replace("of them", "of your strums", 1))
    return words.sentence("; ".join(said)) if said else ""


def pace(measurement: Measurement) -> str:
    """Falling behind or pulling ahead; a word for it only where the take shows it and ears can tell."""
    drift = _timing(measurement).drift_ms_per_min
    if drift is None:
        return ""
    minutes = _minutes(measurement)
    word = _pace_word(measurement)
    reference = "the tempo told" if measurement.grid is not None and measurement.grid.anchor == "fitted" else "the click"
    per_minute = f"{words.amount(drift.value)} a minute, {words.spread(drift)}"
    total = words.amount(drift.value * minutes)
    if word:
        return f"You were {word}, against {reference}: by {per_minute}; about {total} from the first strum to the last."
    if drift.excludes(0):
        return f"Steady as far as ears can tell: the drift against {reference} is {per_minute}, in all about {total} in this take."
    farthest = max(abs(drift.low), abs(drift.high)) * minutes
    if farthest <= _timing(measurement).audible_ms:
        return f"You kept pace with {reference}: any drift in this take is smaller than ears can tell."
    ends = words.between_sides(drift, late="behind", early="ahead")
    return f"No sign of falling behind or pulling ahead that this take could prove: {ends} a minute would all fit."


def where(measurement: Measurement) -> str:
    """The beat, part or chord changes that stand out: only where chance is ruled out and ears can tell."""
    m = measurement
    said = [
        f"{words.amount(finding.contrast.value)} {'later' if finding.contrast.value > 0 else 'earlier'} {place_in_words(finding, m)}"
        for finding in _timing(m).named
        if finding.kind in ("beat", "part")
    ]
    return f"You strum {words.listed(said)} than elsewhere." if said else ""


def played(measurement: Measurement) -> str:
    """What was left out, added and ignored."""
    m, timing = measurement, _timing(measurement)
    slots = timing.n + len(m.omitted)
    added = sum(strum.slot is None for strum in m.strums)
    said = []
    if timing.n == 0:
        said.append(
            f"None of the {words.count(len(m.strums), 'strum')} fell on a place of the pattern: "
            "see that tempo, pattern and first downbeat are those that were played"
        )
    elif m.omitted:
        per_beat = m.exercise.per_beat or 1
        places = [f"bar {o.bar} beat {count_name(o.beat, o.part, per_beat)}" for o in m.omitted]
        said.append(f"{len(m.omitted)} of {words.count(slots, 'strum')} left out ({words.some(places, at_most=3)})")
    elif "pattern" not in m.inferred:
        said.append(f"All {words.count(slots, 'strum')} of the pattern played" if slots > 1 else "The one strum of the pattern was played")
    if added and timing.n:
        said.append(f"{added} added between")
    aside = left_aside(m)
    return " ".join(part for part in (words.sentence("; ".join(said)) if said else "", aside) if part)


def left_aside(measurement: Measurement) -> str:
    """Sounds that were not taken for strums, by reason."""
    reasons = Counter(item.reason for item in measurement.ignored)
    if not reasons:
        return ""
    total = sum(reasons.values())
    told = words.listed(f"{reason} ({n})" if len(reasons) > 1 else reason for reason, n in reasons.most_common())
    return words.sentence(f"{words.count(total, 'other sound')} not taken for {'a strum' if total == 1 else 'strums'}: {told}")


def left_click(measurement: Measurement) -> str:
    """Where the player kept a tempo beside the click's."""
    stretches = [
        f"from {words.clock(left.start_s)} to {words.clock(left.end_s)} at about {words.bpm(left.played_bpm)} bpm"
        for left in measurement.left_click
    ]
    return words.sentence(f"You kept a tempo of your own {words.listed(stretches)}") if stretches else ""


def tempo(measurement: Measurement) -> str:
    """Whether the take holds its tempo, by the standard."""
    held, bpm = measurement.held, measurement.exercise.bpm
    if held is None:
        return ""
    at = f"{words.bpm(bpm)} bpm" if bpm else "the tempo"
    if held.held:
        return f"You held {at} (standard “{held.standard.name}”)."
    why = "; ".join(reason.rstrip(".") for reason in held.failed)
    if held.held is None:
        return words.sentence(f"Whether {at} is held is not judged yet" + (f": {why}" if why else ""))
    return words.sentence(f"{at} is not held yet (standard “{held.standard.name}”)" + (f": {why}" if why else ""))


def following(measurement: Measurement) -> str:
    """The next tempo with its caution, and one thing to try."""
    held, bpm = measurement.held, measurement.exercise.bpm
    said = []
    if held is not None and held.next_bpm is not None:
        following_bpm = words.bpm(held.next_bpm)
        if bpm is None or held.held is None:
            said.append(f"A tempo to start from: {following_bpm} bpm.")
        elif words.bpm(bpm) == following_bpm:
            said.append(f"Stay at {following_bpm} bpm.")
        elif held.next_bpm > bpm:
            said.append(f"Next time try {following_bpm} bpm.")
        else:
            said.append(f"Take it down to {following_bpm} bpm.")
    said.append(to_try(measurement))
    if len(said) > 1:
        said.append(CAUTION)
    return " ".join(part for part in said if part)


def to_try(measurement: Measurement) -> str:
    """One thing to try next: the first that the take gives reason for."""
    m, timing = measurement, _timing(measurement)
    slots = timing.n + len(m.omitted)
    if timing.n == 0:
        return ""
    if m.left_click:
        return f"Listen once to the recording around {words.clock(m.left_click[0].start_s)}, where you and the click part, then play just that place."
    if m.omitted and len(m.omitted) > _OMITTED_SHARE * slots:
        return "Keep the strumming hand moving through every stroke, even where the chord is not ready."
    late = m.changes.lateness_ms if m.changes is not None else None
    if late is not None and late.low > 0 and late.value > timing.audible_ms:
        pair = m.changes.costliest if m.changes is not None else None
        which = f"the change from {pair.from_chord} to {pair.to_chord}" if pair is not None else "the chord changes"
        return f"Try {which} alone and slowly, the strumming hand never waiting."
    places = [finding for finding in timing.named if finding.kind in ("beat", "part")]
    if places:
        return f"Count aloud and listen only to the strum {place_in_words(places[0], m)}."
    if _pace_word(m):
        return "Let your foot go with the click, and the hand with the foot."
    if m.held is not None and m.held.held is False:
        return "Mute the strings and strum the pattern with the click until the hand swings evenly, then add the chords."
    if m.held is not None and m.held.held:
        return "The same again on another day shows whether it stays."
    if m.held is not None and timing.n < m.held.standard.min_slots:
        standard = m.held.standard
        return f"A longer take tells more: {standard.min_slots} strums and {standard.min_duration_s:g} seconds at least."
    return ""


def not_known(measurement: Measurement) -> list[str]:
    """What cannot be known from this take and why, one sentence for each reason."""
    by_reason: dict[str, list[str]] = {}
    for path, reason in absences(measurement).items():
        name = _FIGURES.get(path)
        if name is not None and name not in by_reason.setdefault(reason, []):
            by_reason[reason].append(name)
    return [words.sentence(f"{words.listed(names)}: {reason}") for reason, names in by_reason.items() if names]


def changes(measurement: Measurement) -> str:
    """What chord changes cost."""
    told = measurement.changes
    if told is None:
        return ""
    n = len(told.changes)
    said = [words.count(n, "chord change")]
    rate = told.changes_per_minute
    if rate is not None:
        said[0] += f", {words.number(rate.value)} a minute"
    late = told.lateness_ms
    if late is not None:
        if not late.excludes(0):
            said.append(f"strums at changes are neither clearly later nor earlier than the others ({words.between_sides(late, late='later', early='earlier')})")
        else:
            said.append(f"strums at changes fall {words.side(late.value, late='later', early='earlier')} than the others, {words.spread(late)}")
    pair = told.costliest
    if pair is not None:
        said.append(
            f"from {pair.from_chord} to {pair.to_chord} comes latest "
            f"({words.side(pair.late_ms.value, late='later', early='earlier')} over {words.count(pair.n, 'change')}, {words.between_sides(pair.late_ms, late='later', early='earlier')})"
        )
    lost = sum(change.lost for change in told.changes)
    if lost:
        said.append(f"{words.count(lost, 'strum')} left out around them")
    return words.sentence("; ".join(said))


def tuning(measurement: Measurement) -> str:
    """The whole guitar's pitch, reported without judgement."""
    told = measurement.tuning
    if told is None:
        return ""
    cents = told.cents
    where_ = f"{words.side(cents.value, late='above', early='below', unit='cents')}" if cents.excludes(0) else "level with"
    reference = f"equal temperament at A = {told.a4_hz:g} Hz"
    if cents.excludes(0):
        return f"The guitar sounds {where_} {reference}, {words.spread(cents, 'cents')}; whole semitones, as with a capo, are not heard."
    return f"The guitar sounds at the pitch of {reference} as far as this take tells ({words.between_sides(cents, late='above', early='below', unit='cents')})."


def stroke(measurement: Measurement) -> str:
    """The stroke itself."""
    del measurement
    return ""


def correction(measurement: Measurement) -> str:
    """How errors travel from strum to strum."""
    del measurement
    return ""


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
    """``"falling behind"`` or ``"pulling ahead"`` where timing found a drift beyond chance and hearing, else nothing."""
    timing = measurement.timing
    found_ = [finding.direction for finding in timing.named if finding.kind == "drift"] if timing is not None else []
    return found_[0] if found_ else ""


def _minutes(measurement: Measurement) -> float:
    """From the first strum on a slot to the last, in minutes."""
    times = [strum.time_s for strum in measurement.strums if strum.slot is not None]
    return (times[-1] - times[0]) / 60 if times else 0.0


def _timing(measurement: Measurement) -> Timing:
    if measurement.timing is None:
        raise ValueError("this sentence needs a take that was held against a grid; it was measured with --free")
    return measurement.timing
