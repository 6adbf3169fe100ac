"""What teaches the strum finder: its network is the package's, its takes are repeatable and their truth is in them."""

from __future__ import annotations

import importlib.util
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

if any(importlib.util.find_spec(name) is None for name in ("torch", "pyroomacoustics")):
    pytest.skip("the learning extra is not installed", allow_module_level=True)

import soundfile as sf
import torch

from strumclock.errors import UsageError
from strumclock.learning import (
    __main__ as command,
    calibration,
    examples,
    hand,
    model,
    recorder,
    rooms,
    scenes,
    sounds,
    training,
)
from strumclock.learning.guitars import LEAD, PhysicalGuitar, RecordedGuitar, attack
from strumclock.onsets import Detector
from strumclock.onsets.bands import STEP_S, STEPS
from strumclock.onsets.network import logits, worth_a_look
from strumclock.onsets.residual import BEFORE_S, CHANNELS

RATE_HZ = sounds.RATE_HZ
NOTHING = sounds.Sounds()


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two guitars of two computed notes each, a room, a speaker and a click."""
    top = tmp_path_factory.mktemp("sounds")
    rng = np.random.default_rng(5)
    for name in ("one", "two"):
        (top / "guitars" / name).mkdir(parents=True)
        rows = ["file,f0_hz"]
        guitar = PhysicalGuitar(rng)
        for pitch, f0 in ((45, 110.0), (57, 220.0)):
            sf.write(top / "guitars" / name / f"{pitch}.wav", guitar.note(pitch, 1.0, rng), RATE_HZ)
            rows.append(f"{pitch}.wav,{f0}")
        (top / "guitars" / name / "index.csv").write_text("\n".join(rows))
    for part, seconds in (("rooms", 0.3), ("speech", 2.0), ("clicks", 0.1)):
        (top / part).mkdir()
        n = int(seconds * RATE_HZ)
        sf.write(top / part / "a_1.wav", 0.5 * rng.standard_normal(n) * np.exp(-np.arange(n) / n * 6), RATE_HZ)
    return top


def test_the_taught_network_is_the_packages_own_against_its_numpy_twin() -> None:
    """PyTorch's forward pass against the package's, with the same random weights."""
    p = {name: t.detach() + 0.05 * torch.randn_like(t) for name, t in model.new_parameters(3, "cpu").items()}
    rng = np.random.default_rng(0)
    x = rng.standard_normal((5, STEPS, CHANNELS)).astype(np.float32)
    picture = rng.standard_normal((5, model.PIXELS)).astype(np.float32)
    z, gate = model.forward(p, torch.from_numpy(x.transpose(0, 2, 1).copy()), torch.from_numpy(picture))
    w = model.to_weights(p)
    np.testing.assert_allclose(logits(x, picture, w), z.numpy(), rtol=0, atol=1e-4)
    np.testing.assert_allclose(worth_a_look(picture, w), torch.sigmoid(gate).numpy(), rtol=0, atol=1e-5)


def test_learning_finds_a_rule_that_is_there_by_construction() -> None:
    """A strum begins where the first channel jumps; without a jump there is none: the loss falls to a fraction."""
    rng = np.random.default_rng(1)
    n = 600
    place = rng.integers(60, 200, n)
    none = rng.random(n) < 0.3
    x = rng.normal(0, 0.2, (n, STEPS, CHANNELS))
    x[:, :, 0] += np.where(none[:, None], 0, 2.0 * (np.arange(STEPS) >= place[:, None]))
    at = np.where(none, np.nan, (place + 0.5) * STEP_S - BEFORE_S).astype(np.float32)
    data = examples.Examples(
        evidence=examples.packed(x),
        picture=examples.packed(np.zeros((n, model.PIXELS))),
        at_s=at,
        loud_db=np.zeros(n, np.float32),
        take=np.zeros(n, np.int32),
    )
    before = training.judged(model.new_parameters(1, "cpu"), data)["loss"]
    p = training.learn(data, seed=1, epochs=25, batch=64)
    after = training.judged(p, data)
    assert after["loss"] < 0.7 * before
    assert after["missed"] < 0.3
    assert after["taken"] < 0.3


def test_a_simulated_take_is_repeatable_and_begins_its_strums_inside() -> None:
    """The same seed gives the same samples; strum times lie inside the take and increase."""
    first, again = (scenes.simulate(12, NOTHING, seconds=5.0) for _ in range(2))
    np.testing.assert_array_equal(first.samples, again.samples)
    assert np.all(np.diff(first.strums_s) > 0)
    assert 0 < first.strums_s[0] < first.strums_s[-1] < 5.0
    assert np.isfinite(first.samples).all()


@pytest.mark.parametrize("seed", [1, 2, 3, 4])
def test_a_computed_note_begins_where_the_rule_says_by_construction(seed: int) -> None:
    """DESIGN.md's rule for a strum's time, applied again to the finished note: at LEAD, to a tenth of a millisecond."""
    rng = np.random.default_rng(seed)
    note = PhysicalGuitar(rng).note(float(rng.integers(40, 65)), 1.0, rng)
    assert abs(attack(note) - LEAD) <= 4


def test_a_recorded_note_is_shifted_to_the_pitch_asked_for_by_construction(folder: Path) -> None:
    """From 110 Hz a fifth up: the strongest partials stand at multiples of 165 Hz."""
    note = RecordedGuitar(folder / "guitars" / "one").note(52.0, 1.0, np.random.default_rng(0))
    spectrum = np.abs(np.fft.rfft(note[LEAD : LEAD + RATE_HZ] * np.hanning(RATE_HZ)))
    strongest = int(np.argmax(spectrum[60:2000])) + 60
    off = strongest / 164.81 - round(strongest / 164.81)
    assert abs(off) < 0.02


@pytest.mark.parametrize(("name", "rate"), [("aac", 64), ("opus", 32), ("mp3", 96)])
def test_a_codec_leaves_sounds_where_they_were_by_construction(name: str, rate: int) -> None:
    """Bursts of noise: decoded, the first burst's energy has its middle within half a millisecond of where it was."""
    rng = np.random.default_rng(2)
    x = np.zeros(3 * RATE_HZ)
    for at in (20000, 60000, 101000):
        x[at : at + 900] += 0.3 * rng.standard_normal(900)
    y = recorder.through_codec(x, name, rate)
    assert len(y) == len(x)
    part = slice(19000, 22500)
    k = np.arange(part.stop - part.start)
    middle = [float((k * z[part] ** 2).sum() / (z[part] ** 2).sum()) for z in (x, y)]
    assert abs(middle[0] - middle[1]) < 0.0005 * RATE_HZ


