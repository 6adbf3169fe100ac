"""One take through all of it: file → clicks → strums → grid → figures.

The command line, the batch and a notebook all come through `measure`. Each stage can also be called alone by a caller
who already has its input.
"""

from __future__ import annotations

import math
import os
from dataclasses import replace
from types import MappingProxyType

import numpy as np

from strumclock.alignment import ADDED, LEFT_CLICK, OUTSIDE, Alignment, align
from strumclock.audio import Recording, load
from strumclock.chords import Changes
from strumclock.correction import Correction, measure_correction
from strumclock.errors import Absent, Notice, RecordingError, UsageError
from strumclock.grid import PER_BEAT_RANGE, BeatGrid, Exercise, part_places
from strumclock.onsets import Ignored, Strums, find_strums
from strumclock.pipeline.components import (
    Heard,
    Low,
    chord_names,
    hear,
    pictured,
    take_changes,
    take_spreads,
    take_stroke,
)
from strumclock.pipeline.measurement import GridInfo, LeftClick, Measurement, Omitted, Strum, TakeInfo
from strumclock.pipeline.sources import Sound, tell_apart
from strumclock.stroke import Spreads, Stroke
from strumclock.timing import (
    STANDARDS,
    Anchoring,
    Estimate,
    PlacedStrums,
    SoundPath,
    Standard,
    StrumErrors,
    Timing,
    judge_take,
    measure_timing,
    sound_path,
)
from strumclock.timing.sound_path import SPEED_OF_SOUND_M_PER_S

STATED_U_S = 0.002  # of a downbeat or latency that somebody states without saying how well: read off a screen, to 2 ms
# Of the strums' rms u so much is shared by all, since what all strums of a take were taken for may be wrong in all of
# them: then the mean error of 96 in 100 takes by our own synthesiser, and of all those of recorded guitars, lies within
# 2 u (coverage_end_to_end.py; with 0.35 that of 85 in 100).
BIAS_SHARE = 0.45
GUITAR_TO_EAR_M, GUITAR_TO_EAR_U_M = (
    0.6,
    0.17,
)  # anywhere from 0.3 to 0.9 m, sitting or standing: rectangular (GUM 4.3.7)
ONLY_CLICK = 0.03  # of the click's peak: removal leaves more than that of a guitar even 24 dB below its click
LEAST_BIAS_U_S = 0.0003  # and at least this: the median |bias| of the bench's takes
PRIMING = Notice(
    code="priming-unknown",
    message="this file does not say how much silence its codec put before the sound, so its times, and with them the "
    "offsets from a stated downbeat, may be wrong by 5 to 50 ms; record WAV, FLAC or M4A",
)
FEW_STRUMS = 16  # below the standard's least number of slots, figures are printed with a warning
TOO_EVEN_MS = 1.0  # strums of no hand scatter by less: the best keep 3 ms about a click


