"""How well the latency of a loop is found in noise, and what noise alone looks like: run this file.

The test sounds, delayed by a fraction of a sample (a turn of their spectrum), with two echoes, in white noise.
"""

from __future__ import annotations

import numpy as np

from strumclock.errors import StrumclockError
from strumclock.recording import latency

DRAWS = 10
CASES = ((1.0, 0.0), (0.05, 0.01), (0.02, 0.01), (0.01, 0.01))  # gain of the loop, standard deviation of the noise

ECHOES = ((0.7, 0.004), (0.5, 0.011))


def main() -> None:
    """Print a line for each rate and case."""
    dice = np.random.default_rng(0)
    for rate in (44_100, 48_000):
        sounds, begins = latency.loop_sounds(rate)
        ratios = []
        for _ in range(DRAWS):
            noise = dice.normal(0, 0.01, len(sounds)).astype(np.float32)
            matched = latency._matched(noise, latency._chirp(rate))
            for at in latency._places(begins, rate):
                window = matched[at : at + int(1.5 * rate)]
                ratios.append(window.max() / latency._rms(window))
        print(f"{rate} Hz, noise alone: peak over rms at most {max(ratios):.2f}")
        for gain, noise_sd in CASES:
            print(
                f"{rate} Hz, gain {gain:g}, noise {noise_sd:g}: {_errors(sounds, begins, rate, gain, noise_sd, dice)}"
            )


def _errors(
    sounds: np.ndarray, begins: np.ndarray, rate: int, gain: float, noise_sd: float, dice: np.random.Generator
) -> str:
    """The largest error of some draws, in words."""
    errors, refused = [], 0
    for _ in range(DRAWS):
        delay = dice.uniform(0.003, 0.4) * rate
        spectrum = np.fft.rfft(sounds, 2 * len(sounds))
        turn = np.exp(-2j * np.pi * np.arange(len(spectrum)) / (2 * len(sounds)) * delay)
        heard = gain * np.fft.irfft(spectrum * turn)[: len(sounds)]
        for echo, after_s in ECHOES:
            n = int(after_s * rate)
            heard[n:] += echo * heard[:-n]
        heard += dice.normal(0, noise_sd, len(sounds))
        try:
            found = latency.measure_latency(heard.astype(np.float32), begins, rate)
        except StrumclockError:
            refused += 1
            continue
        errors.append(abs(1000 * (found.value_s - delay / rate)))
    return f"largest error {max(errors):.4f} ms" if errors else f"refused {refused} of {DRAWS}"


if __name__ == "__main__":
    main()
