"""Sentences on what the timing is made of: chord changes, the stroke, how errors are corrected, pitch."""

from __future__ import annotations

from typing import TYPE_CHECKING

from strumclock.report import words

if TYPE_CHECKING:
    from strumclock.pipeline import Measurement
    from strumclock.stroke.values import Heard, UpAgainstDown
    from strumclock.timing import Estimate


def changes(measurement: Measurement) -> str:
    """What chord changes cost: how many, how late the new chord starts, which pair comes latest, what is lost."""
    told = measurement.changes
    if told is None:
        return ""
    n = words.count(len(told.changes), "chord change")
    rate = told.changes_per_minute
    said = [n if rate is None else f"{n}, {words.number(rate.value)} a minute"]
    late = told.lateness_ms
    if late is not None and late.excludes(0):
        said.append(f"strums at changes come {_later(late.value)} than the others, {words.spread(late)}")
    elif late is not None:
        said.append(f"strums at changes are not clearly later or earlier than the others ({_fits(late)})")
    pair = told.costliest
    if pair is not None:
        how_sure = words.spread(pair.late_ms) if pair.late_ms.excludes(0) else _fits(pair.late_ms)
        which = f"{pair.from_chord} to {pair.to_chord} ({pair.n} times)"
        said.append(
            f"of the pairs played often enough to tell, {which} is latest: {_later(pair.late_ms.value)}, {how_sure}"
        )
    lost = sum(change.lost for change in told.changes)
    if lost:
        said.append(f"{words.count(lost, 'strum')} left out around them")
    if measurement.timing is None and told.click_bpm_one_bar is not None:
        said.append(
            f"a click of {words.bpm(told.click_bpm_one_bar)} bpm with a change every four beats asks for the same"
        )
    return words.sentence("; ".join(said))


def tuning(measurement: Measurement) -> str:
    """The whole guitar's pitch, reported without judgement."""
    told = measurement.tuning
    if told is None:
        return ""
    cents, reference = told.cents, f"equal temperament at A = {told.a4_hz:g} Hz"
    if cents.excludes(0):
        side = words.side(cents.value, late="above", early="below", unit="cents")
        said = f"The guitar sounds {side} {reference}, {words.spread(cents, 'cents')}"
    else:
        ends = words.between_sides(cents, late="above", early="below", unit="cents")
        said = f"The guitar's pitch does not clearly differ from {reference}: anything {ends} would fit"
    return f"{said}. Whole semitones, as with a capo, cannot be told."


def stroke(measurement: Measurement) -> str:
    """The stroke itself: how long it takes, directions by the sound, up against down, evenness of loudness."""
    told = measurement.stroke
    if told is None:
        return ""
    said = []
    if told.spread_ms is not None:
        taken = f"{words.amount(told.spread_ms.value)} from the first string to the last"
        said.append(f"a strum takes {taken}, {words.spread_of_size(told.spread_ms)}")
    if told.heard is not None:
        said.append(_directions(told.heard))
    if told.up_against_down is not None:
        said.append(_up_against_down(told.up_against_down))
    if told.evenness_db is not None:
        scatter = words.amount(told.evenness_db.value, "dB")
        said.append(f"loudness varies by {scatter}, {words.spread_of_size(told.evenness_db, 'dB')}")
    return words.sentence("; ".join(part for part in said if part)) if said else ""


def _directions(heard: Heard) -> str:
    """Up- and down-strokes by the sound, with how sure that is."""
    known = heard.n_down + heard.n_up
    if not known:
        return ""
    said = f"by the sound {heard.n_down} down and {heard.n_up} up, {words.percent(heard.right)} of these likely right"
    if heard.agrees is not None:
        said += f" and {words.percent(heard.agrees)} as the pattern has them"
    return f"{said}; {heard.n_unsure} cannot be told" if heard.n_unsure else said


def _up_against_down(sides: UpAgainstDown) -> str:
    """How up-strokes differ from down-strokes, only where the difference excludes zero."""
    differ, alike = [], []
    for estimate, word, (more, less), unit in (
        (sides.offset_ms, "time", ("later", "earlier"), "ms"),
        (sides.level_db, "loudness", ("louder", "quieter"), "dB"),
    ):
        if estimate is None:
            continue
        if estimate.excludes(0):
            side = words.side(estimate.value, late=more, early=less, unit=unit)
            differ.append(f"{side} ({words.spread(estimate, unit)})")
        else:
            alike.append(word)
    if differ:
        return f"up-strokes are {words.listed(differ)} than down-strokes"
    return f"up- and down-strokes do not clearly differ in {words.listed(alike, last='or')}" if alike else ""


def correction(measurement: Measurement) -> str:
    """How errors travel from strum to strum, and whether late chord changes may be among these errors."""
    told = measurement.correction
    if told is None:
        return ""
    share = told.corrected_share
    low, value, high = (f"{100 * x:.0f}" for x in (share.low, share.value, share.high))
    said = f"Of each error the next strum corrects about {value} % ({low} to {high} %)."
    if share.low > 1:
        said = (
            f"Each error is overcorrected: the next strum makes up for {value} % of it ({low} to {high} %), "
            "so late and early strums take turns."
        )
    chords = measurement.exercise.chords
    if told.changes_known or (chords is not None and len(set(chords)) == 1):
        return said
    return f"{said} Late chord changes, if any, were not taken out first and may count among these errors."


def _later(value_ms: float) -> str:
    return words.side(value_ms, late="later", early="earlier")


def _fits(estimate: Estimate) -> str:
    return f"anything {words.between_sides(estimate, late='later', early='earlier')} would fit"
