"""Where a take is recorded: tones of microphones, rooms recorded and computed, near and far."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from strumclock.learning.guitars import duller
from strumclock.learning.sounds import RATE_HZ, Wave, audio

ARRIVAL = 0.25  # the first sample so large against the largest is where sound arrives first
SHORTEST_S, LONGEST_S = 0.02, 2.0  # of an impulse response; by hand: beyond, a room is a hall
COMPUTED, SIMPLE = 0.45, 0.15  # shares of computed shoe-box rooms and of plain decaying noise; the rest is recorded


def toned(x: Wave, rng: np.random.Generator, amount_db: float) -> Wave:
    """A random smooth minimum-phase tone: another microphone, another guitar top."""
    from scipy import signal

    f = np.geomspace(40, 20000, 12)
    db = np.cumsum(rng.normal(0, amount_db / 3, 12))
    db += -db.mean() + rng.normal(0, 3) * np.log2(f / 1000) / 3
    bins = np.fft.rfftfreq(4096, 1 / RATE_HZ)
    gain = 10 ** (np.interp(np.log(np.maximum(bins, 20)), np.log(f), db) / 20)
    cepstrum = np.fft.ifft(np.log(np.concatenate([gain, gain[-2:0:-1]]))).real
    cepstrum[1:2048] *= 2
    cepstrum[2049:] = 0
    return np.asarray(signal.oaconvolve(x, np.fft.ifft(np.exp(np.fft.fft(cepstrum))).real[:1024])[: len(x)])


def some_room(rng: np.random.Generator, recorded: tuple[Path, ...]) -> tuple[Wave, Wave]:
    """Responses of one room for the guitar and for the click's source: the direct sound at sample 0, energy 1.

    The share of the direct sound is drawn anew: a phone lies at half a metre or at five.
    """
    kind = rng.random()
    if kind < SIMPLE or (kind >= SIMPLE + COMPUTED and not recorded):
        t60_s = float(np.exp(rng.uniform(np.log(0.05), np.log(1.2))))
        pair = [noise_room(rng, t60_s, rng.uniform(-4, 14)) for _ in range(2)]
    elif kind < SIMPLE + COMPUTED:
        pair = list(_shoe_box(rng))
    else:
        one = _arrived(audio(recorded[rng.integers(len(recorded))]))
        pair = [one, one]
    if rng.random() < 0.7:
        near = rng.uniform(-9, 12)
        click_near = near if rng.random() < 0.4 else rng.uniform(-6, 14)
        pair = [_nearer(pair[0], near), _nearer(pair[1], click_near)]
    return pair[0], pair[1]


def in_room(x: Wave, response: Wave) -> Wave:
    """The sound in the room, as long as it was."""
    from scipy import signal

    return np.asarray(signal.oaconvolve(x, response)[: len(x)])


def _arrived(response: Wave) -> Wave:
    """From the first arrival on, energy 1."""
    response = response[int(np.argmax(np.abs(response) > ARRIVAL * np.abs(response).max())) :]
    response = response[: int(LONGEST_S * RATE_HZ)]
    return _of_energy_one(response)


def _nearer(response: Wave, direct_db: float) -> Wave:
    """With a direct sound added at the start, its energy against the whole response's."""
    response = response.copy()
    response[0] += np.sign(response[0] or 1.0) * 10 ** (direct_db / 20)
    return _of_energy_one(response)


def noise_room(rng: np.random.Generator, t60_s: float, direct_db: float) -> Wave:
    """A direct sound, a few early reflections, and a decaying tail so much below the direct sound; energy 1."""
    n = int(max(t60_s, SHORTEST_S) * RATE_HZ)
    tail = duller(rng.standard_normal(n) * 10 ** (-3 * np.arange(n) / n), rng.uniform(2000, 9000))
    tail = np.concatenate([np.zeros(int(rng.uniform(0, 0.008) * RATE_HZ)), tail])
    tail *= 10 ** (-direct_db / 20) / np.sqrt((tail**2).sum())
    for _ in range(rng.integers(0, 5)):
        tail[int(min(len(tail) - 1, rng.uniform(0.0005, 0.015) * RATE_HZ))] += rng.uniform(-0.5, 0.5)
    tail[0] += 1
    return _of_energy_one(tail)


def _shoe_box(rng: np.random.Generator) -> tuple[Wave, Wave]:
    """A rectangular room by mirror images (pyroomacoustics), its late tail by decaying noise."""
    import pyroomacoustics as pra

    size = np.array([rng.uniform(2.0, 9.0), rng.uniform(2.0, 7.0), rng.uniform(2.2, 4.0)])
    low, high = 0.3 * np.ones(3), size - 0.3
    material = pra.Material(float(np.exp(rng.uniform(np.log(0.07), np.log(0.7)))))
    room = pra.ShoeBox(size, fs=RATE_HZ, materials=material, max_order=int(rng.integers(6, 18)))
    guitar, click = rng.uniform(low, high), rng.uniform(low, high)
    far = np.exp(rng.uniform(np.log(0.25), np.log(6.0)))
    way = rng.standard_normal(3)
    microphone = np.clip(guitar + far * way / np.linalg.norm(way), low, high)
    for place in (guitar, click):
        room.add_source(place)
    room.add_microphone(microphone + 0.05)
    room.compute_rir()
    found = []
    for response in room.rir[0]:
        ir = _arrived(np.asarray(response, float))
        late = int(0.6 * len(ir))
        t60_s = max(0.05, 0.161 * float(np.prod(size)) / (material.energy_absorption["coeffs"][0] * _surface(size)))
        n = int(min(t60_s, LONGEST_S) * RATE_HZ)
        tail = rng.standard_normal(n) * 10 ** (-3 * np.arange(n) / RATE_HZ / t60_s)
        level = np.sqrt(np.mean(ir[late // 2 : late] ** 2)) / (np.sqrt(np.mean(tail[late // 2 : late] ** 2)) + 1e-12)
        whole = np.zeros(max(n, late))
        whole[:late] += ir[:late]
        whole[late:n] += level * tail[late:]
        found.append(duller(whole, rng.uniform(5000, 16000)) if rng.random() < 0.5 else whole)
    return _of_energy_one(found[0]), _of_energy_one(found[1])


def _surface(size: Wave) -> float:
    return float(2 * (size[0] * size[1] + size[1] * size[2] + size[0] * size[2]))


def _of_energy_one(response: Wave) -> Wave:
    one: Wave = response / np.sqrt((response**2).sum())
    return one
