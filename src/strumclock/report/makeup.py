"""Sentences on what the timing is made of: chord changes, the stroke, how errors are corrected, pitch."""

from __future__ import annotations

from typing import TYPE_CHECKING

from strumclock.report import words

if TYPE_CHECKING:
    from strumclock.measure import Measurement
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
    """The stroke itself."""
    del measurement
    return ""


def correction(measurement: Measurement) -> str:
    """How errors travel from strum to strum."""
    return measurement.correction.sentence if measurement.correction is not None else ""


def _later(value_ms: float) -> str:
    return words.side(value_ms, late="later", early="earlier")


def _fits(estimate: Estimate) -> str:
    return f"anything {words.between_sides(estimate, late='later', early='earlier')} would fit"