def test_half_of_the_fast_takes_have_a_strum_at_each_place_by_counting() -> None:
    """`EVERY_PLACE` of the fast takes, no others: in 300 takes within three standard errors, 26 takes."""
    full = {"fast": 0, "pick": 0}
    for style in full:
        for seed in range(300):
            events = hand.strokes(np.random.default_rng(seed), style, 0.2, 2, 5.0)
            places = [e.place for e in events]
            full[style] += (
                places == list(range(len(places))) and [e.way for e in events] == list("DU" * 20)[: len(events)]
            )
    assert abs(full["fast"] - 300 * hand.EVERY_PLACE) <= 26
    assert full["pick"] <= 3


def test_a_strum_is_over_before_the_next_by_construction(monkeypatch: pytest.MonkeyPatch) -> None:
    """A hand that takes 80 ms, ten strums a second: each string begins within `WIDEST` of a tenth, up to 1 ms."""
    events = [hand.Stroke(at_s=0.5 + 0.1 * k, way="D", place=k) for k in range(6)]
    slow = hand.Hand(np.random.default_rng(3), PhysicalGuitar(np.random.default_rng(3)), "slow")
    slow.spread_s = 0.08
    begins_s: list[float] = []
    stop = hand.Played.stop

    def noted(self: hand.Played, string: int, at_s: float, fade_s: float) -> None:
        begins_s.extend((start + LEAD) / RATE_HZ for _, start, _ in self.strings.values())
        stop(self, string, at_s, fade_s)

    monkeypatch.setattr(hand.Played, "stop", noted)
    slow.play(events, 1.1)
    after_s = (np.array(begins_s) - 0.5 + 0.001) % 0.1 - 0.001
    assert 0.04 < after_s.max() <= hand.WIDEST * 0.1 + 0.001