def measure(
    take: str | os.PathLike[str] | Recording,
    exercise: Exercise | None = None,
    *,
    click: str | os.PathLike[str] = "auto",
    first_downbeat_s: float | None = None,
    midi: str | os.PathLike[str] | None = None,
    latency_ms: float | None = None,
    latency_u_ms: float | None = None,
    start_s: float | None = None,
    end_s: float | None = None,
    same_clock: bool = False,
    click_to_mic_m: float | None = None,
    guitar_to_mic_m: float | None = None,
    click_to_ear_m: float | None = None,
    standard: str | Standard | None = None,
    last_held_bpm: float | None = None,
    changes: bool = False,
    tuning: bool = False,
    free: bool = False,
) -> Measurement:
    """Measure how the strums of one take lie against the click.

    Parameters
    ----------
    take : path or Recording
        A file, or a recording from `audio.load` or `audio.from_array`.
    exercise : Exercise, optional
        What was asked for; what is not told is inferred and listed in the result's ``inferred``.
    click : {"auto", "left", "right", "none"} or path
        Where the click is: in the recording (found out), on one channel, nowhere, or in a file of its own from the same
        recorder.
    first_downbeat_s : float, optional
        Beat 1 of the first played bar [s in the file].
    midi : path, optional
        A Standard MIDI File whose tempo map is the grid.
    latency_ms, latency_u_ms : float, optional
        Known delay of the recording behind the file it was played to, and its standard uncertainty.
    start_s, end_s : float, optional
        Measure only this part of the file [s].
    same_clock : bool
        One device played the click and recorded, so their clocks are one.
    click_to_mic_m, guitar_to_mic_m, click_to_ear_m : float, optional
        Distances [m]; unknown ones widen the mean offset's uncertainty.
    standard : str or Standard, optional
        What counts as held: ``"first-weeks"``, ``"steady"`` (default), ``"tight"``, or one of your own.
    last_held_bpm : float, optional
        Highest tempo held before, for the advice on the next one.
    changes, tuning : bool
        Also find chord changes, which needs librosa (a second to load); also tell the guitar's pitch.
    free : bool
        Only find the strums: no grid, no timing.

    Returns
    -------
    Measurement

    Raises
    ------
    UsageError
        If an option makes no sense.
    AudioFileError
        If the file cannot be read.
    RecordingError
        If there is nothing to measure in it.
    ClickError
        If a click was promised and none is there.

    Examples
    --------
    >>> import numpy as np, strumclock as sc
    >>> sc.measure(sc.from_array(np.zeros(44100 * 5), 44100))
    Traceback (most recent call last):
    ...
    strumclock.errors.RecordingError: ...
    """
    exercise = exercise or Exercise()
    recording = take if isinstance(take, Recording) else load(take, start_s=start_s, end_s=end_s)
    if isinstance(take, Recording) and (start_s is not None or end_s is not None):
        raise UsageError(
            "a part of a take is chosen when its file is read; got a Recording; pass start_s and end_s to load()"
        )
    judged_by = _standard(standard)
    nominal = _tempo_map(midi, exercise)
    sound = tell_apart(recording, exercise, click, nominal)
    strums = find_strums(
        sound.guitar, sound.rate_hz, start_s=recording.start_s, clicks=sound.clicks, removal=sound.removal
    )
    if len(strums) == 0 or _only_click(sound):
        raise RecordingError(
            "at least one strum is needed; none was heard in "
            f"{recording.path or 'the samples'}; put the phone nearer to the guitar, or check the file"
        )
    notices = (*recording.notices, *sound.notices, *strums.notices)
    info = TakeInfo(
        path=recording.path,
        sha256=recording.sha256,
        duration_s=recording.duration_s,
        sample_rate_hz=recording.sample_rate_hz,
        channels=recording.channels,
    )
    low = pictured(sound.guitar, sound.rate_hz, recording.start_s, strums)
    if free:
        return _free(low, strums, info, exercise, notices, changes=changes, tuning=tuning)
    latency_s = (latency_ms or 0.0) / 1000
    stated_u_s = STATED_U_S if latency_u_ms is None else latency_u_ms / 1000
    given_s = None
    if first_downbeat_s is not None:
        given_s = first_downbeat_s + latency_s
    elif latency_ms is not None:
        raise UsageError(
            "--latency-ms needs --first-downbeat, the place of beat 1 in the file that was played to; "
            "got a latency alone; give both"
        )
    if given_s is not None and not recording.priming_known:
        notices = (*notices, PRIMING)
    alignment = align(
        strums,
        exercise,
        clicks=sound.clicks,
        first_downbeat_s=given_s,
        first_downbeat_u_s=stated_u_s,
        grid=nominal,
        end_s=recording.start_s + recording.duration_s,
        same_clock=same_clock,
    )
    heard = hear(low, strums, alignment, changes=changes, tuning=tuning)
    path = _path(guitar_to_mic_m, click_to_mic_m, click_to_ear_m)
    spreads = take_spreads(low, strums)
    timing = _timing(strums, spreads, alignment, heard, path, judged_by, same_clock=same_clock)
    on = alignment.slot >= 0
    correction = measure_correction(
        timing.deviation_ms,
        alignment.slot[on],
        u_ms=1000 * strums.u_s[on],
        at_change=heard.at_change[on],
        place=PER_BEAT_RANGE[1] * alignment.grid.beat[alignment.slot[on]] + alignment.grid.part[alignment.slot[on]],
    )
    return _assemble(
        info,
        strums,
        alignment,
        timing,
        heard,
        judged_by,
        notices,
        changes=take_changes(heard, strums, alignment, timing, asked=changes),
        stroke=take_stroke(low, strums, spreads, alignment, timing),
        correction=correction,
        last_held_bpm=last_held_bpm,
    )


