"""Simulated takes with known strum times, as varied as a few hundred lines can make them.

They teach and test the strum finder (`learn_onsets.py`). Guitars are recorded single notes (a *bank*: a folder with
WAV files and an index.csv of file,f0_hz; `make_bank` renders one from a General MIDI sound font) or strings
synthesised anew for each take. Everything is drawn at random: chords, strokes, spread, force, palm muting, percussive
strokes, fingers, twelve strings, arpeggios, how strings are stopped, the pick's touch on a ringing string before it
lets go, squeaks, knocks, a foot, a voice; click and its removal, room, tone, noise, gain, codec.

A strum's time is where its first note's part above 1.5 kHz first exceeds a fifth of its early peak.
"""

from __future__ import annotations

import csv
import functools
import subprocess
import tempfile
from dataclasses import dataclass, field
from pathlib import Path

import mido
import numpy as np
import numpy.typing as npt
import soundfile as sf
import soxr
from scipy import signal

from strumclock.click import Clicks, remove_clicks

RATE_HZ = 44100
LEAD = RATE_HZ // 50  # samples of a note's own quiet lead-in that are kept before its attack
SHAPES = (  # MIDI notes, low string to high
    (45, 52, 57, 61, 64), (50, 57, 62, 66), (40, 47, 52, 56, 59, 64), (45, 52, 57, 60, 64), (43, 47, 50, 55, 59, 67),
    (48, 52, 55, 60, 64), (40, 47, 52, 55, 59, 64), (50, 57, 62, 65), (41, 48, 53, 57, 60, 65), (46, 53, 58, 62, 65),
    (42, 49, 54, 57, 61, 66), (47, 54, 59, 62, 66), (40, 47, 52), (45, 52, 57), (43, 50, 55, 59, 62, 67),
    (47, 51, 57, 59, 66), (45, 52, 55, 61, 64), (40, 47, 50, 56, 59, 64),
)  # fmt: skip
STYLES = ("pick", "fast", "slow", "fingers", "palm", "percussive", "arpeggio", "mixed")
STYLE_SHARES = (0.26, 0.18, 0.18, 0.08, 0.08, 0.07, 0.06, 0.09)

Wave = npt.NDArray[np.float64]


@dataclass(kw_only=True)
class Sounds:
    """Folders that a scene may draw from; any list may be empty but `guitars`."""

    guitars: list[str] = field(default_factory=lambda: ["synthetic"])
    percussion: list[str] = field(default_factory=list)
    fret_noise: list[str] = field(default_factory=list)
    voices: list[Path] = field(default_factory=list)


@dataclass(kw_only=True)
class Scene:
    """A simulated take."""

    samples: npt.NDArray[np.float32]
    removed: npt.NDArray[np.float32]  # of the click, as remove_clicks estimated it
    strums_s: Wave
    about: dict[str, object]


def make_bank(
    sound_font: Path,
    program: int,
    folder: Path,
    notes: range,
    velocities: tuple[int, ...] = (60, 100, 125),
    *,
    seconds: float = 4.0,
    drums: bool = False,
) -> None:
    """Render single notes of a General MIDI sound font with the fluidsynth program."""
    folder.mkdir(parents=True, exist_ok=True)
    midi, track = mido.MidiFile(ticks_per_beat=480), mido.MidiTrack()
    midi.tracks.append(track)
    channel = 9 if drums else 0
    track.append(mido.Message("program_change", program=program, channel=channel))
    wanted = [(n, v) for n in notes for v in velocities]
    for n, v in wanted:
        track.append(mido.Message("note_on", note=n, velocity=v, time=480, channel=channel))
        track.append(mido.Message("note_off", note=n, time=int(seconds * 960) - 960, channel=channel))
        track.append(mido.Message("control_change", control=0, value=0, time=480, channel=channel))
    midi.save(folder / "notes.mid")
    wav = folder / "notes.wav"
    command = ["fluidsynth", "-ni", "-R", "0", "-C", "0", "-r", str(RATE_HZ), "-g", "0.6", "-F", str(wav)]
    subprocess.run([*command, str(sound_font), str(folder / "notes.mid")], check=True, capture_output=True)
    x = sf.read(wav)[0].mean(1)
    with (folder / "index.csv").open("w") as f:
        rows = csv.writer(f)
        rows.writerow(["file", "f0_hz"])
        for i, (n, v) in enumerate(wanted):
            start = int((0.5 + i * seconds - 0.03) * RATE_HZ)
            y = x[start : start + int((seconds - 0.5) * RATE_HZ)]
            if len(y) >= RATE_HZ and np.abs(y).max() > 1e-3:
                sf.write(folder / f"n{n}v{v}.wav", (0.9 * y / np.abs(y).max()).astype(np.float32), RATE_HZ)
                rows.writerow([f"n{n}v{v}.wav", round(440 * 2 ** ((n - 69) / 12), 2)])
    wav.unlink()