def test_easy_takes_mostly_go_through_a_codec_and_plain_ones_never_by_counting() -> None:
    """`CODED_EASY` of 120 recordings within three standard errors, 14; AAC is the commonest."""
    x = 0.3 * np.sin(2 * np.pi * 440 * np.arange(RATE_HZ // 4) / RATE_HZ)
    easy = [recorder.recorded(np.random.default_rng(k), x, NOTHING, plain=False, easy=True)[1] for k in range(120)]
    plain = {recorder.recorded(np.random.default_rng(k), x, NOTHING, plain=True, easy=False)[1] for k in range(20)}
    assert plain == {"none"}
    assert abs(sum(codec != "none" for codec in easy) - 120 * recorder.CODED_EASY) <= 14
    by = [sum(codec.startswith(name) for codec in easy) for name in ("aac", "opus", "mp3")]
    assert max(by) == by[0]


def test_rooms_begin_with_the_direct_sound_by_construction(folder: Path) -> None:
    """Every kind of room: energy 1, and the first sample is a large one: a strum's time is its arrival."""
    recorded = tuple(sounds.read_sounds(folder).rooms)
    for seed in range(12):
        for response in rooms.some_room(np.random.default_rng(seed), recorded):
            assert np.sum(response**2) == pytest.approx(1)
            assert np.abs(response[:3]).max() > 0.1 * np.abs(response).max()


def test_what_is_kept_out_is_not_learned_from_by_construction(folder: Path) -> None:
    """A guitar and the rest: kept out by name, it is judged with alone; what has no kept-out part is in both."""
    whole = sounds.read_sounds(folder)
    ours, theirs = sounds.divided(whole, ("two",))
    assert [p.name for p in ours.guitars] == ["one"]
    assert [p.name for p in theirs.guitars] == ["two"]
    assert ours.rooms == theirs.rooms == whole.rooms
    assert len(sounds.sha256_of(whole, folder)) == 7


def test_a_folder_without_guitars_is_refused_by_construction(tmp_path: Path) -> None:
    """Nothing to pluck."""
    with pytest.raises(UsageError, match="guitars"):
        sounds.read_sounds(tmp_path)
    assert command.main([str(tmp_path), "--set", "temper=0.1"]) == 2


def test_a_number_that_the_calibration_does_not_have_is_refused_by_construction(tmp_path: Path) -> None:
    """A name misspelt, a value that is no number: before anything is rendered."""
    for word in ("tempre=0.1", "temper=low", "temper"):
        with pytest.raises(UsageError, match="NAME=VALUE"):
            command.by_hand([word])
    assert command.by_hand(["temper=0.1"]) == {"temper": 0.1}
    assert not list(tmp_path.iterdir())


def test_f_and_held_shares_against_counting() -> None:
    """Three strums, one missed, one added: F = 2·2/(3 + 3); of those matched, one of two lies within 2 u."""
    tally = calibration.Tally(
        n_true=3,
        p=np.array([0.9, 0.8, 0.3]),
        u_s=np.full(3, 0.001),
        error_s=np.array([0.0005, -0.003, np.nan]),
        bias_u_s=0.0003,
    )
    assert calibration.f_measure([tally]) == pytest.approx(4 / 6)
    many = replace(tally, p=np.tile(tally.p, 6), u_s=np.tile(tally.u_s, 6), error_s=np.tile(tally.error_s, 6))
    told = calibration.figures([many])
    assert told["within_2u"] == pytest.approx(0.5)


def test_thresholds_take_soft_strums_that_are_sharp_and_no_blurred_noise_by_construction() -> None:
    """Strums at .95 and, sharply placed, at .5; noise at .7, placed to 30 ms: only two thresholds part them."""
    p, u_s = np.repeat([0.95, 0.5, 0.7], 20), np.repeat([0.002, 0.002, 0.03], 20)
    error_s = np.where(p == 0.7, np.nan, 0.0)
    tally = calibration.Tally(n_true=40, p=p, u_s=u_s, error_s=error_s, bias_u_s=0.0003)
    c = calibration.thresholds([tally], calibration.FIRST)
    assert c.least_if_sharp <= 0.5
    assert c.least_probability > 0.7
    assert 0.002 < c.sharp_s <= 0.03


@pytest.mark.slow
def test_the_command_writes_a_detector_with_its_provenance_end_to_end(folder: Path, tmp_path: Path) -> None:
    """Four takes: the file loads, says what it was made from, and its numbers are those set by hand; a second network
    of the same examples, wider, takes the first as its second opinion."""
    first, both = tmp_path / "small.npz", tmp_path / "both.npz"
    words = [str(folder), "--takes", "4", "--judged", "2", "--epochs", "1", "--workers", "1", "--keep-out", "two"]
    words += ["--folder", str(tmp_path / "kept"), "--set", "temper=0.01"]
    assert command.main([*words, "--until", "rendered"]) == 0
    assert not (tmp_path / "kept" / "network.npz").exists()
    assert command.main([*words, "--out", str(first)]) == 0
    detector = Detector.load(first)
    assert detector.calibration.temper == 0.01
    assert detector.provenance["kept_out"] == ["guitars/two"]
    assert len(detector.provenance["sha256"]) == 7  # type: ignore[arg-type]
    assert detector.provenance["takes"] == 4
    wider = ["--name", "wide", "--begin", "2", "--channels", "24", "48", "16", "32", "24", "--second", "network"]
    assert command.main([*words, *wider, "--out", str(both)]) == 0
    whole = Detector.load(both)
    assert whole.weights.fine[0].shape[1] == 24
    assert whole.second is not None
    np.testing.assert_array_equal(whole.second.out[0], detector.weights.out[0])