def _only_click(sound: Sound) -> bool:
    """Whether next to nothing is left when the click is taken out."""
    if sound.removal is None:
        return False
    left, removed = (
        max(float(x.max(initial=0.0)), -float(x.min(initial=0.0)))
        for x in (sound.removal.samples, sound.removal.removed)
    )
    return left < ONLY_CLICK * removed


def _path(guitar_to_mic_m: float | None, click_to_mic_m: float | None, click_to_ear_m: float | None) -> SoundPath:
    """The sound's way; the guitar is in the player's arms, so its way to the ear is known as soon as the click's is."""
    if click_to_ear_m is None:
        return sound_path(guitar_to_mic_m=guitar_to_mic_m, click_to_mic_m=click_to_mic_m)
    path = sound_path(
        guitar_to_mic_m=guitar_to_mic_m,
        click_to_mic_m=click_to_mic_m,
        guitar_to_ear_m=GUITAR_TO_EAR_M,
        click_to_ear_m=click_to_ear_m,
    )
    return replace(path, u_s=math.hypot(path.u_s, GUITAR_TO_EAR_U_M / SPEED_OF_SOUND_M_PER_S))


def _standard(standard: str | Standard | None) -> Standard:
    if isinstance(standard, Standard):
        return standard
    name = standard or "steady"
    if name not in STANDARDS:
        raise UsageError(f"the standard must be one of {', '.join(STANDARDS)}; got {name!r}")
    return STANDARDS[name]


def _tempo_map(midi: str | os.PathLike[str] | None, exercise: Exercise) -> BeatGrid | None:
    if midi is None:
        return None
    from strumclock.midi import grid_from_midi

    return grid_from_midi(midi, exercise)


def _timing(
    strums: Strums,
    spreads: Spreads,
    alignment: Alignment,
    heard: Heard,
    path: SoundPath,
    standard: Standard,
    *,
    same_clock: bool,
) -> Timing:
    """The figures of the strums that were meant for a slot."""
    grid, slot = alignment.grid, alignment.slot
    on = np.flatnonzero(slot >= 0)
    at = slot[on]
    placed = PlacedStrums.of(
        strums.time_s[on],
        grid.slot_s[at],
        slot=at,
        bar=grid.bar[at],
        beat=grid.beat[at],
        part=grid.part[at],
        at_change=heard.at_change[on],
        chord=chord_names(heard, alignment, on),
        u_s=strums.u_s[on],
        spread_s=spreads.spread_s[on],
        part_s=grid.part_s[at],
        beat_s=grid.beat_s[at],
        second_at=float(part_places(2, alignment.exercise.swing)[1]) if grid.per_beat == 2 else None,
    )
    return measure_timing(
        placed,
        anchoring=Anchoring(
            anchor=alignment.anchor,
            u_s=alignment.anchor_u_s[at],
            rate_u_ppm=alignment.rate_u * 1e6 if math.isfinite(alignment.rate_u) else 0.0,
            clock_known=same_clock or alignment.anchor in ("recorded-click", "click-channel"),
            tempo_estimated=not math.isfinite(alignment.rate_u),
        ),
        errors=StrumErrors(
            bias_u_s=max(LEAST_BIAS_U_S, BIAS_SHARE * float(np.sqrt(np.mean(strums.u_s[on] ** 2)))) if len(on) else 0.0,
            spread_u_s=spreads.shared_u_s,
        ),
        path=path,
        tolerance_s=[standard.tolerance_s(part_s) for part_s in grid.part_s[at].tolist()],
    )