# --- single sounds ---------------------------------------------------------------------------------------------------


def attack(x: Wave) -> int:
    """Index at which the part above 1.5 kHz first exceeds a fifth of its peak within 250 ms."""
    b, a = signal.butter(2, 1500, "high", fs=RATE_HZ)
    head = np.abs(signal.lfilter(b, a, x[: RATE_HZ // 4]))
    return int(np.argmax(head > 0.2 * head.max()))


def led_in(x: Wave) -> Wave:
    """The sound re-cut so that its attack is at index LEAD; the cut itself is faded."""
    i = attack(x)
    kept = min(i, LEAD)
    y = np.concatenate([np.zeros(LEAD - kept), x[i - kept :]])
    if kept > 130:
        y[LEAD - kept : LEAD - kept + 130] *= 0.5 - 0.5 * np.cos(np.pi * np.arange(130) / 130)
    return y


def band(x: Wave, low_hz: float, high_hz: float) -> Wave:
    b, a = signal.butter(1, [low_hz, min(high_hz, 20000.0)], "band", fs=RATE_HZ)
    return np.asarray(signal.lfilter(b, a, x))


def duller(x: Wave, hz: float) -> Wave:
    b, a = signal.butter(1, hz, fs=RATE_HZ)
    return np.asarray(signal.lfilter(b, a, x))


@functools.cache
def bank(folder: str) -> list[tuple[float, Wave]]:
    out = []
    for row in csv.DictReader((Path(folder) / "index.csv").open()):
        x, rate = sf.read(f"{folder}/{row['file']}", always_2d=True)
        x = x.mean(1)[: int(3.6 * rate)]
        x = x if rate == RATE_HZ else soxr.resample(x, rate, RATE_HZ)
        out.append((float(row["f0_hz"]), x / np.abs(x[: RATE_HZ // 2]).max()))
    return out


class RecordedGuitar:
    """Notes of a bank, shifted to the pitch wanted."""

    def __init__(self, folder: str) -> None:
        self.folder, self.known = folder, {}

    def note(self, pitch: float, rng: np.random.Generator) -> Wave:
        f = 440 * 2 ** ((pitch - 69) / 12)
        notes = bank(self.folder)
        away = np.array([abs(np.log2(f0 / f)) for f0, _ in notes])
        i = int(rng.choice(np.flatnonzero(away <= away.min() + 0.01)))
        if (round(pitch, 3), i) not in self.known:
            f0, x = notes[i]
            y = soxr.resample(x, f / f0 * RATE_HZ, RATE_HZ, quality="MQ") if abs(f / f0 - 1) > 1e-4 else x
            self.known[round(pitch, 3), i] = led_in(y)
        return self.known[round(pitch, 3), i]


class SyntheticGuitar:
    """Plucked strings from decaying, slightly stiff partials, a body, the pick's noise and its touch before."""

    def __init__(self, rng: np.random.Generator) -> None:
        u = rng.uniform
        self.place, self.tilt, self.t60_s = u(0.06, 0.3), u(0.6, 1.7), 10 ** u(0.2, 0.8)
        self.loss, self.stiff = u(0.3, 1.5), 10 ** u(-5, -3.6)
        self.touch, self.touch_s = 10 ** (u(-45, -14) / 20), u(0.002, 0.016)
        self.body = [(u(90, 250), u(3, 20)), (u(200, 500), u(5, 25))]
        self.body_gain, self.noise, self.softness_s = u(0, 1.5), 10 ** (u(-40, -12) / 20), u(0, 0.0006)
        self.known: dict[tuple[float, int], Wave] = {}

    def note(self, pitch: float, rng: np.random.Generator) -> Wave:
        key = (pitch, int(rng.integers(2)))
        if key not in self.known:
            self.known[key] = self._note(pitch, rng)
        return self.known[key]

    def _note(self, pitch: float, rng: np.random.Generator) -> Wave:
        f0 = 440 * 2 ** ((pitch - 69) / 12)
        t = np.arange(3 * RATE_HZ) / RATE_HZ
        y, place = np.zeros(len(t)), np.clip(self.place * rng.uniform(0.7, 1.4), 0.03, 0.5)
        for k in range(1, int(min(60, 12000 / f0)) + 1):
            f = k * f0 * np.sqrt(1 + self.stiff * k * k)
            if f > 15000:
                break
            t60 = self.t60_s * (82 / f0) ** 0.3 / (1 + self.loss * (f / 1500) ** 1.2)
            n = min(len(t), int(1.3 * t60 * RATE_HZ) + 200)
            size = np.sin(np.pi * k * place) / k**self.tilt * 10 ** (rng.normal(0, 2) / 20)
            phase = rng.uniform(-0.6, 0.6) + np.pi / 2 * (k % 2)
            y[:n] += size * np.cos(2 * np.pi * f * t[:n] + phase) * 10 ** (-3 * t[:n] / t60)
        for f, q in self.body:
            y += 0.3 * self.body_gain * np.abs(y).max() * np.sin(2 * np.pi * f * t) * np.exp(-np.pi * f / q * t)
        y += self.noise * np.abs(y).max() * rng.standard_normal(len(t)) * np.exp(-t / 0.004)
        ramp = int(self.softness_s * RATE_HZ) + 1
        y[:ramp] *= np.linspace(0, 1, ramp + 1)[1:]
        n = int(self.touch_s * rng.uniform(0.5, 1.2) * RATE_HZ) + 8
        touch = band(
            rng.standard_normal(n) * np.exp(-np.arange(n) / (0.3 * n)), rng.uniform(300, 1500), rng.uniform(3000, 12000)
        )
        touch *= self.touch * np.abs(y).max() / (np.abs(touch).max() + 1e-9)
        y = np.concatenate([touch, y])
        return led_in(y / np.abs(y).max())


# --- what is done to a recording ---------------------------------------------------------------------------------


def toned(x: Wave, rng: np.random.Generator, amount_db: float) -> Wave:
    """A random smooth minimum-phase tone: another microphone, another guitar top."""
    f = np.geomspace(40, 20000, 12)
    db = np.cumsum(rng.normal(0, amount_db / 3, 12))
    db += -db.mean() + rng.normal(0, 3) * np.log2(f / 1000) / 3
    bins = np.fft.rfftfreq(4096, 1 / RATE_HZ)
    gain = 10 ** (np.interp(np.log(np.maximum(bins, 20)), np.log(f), db) / 20)
    cepstrum = np.fft.ifft(np.log(np.concatenate([gain, gain[-2:0:-1]]))).real
    cepstrum[1:2048] *= 2
    cepstrum[2049:] = 0
    return np.asarray(signal.fftconvolve(x, np.fft.ifft(np.exp(np.fft.fft(cepstrum))).real[:1024])[: len(x)])


def in_room(x: Wave, rng: np.random.Generator, t60_s: float, direct_db: float) -> Wave:
    """A direct sound, a few early reflections, and a decaying tail so much below the direct sound."""
    n = int(max(t60_s, 0.02) * RATE_HZ)
    tail = duller(rng.standard_normal(n) * 10 ** (-3 * np.arange(n) / n), rng.uniform(2000, 9000))
    tail = np.concatenate([np.zeros(int(rng.uniform(0, 0.008) * RATE_HZ)), tail])
    tail *= 10 ** (-direct_db / 20) / np.sqrt((tail**2).sum())
    for _ in range(rng.integers(0, 5)):
        tail[int(min(len(tail) - 1, rng.uniform(0.0005, 0.015) * RATE_HZ))] += rng.uniform(-0.5, 0.5)
    tail[0] += 1
    return np.asarray(signal.fftconvolve(x, tail)[: len(x)])


def through_codec(x: Wave, name: str, kbit_s: int) -> Wave:
    """Encoded and decoded by the ffmpeg program, which keeps the time."""
    library, suffix = {"aac": ("aac", "m4a"), "mp3": ("libmp3lame", "mp3"), "opus": ("libopus", "opus")}[name]
    with tempfile.TemporaryDirectory() as d:
        sf.write(f"{d}/a.wav", np.clip(x, -1, 1), RATE_HZ, subtype="PCM_16")
        quiet = ["ffmpeg", "-v", "error", "-y", "-threads", "1"]
        subprocess.run(
            [*quiet, "-i", f"{d}/a.wav", "-c:a", library, "-b:a", f"{kbit_s}k", f"{d}/b.{suffix}"], check=True
        )
        raw = subprocess.run(
            [*quiet, "-i", f"{d}/b.{suffix}", "-f", "f32le", "-ac", "1", "-ar", str(RATE_HZ), "-"],
            capture_output=True,
            check=True,
        ).stdout
    y = np.frombuffer(raw, np.float32).astype(float)
    return np.pad(y, (0, max(0, len(x) - len(y))))[: len(x)]


def add(out: Wave, x: Wave, at: int, gain: float = 1.0) -> None:
    """Add x to out from index `at`, as far as it fits."""
    a, b = max(at, 0), min(at + len(x), len(out))
    if b > a:
        out[a:b] += gain * x[a - at : b - at]


# --- a take ----------------------------------------------------------------------------------------------------------


class _Take:
    """One take while it is played: what rings on each string, and what has sounded."""

    def __init__(self, n: int) -> None:
        self.out = np.zeros(n)
        self.ringing: dict[int, tuple[Wave, int, float]] = {}

    def stop(self, string: int, at_s: float, fade_s: float) -> None:
        if string in self.ringing:
            x, start, gain = self.ringing.pop(string)
            length, fade = int(at_s * RATE_HZ) - start, max(8, int(fade_s * RATE_HZ))
            if length > 0:
                y = x[: length + fade].copy()
                if len(y) > length:
                    y[length:] *= np.linspace(1, 0, len(y) - length)
                add(self.out, y, start, gain)

    def stop_all(self, at_s: float, fade_s: tuple[float, float], jitter_s: float, rng: np.random.Generator) -> None:
        for string in list(self.ringing):
            self.stop(string, at_s + rng.uniform(-jitter_s, jitter_s), rng.uniform(*fade_s))


def simulate(
    seed: int, sounds: Sounds, seconds: float = 26.0, *, always_aac: bool = False, played: bool = True
) -> Scene:
    """One take; the same seed and sounds give the same take.

    Phones record AAC: it may be asked for. A take in which nothing is played is all that is not a strum: steady noise,
    a voice, knocks, a foot, the click.
    """
    rng = np.random.default_rng(seed)
    u, chance = rng.uniform, rng.random
    n = int(seconds * RATE_HZ)
    name = sounds.guitars[rng.integers(len(sounds.guitars))]
    guitar = SyntheticGuitar(rng) if name == "synthetic" else RecordedGuitar(name)
    plain, style = chance() < 0.25, str(rng.choice(STYLES, p=STYLE_SHARES))
    bpm, per_beat = u(40, 170), int(rng.choice([1, 2, 3, 4], p=[0.4, 0.35, 0.1, 0.15]))
    interval_s = u(0.095, 0.22) if style == "fast" else max(60 / bpm / per_beat, 0.1)
    events = _events(rng, style, interval_s, per_beat, seconds)
    take, noises, strums_s = _play(rng, guitar, style, events, seconds)
    unit = np.median([np.abs(take[int(t * RATE_HZ) : int((t + 0.06) * RATE_HZ)]).max() for t in strums_s]) + 1e-9
    if not played:
        take[:], strums_s = 10 ** u(-4, -0.5) * unit * rng.standard_normal(n), []
    for at_s, x, gain in noises:
        add(take, x / (np.abs(x).max() + 1e-9), int(at_s * RATE_HZ), gain * unit)
    _disturb(rng, take, unit, bpm, sounds)
    y = toned(take / unit, rng, u(0, 4 if plain else 9))

    click, click_s, accent = np.zeros(n), None, None
    if chance() < 0.55:
        click_s = np.arange(events[0][0] % (60 / bpm) + rng.normal(0.008, 0.012), seconds - 0.25, 60 / bpm)
        accent = np.arange(len(click_s)) % int(rng.integers(2, 5)) == 0
        plain_click, accented = _click(rng, sounds), _click(rng, sounds)
        if chance() < 0.4:
            accented = plain_click * u(1, 1.6)
        loudest = max(np.abs(plain_click).max(), np.abs(accented).max())
        pair, gain = [toned(x / loudest, rng, 4) for x in (plain_click, accented)], 10 ** (u(-22, 7) / 20)
        for t, strong in zip(click_s, accent, strict=True):
            add(click, pair[int(strong)], round(float(t) * RATE_HZ) - LEAD, gain)
    if chance() < 0.55 and not plain:
        if chance() < 0.7:
            y = in_room(y + click, rng, u(0.05, 0.9), u(-4, 14))
        else:
            y = in_room(y, rng, u(0.05, 0.9), u(-4, 14)) + in_room(click, rng, u(0.05, 0.5), u(0, 14))
    else:
        y = y + click
    y, codec = _recorded(rng, y, plain or always_aac)
    if always_aac:
        y, codec = through_codec(y, "aac", int(rng.choice([48, 64, 96, 128]))), "aac"
    removed = np.zeros(n, np.float32)
    if click_s is not None and accent is not None and len(click_s) > 3:
        told = click_s + rng.normal(0, 10 ** u(-4.3, -3.5), len(click_s))
        clicks = Clicks(
            time_s=told, u_s=np.full(len(told), 1e-4), heard=np.ones(len(told), bool), accented=accent,
            interval_s=60 / bpm, interval_u_s=1e-5, extent="throughout", source="recording", score=100.0,
            sound=accent.astype(int), number=np.arange(len(told)),
        )  # fmt: skip
        removal = remove_clicks(y.astype(np.float32), RATE_HZ, clicks)
        y, removed = removal.samples, removal.removed
    about = {"guitar": Path(name).name, "style": style, "codec": codec, "bpm": bpm, "plain": plain}
    return Scene(samples=y.astype(np.float32), removed=removed, strums_s=np.array(strums_s), about=about)


def _events(
    rng: np.random.Generator, style: str, interval_s: float, per_beat: int, seconds: float
) -> list[tuple[float, str, int]]:
    """(time, stroke, place) of what is played: D, U, x, s (one string) or b (the bass string)."""
    shares = (0.5, 0.3, 0.15, 0.05) if per_beat > 1 else (0.85, 0.02, 0.1, 0.03)
    pattern, jitter_s = [str(rng.choice(list("DU.x"), p=shares)) for _ in range(8)], rng.uniform(0.002, 0.03)
    out: list[tuple[float, str, int]] = []
    t, k = rng.uniform(0.3, 1.0), 0
    while t < seconds - 1.0:
        stroke = pattern[k % 8] if style != "arpeggio" else str(rng.choice(["s", "D", "."], p=[0.75, 0.15, 0.1]))
        if style == "percussive" and stroke != "." and rng.random() < 0.4:
            stroke = "x"
        if style == "fingers" and stroke in "DU" and rng.random() < 0.25:
            stroke = "s"
        if style == "mixed" and stroke in "DU" and rng.random() < 0.2:
            stroke = str(rng.choice(["s", "x", "b"]))
        at = t + rng.normal(0, jitter_s)
        if stroke != "." and at > 0.2 and (not out or at - out[-1][0] > 0.09):
            out.append((at, stroke, k))
        t, k = t + interval_s, k + 1
    return out


def _play(
    rng: np.random.Generator, guitar: RecordedGuitar | SyntheticGuitar, style: str,
    events: list[tuple[float, str, int]], seconds: float,
) -> tuple[Wave, list[tuple[float, Wave, float]], list[float]]:  # fmt: skip
    """The strings' sound, the hand's noises as (time, sound, level against a strum), and the strums' times."""
    u, chance = rng.uniform, rng.random
    take, noises = _Take(int(seconds * RATE_HZ)), []
    shortest = min(np.diff([t for t, _, _ in events]), default=1.0)
    spread_s = np.exp(u(np.log(0.004), np.log(0.045)))
    if style == "slow":
        spread_s = np.exp(u(np.log(0.03), np.log(0.11 if chance() < 0.7 else 0.22)))
    spread_s = min(spread_s, 0.7 * max(shortest, 0.1))
    capo, detune = int(rng.integers(0, 5)) if chance() < 0.3 else 0, u(-0.4, 0.4) if chance() < 0.4 else 0.0
    twelve, chords = chance() < 0.07, [SHAPES[i] for i in rng.integers(0, len(SHAPES), 4)]
    muted_s, muted_hz, dynamics_db, tilt_db, uneven_db = (
        u(0.03, 0.15),
        u(800, 4000),
        u(0, 10),
        rng.normal(0, 4),
        u(0, 4),
    )
    stops_late, lets_ring = chance() < 0.4, chance() < 0.5
    stop_share, contact_db = u(0.1, 0.8) if chance() < 0.6 else 0.0, u(-34, -8)
    touch_share, touch_db, touch_hz = u(0.3, 1.0) if chance() < 0.6 else 0.0, u(-30, -8), u(300, 2500)
    touch_high_hz, burst_s = touch_hz * u(2, 6), u(0.0002, 0.0012)
    strums_s = []
    for j, (t, stroke, place) in enumerate(events):
        shape = chords[(place // 8) % 4]
        strings = list(range(6))[-len(shape) :] if len(shape) >= 4 else list(range(1, 1 + len(shape)))
        following = events[j + 1][0] if j + 1 < len(events) else seconds
        spread = min(spread_s * u(0.6, 1.5), 0.7 * (following - t))
        order = list(range(len(shape)))
        if stroke == "U":
            order = order[::-1][: rng.integers(2, len(order) + 1)] if chance() < 0.8 else order[::-1]
        elif stroke == "s":
            order = [int(rng.integers(len(order)))]
        elif stroke == "b":
            order = [0]
        elif chance() < 0.15 and len(order) > 3:
            order = order[: rng.integers(3, len(order) + 1)]
        steps = rng.dirichlet(np.full(max(len(order) - 1, 1), 2.5 if chance() < 0.8 else 0.8)) * spread
        times = t + np.concatenate([[0.0], np.cumsum(steps)])[: len(order)]
        force = 10 ** (-u(0, dynamics_db) / 20) * (10 ** (-u(0, 5) / 20) if stroke == "U" else 1)
        palm, percussive, decay_s = style == "palm" and chance() < 0.8, stroke == "x", u(0.006, 0.03)
        tone_hz = u(2500, 12000) if chance() < 0.5 else None

        if chance() < touch_share:  # the pick buzzes against the strings that ring before it lets go
            early = np.exp(u(np.log(0.003), np.log(0.055)))
            for o in order[: rng.integers(1, 4)]:
                noises.append((t - early, _touch(rng, shape[o] + capo, early, burst_s, strings[o] in take.ringing,
                                                 touch_hz, touch_high_hz),
                               10 ** ((touch_db + rng.normal(0, 3)) / 20) * force))  # fmt: skip
                take.stop(strings[o], t - early + u(0, 0.004), u(0.003, 0.03))
        if chance() < stop_share and take.ringing and not stops_late:  # the hand stops the strings before
            at = t - u(0.006, 0.07)
            take.stop_all(at, (0.004, 0.03), 0.004, rng)
            if chance() < 0.8:
                noises.append((at + u(-0.006, 0.002), _noise(rng, "contact"), _level(contact_db, 4, rng)))
        elif chance() < 0.15:
            noises.append((t - u(0.004, 0.05), _noise(rng, "contact"), _level(contact_db, 4, rng)))
        if stops_late:
            for q, string in enumerate(sorted(take.ringing)):
                take.stop(string, times[min(q, len(times) - 1)] + u(0, 0.001), 0.008)
        elif not lets_ring or percussive:
            take.stop_all(t, (0.004, 0.02), 0.012, rng)

        for q, o in enumerate(order):
            y = guitar.note(shape[o] + capo + detune, rng)
            gain = force * 10 ** (rng.normal(tilt_db * (q / max(len(order) - 1, 1) - 0.5), uneven_db) / 20)
            y = duller(y, tone_hz) if tone_hz else y
            if palm or percussive:
                tau = decay_s if percussive else muted_s * u(0.7, 1.4)
                y = y * np.exp(-np.maximum(np.arange(len(y)) - LEAD, 0) / RATE_HZ / tau)
                y = duller(y, muted_hz) if palm or chance() < 0.5 else y
                y = y[: int((8 * tau + 0.05) * RATE_HZ)]
            take.stop(strings[o], times[q] + u(-0.008, 0.002), u(0.002, 0.008))
            take.ringing[strings[o]] = (y, int(times[q] * RATE_HZ) - LEAD, gain)
            if twelve:
                second = guitar.note(shape[o] + capo + detune + (12 if strings[o] < 4 else 0.05), rng)
                second = second[: int(min(1.5, following - t + 0.3) * RATE_HZ)]
                add(take.out, second, int((times[q] + u(0.0003, 0.004)) * RATE_HZ) - LEAD, 0.6 * gain)
        strums_s.append(t)
        if chance() < 0.12 and following - t > 0.25:  # stopped before the next strum
            at = t + spread + u(0.3, 0.9) * (following - t - spread)
            take.stop_all(at, (0.008, 0.04), 0.005, rng)
            if chance() < 0.7:
                noises.append((at, _noise(rng, "thump"), 0.6 * _level(u(-36, -12), 0, rng)))
        elif chance() < 0.12 and following - t > 0.3:  # fingers leave for the next chord
            kind = "squeak" if chance() < 0.6 else "lift"
            sound = (
                _noise(rng, kind) if kind == "squeak" else _lifted(guitar.note(float(rng.integers(45, 76)), rng), rng)
            )
            noises.append((following - u(0.03, 0.2), sound, _level(u(-36, -12), 0, rng)))
    for string in list(take.ringing):
        take.stop(string, seconds - 0.3, 0.2)
    return take.out, noises, strums_s


def _level(db: float, sd_db: float, rng: np.random.Generator) -> float:
    return float(10 ** ((db + rng.normal(0, 1) * sd_db) / 20))


def _touch(
    rng: np.random.Generator, pitch: float, seconds: float, burst_s: float, rings: bool, low_hz: float, high_hz: float
) -> Wave:
    """A pick against a string: bursts at the pitch of the string that rings, or a scrape."""
    n = int(seconds * RATE_HZ)
    t = np.arange(n) / RATE_HZ
    z = 0.5 * rng.standard_normal(n)
    if rings and rng.random() < 0.75:
        z, period = np.zeros(n), 1 / (440 * 2 ** ((pitch - 69) / 12))
        for q in np.arange(rng.uniform(0, period), seconds, period):
            burst = np.arange(min(n - int(q * RATE_HZ), int(0.003 * RATE_HZ)))
            shape = np.exp(-burst / RATE_HZ / burst_s) * rng.standard_normal(len(burst))
            z[int(q * RATE_HZ) : int(q * RATE_HZ) + len(burst)] += rng.normal(1, 0.4) * shape
    rise = np.minimum(1, t / rng.uniform(0.0003, 0.003))
    return band(z, low_hz, high_hz) * rise * 10 ** (-rng.uniform(-6, 10) / 20 * t / max(seconds, 1e-3))


def _noise(rng: np.random.Generator, kind: str) -> Wave:
    n = int(rng.uniform(0.03, 0.18) * RATE_HZ)
    t = np.arange(n) / RATE_HZ
    white = rng.standard_normal(n)
    if kind == "contact":
        low = rng.uniform(100, 2500)
        return band(white * np.exp(-t / rng.uniform(0.0015, 0.015)), low, low * rng.uniform(2, 8))
    if kind == "thump":
        return duller(white * np.exp(-t / rng.uniform(0.003, 0.02)), rng.uniform(300, 3000))
    if kind == "knock":
        return np.sin(2 * np.pi * rng.uniform(70, 400) * t) * np.exp(
            -t / rng.uniform(0.01, 0.04)
        ) + 0.2 * white * np.exp(-t / 0.004)
    f = rng.uniform(600, 3500)
    z = 0.4 * signal.chirp(t, f, t[-1], f * rng.uniform(0.6, 1.6)) + 0.4 * white
    return band(z * np.hanning(n) ** 0.5, 0.5 * f, min(2 * f, 15000))


def _lifted(note: Wave, rng: np.random.Generator) -> Wave:
    """A string that a leaving finger sets ringing faintly."""
    z = note[LEAD - 100 : LEAD + int(0.3 * RATE_HZ)]
    return 0.7 * duller(z * np.exp(-np.arange(len(z)) / RATE_HZ / rng.uniform(0.02, 0.1)), rng.uniform(600, 5000))


def _click(rng: np.random.Generator, sounds: Sounds) -> Wave:
    """A click's sound with its attack at LEAD: a beep, a burst of noise, or a recorded percussion sound."""
    before = np.zeros(1300)
    if rng.random() < 0.3 or not sounds.percussion:
        f, t = rng.uniform(700, 2500), np.arange(int(rng.uniform(0.01, 0.06) * RATE_HZ)) / RATE_HZ
        ramp = np.clip(np.minimum(t, t[-1] - t) / rng.uniform(0.0003, 0.003), 0, 1)
        return led_in(np.concatenate([before, np.sin(2 * np.pi * f * t) * ramp]))
    if rng.random() < 0.2:
        n, low = int(rng.uniform(0.003, 0.03) * RATE_HZ), rng.uniform(500, 3000)
        z = rng.standard_normal(n) * np.exp(-np.arange(n) / n * rng.uniform(2, 5))
        return led_in(np.concatenate([before, band(z, low, 4 * low)]))
    notes = bank(sounds.percussion[rng.integers(len(sounds.percussion))])
    z = notes[rng.integers(len(notes))][1][: int(0.22 * RATE_HZ)]
    return led_in(z / np.abs(z).max())


def _disturb(rng: np.random.Generator, take: Wave, unit: float, bpm: float, sounds: Sounds) -> None:
    """Squeaks, knocks, a tapping foot, a voice: what is not a strum."""
    u, chance, seconds = rng.uniform, rng.random, len(take) / RATE_HZ
    for kind, share, most, gain in (("squeak", 0.4, 4, 1.0), ("knock", 0.3, 6, 3.0)):
        for _ in range(rng.integers(0, most) if chance() < share else 0):
            z = _noise(rng, kind)
            if kind == "squeak" and sounds.fret_noise and chance() < 0.4:
                notes = bank(sounds.fret_noise[rng.integers(len(sounds.fret_noise))])
                z = notes[rng.integers(len(notes))][1][: int(0.25 * RATE_HZ)]
            level = gain * unit * 10 ** (u(-36, -12) / 20)
            add(take, z / np.abs(z).max(), int(u(0.2, seconds - 1) * RATE_HZ), level)
    if chance() < 0.18:
        pitch, t = u(60, 130), np.arange(int(0.12 * RATE_HZ)) / RATE_HZ
        for at in np.arange(u(0, 60 / bpm), seconds - 0.3, 60 / bpm):
            z = np.sin(2 * np.pi * pitch * t) * np.exp(-t / u(0.012, 0.03))
            z += u(0, 0.2) * rng.standard_normal(len(t)) * np.exp(-t / 0.004)
            add(take, z, int((at + rng.normal(0, 0.02)) * RATE_HZ), unit * 10 ** (u(-14, 0) / 20))
    if sounds.voices and chance() < 0.33:
        for _ in range(rng.integers(1, 7)):
            v, rate = sf.read(sounds.voices[rng.integers(len(sounds.voices))])
            at = u(0, seconds - 3) if chance() < 0.5 else u(0, 2)
            v = soxr.resample(v, rate, RATE_HZ)
            add(take, v / np.abs(v).max(), int(at * RATE_HZ), unit * 10 ** (u(-20, 0) / 20))


def _recorded(rng: np.random.Generator, y: Wave, plain: bool) -> tuple[Wave, str | None]:
    """Noise, hum, gain that rides or pumps, clipping, a voice filter, a codec."""
    u, chance, n = rng.uniform, rng.random, len(y)
    t = np.arange(n) / RATE_HZ
    if chance() < (0.3 if plain else 0.6):
        f = np.maximum(np.fft.rfftfreq(n, 1 / RATE_HZ), 40)
        noise = np.fft.irfft(np.fft.rfft(rng.standard_normal(n)) * (f / 1000) ** -u(0, 0.9), n)
        y = y + noise / noise.std() * y.std() * 10 ** (-u(18, 55) / 20)
    if chance() < 0.15:
        y = y + np.sin(2 * np.pi * 50 * t + u(0, 6)) * 10 ** (-u(25, 50) / 20)
    if chance() < 0.25:
        y = y * 10 ** (u(1, 6) / 20 * np.sin(2 * np.pi * t / u(1.5, 9) + u(0, 6)))
    if chance() < 0.15:
        pole = np.exp(-1 / (0.05 * RATE_HZ))
        y = y / (signal.lfilter([1 - pole], [1, -pole], np.abs(y)) + u(0.05, 0.4))
    y = y / np.abs(y).max() * u(0.3, 0.95)
    if chance() < 0.08:
        y = np.clip(y * u(1, 2.5), -0.95, 0.95)
    if chance() < 0.15:
        b, a = signal.butter(3, u(3200, 8000), fs=RATE_HZ)
        y = signal.lfilter(b, a, y)
    which = chance()
    if plain or which >= 0.5:
        return y, None
    name, rates = (
        ("aac", [48, 64, 96, 128])
        if which < 0.25
        else ("opus", [16, 24, 32, 48])
        if which < 0.38
        else ("mp3", [64, 96, 128])
    )
    return through_codec(y, name, int(rng.choice(rates))), name