def _assemble(
    info: TakeInfo,
    strums: Strums,
    alignment: Alignment,
    timing: Timing,
    heard: Heard,
    standard: Standard,
    notices: tuple[Notice, ...],
    *,
    changes: Changes | Absent,
    stroke: Stroke | str,
    correction: Correction | Absent,
    last_held_bpm: float | None,
) -> Measurement:
    grid = alignment.grid
    rows, k = [], 0
    for i, slot in enumerate(alignment.slot):
        if slot == OUTSIDE:
            continue  # outside the grid: noise before the first or after the last slot
        on = slot >= 0
        rows.append(
            Strum(
                time_s=float(strums.time_s[i]),
                u_ms=1000 * float(strums.u_s[i]),
                slot=int(slot) if on else None,
                bar=int(grid.bar[slot]) if on else None,
                beat=int(grid.beat[slot]) if on else None,
                part=int(grid.part[slot]) if on else None,
                stroke=str(grid.stroke[slot]) if on else None,
                offset_ms=float(timing.offset_ms[k]) if on and timing.offset_ms is not None else None,
                deviation_ms=float(timing.deviation_ms[k]) if on else None,
                at_change=bool(heard.at_change[i]),
                left_click=bool(slot == LEFT_CLICK),
            )
        )
        k += int(on)
    omitted = tuple(
        Omitted(
            slot=int(s),
            bar=int(grid.bar[s]),
            beat=int(grid.beat[s]),
            part=int(grid.part[s]),
            time_s=float(grid.slot_s[s]),
        )
        for s in alignment.omitted
    )
    outside = strums.time_s[alignment.slot == OUTSIDE]
    ignored = sorted((*strums.ignored, *(_outside(float(t)) for t in outside)), key=lambda sound: sound.time_s)
    heard.absent.update(_changes_absent(changes))
    if isinstance(correction, Absent):
        heard.absent["correction"] = correction.reason
    absent = {**{path: why.reason for path, why in timing.absent.items()}, **heard.absent, **_reasons(stroke)}
    if alignment.bpm_heard is None:
        absent["grid.bpm_heard"] = "no click of one steady tempo was heard in the recording"
    if alignment.clock_skew_ppm is None:
        absent["grid.clock_skew_ppm"] = (
            "no tempo was told to hold the click's against"
            if alignment.bpm_heard is not None
            else "no click of one steady tempo was heard in the recording"
        )
    n_slots, n_added = len(grid), int(np.sum(alignment.slot == ADDED))
    if alignment.left_click:  # the slots in between were not asked for
        n_slots = timing.n + len(omitted)
    held = judge_take(
        timing,
        standard,
        n_slots=n_slots,
        n_omitted=len(omitted),
        n_added=n_added,
        duration_s=float(grid.slot_s[-1] - grid.slot_s[0]) if len(grid) > 1 else 0.0,
        bpm=alignment.exercise.bpm,
        part_s=float(np.median(grid.part_s)) if len(grid) else 0.0,
        last_held_bpm=last_held_bpm,
        left_click=bool(alignment.left_click),
    )
    warnings = [*notices, *alignment.notices]
    scatter_ms = float(np.std(timing.deviation_ms)) if timing.n >= FEW_STRUMS else math.inf
    if alignment.anchor == "fitted" and scatter_ms < TOO_EVEN_MS:
        warnings.append(
            Notice(
                code="too-even",
                message=f"the strums keep time to {scatter_ms:.1f} ms, which no hand does: either a "
                "machine plays, or a click that could not be told from the strums was measured in their place; let "
                "the click be heard alone before the playing, for a bar at least",
            )
        )
    if 0 < timing.n < FEW_STRUMS:
        warnings.append(
            Notice(
                code="few-strums",
                message=f"only {timing.n} strum{'s' * (timing.n != 1)} met the grid, "
                f"{'so the figures are rough' if timing.jitter_ms else 'too few for figures'}; play a minute",
            )
        )
    return Measurement(
        take=info,
        exercise=alignment.exercise,
        inferred=alignment.inferred,
        grid=GridInfo(
            anchor=alignment.anchor,
            bpm_heard=_normal(alignment.bpm_heard, alignment.bpm_heard_u),
            clock_skew_ppm=_normal(alignment.clock_skew_ppm, alignment.clock_skew_u_ppm),
            first_downbeat_s=alignment.first_downbeat_s,
            clicks_heard=alignment.clicks_heard,
        ),
        strums=tuple(rows),
        omitted=omitted,
        timing=timing,
        changes=None if isinstance(changes, Absent) else changes,
        tuning=heard.tuning,
        stroke=None if isinstance(stroke, str) else stroke,
        correction=None if isinstance(correction, Absent) else correction,
        held=held,
        absent=MappingProxyType(absent),
        warnings=tuple(warnings),
        ignored=tuple(ignored),
        left_click=tuple(LeftClick(**left._asdict()) for left in alignment.left_click),
    )


def _normal(value: float | None, u: float | None) -> Estimate | None:
    """A figure of the clicks alone: its interval is that of measuring."""
    if value is None or u is None:
        return None
    return Estimate(value=value, low=value - 1.96 * u, high=value + 1.96 * u, u=u)


def _reasons(stroke: Stroke | str) -> dict[str, str]:
    """Why the stroke, or parts of it, cannot be told."""
    return {"stroke": stroke} if isinstance(stroke, str) else dict(stroke.absent)


def _changes_absent(changes: Changes | Absent) -> dict[str, str]:
    """Why the chord changes, or figures of them, cannot be told."""
    absent = {"changes": changes} if isinstance(changes, Absent) else changes.absent
    return {path: why.reason for path, why in absent.items()}


def _free(
    low: Low,
    strums: Strums,
    info: TakeInfo,
    exercise: Exercise,
    notices: tuple[Notice, ...],
    *,
    changes: bool,
    tuning: bool,
) -> Measurement:
    """Only the strums, and what can be said of them without a grid."""
    heard = hear(low, strums, None, changes=changes, tuning=tuning)
    found = take_changes(heard, strums, None, None, asked=changes)
    why = "not asked for: only the strums were (--free)"
    stroke = take_stroke(low, strums, take_spreads(low, strums), None, None)
    absent = {"grid": why, "timing": why, "held": why, "correction": why, **heard.absent, **_reasons(stroke)}
    absent |= _changes_absent(found)
    return Measurement(
        take=info,
        exercise=exercise,
        strums=tuple(
            Strum(
                time_s=float(t),
                u_ms=1000 * float(u),
                slot=None,
                bar=None,
                beat=None,
                part=None,
                stroke=None,
                offset_ms=None,
                deviation_ms=None,
                at_change=bool(c),
            )
            for t, u, c in zip(strums.time_s, strums.u_s, heard.at_change, strict=True)
        ),
        changes=None if isinstance(found, Absent) else found,
        tuning=heard.tuning,
        stroke=None if isinstance(stroke, str) else stroke,
        absent=MappingProxyType(absent),
        warnings=notices,
        ignored=strums.ignored,
    )


def _outside(time_s: float) -> Ignored:
    return Ignored(time_s=time_s, reason="before the first or after the last place of the exercise")
