"""Hostile inputs of every kind: bytes damaged by a mutator; by hypothesis what follows a grammar but not its sense."""

from __future__ import annotations

import random
import struct
import warnings
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from hypothesis import HealthCheck, Phase, given, seed, settings, strategies as st
from hypothesis.errors import NonInteractiveExampleWarning
from tests.fuzz import corpus
from tests.fuzz.mutating import mutated

SHARES = {"audio": 0.5, "midi": 0.1, "settings": 0.1, "tables": 0.1, "journals": 0.08, "command lines": 0.12}
"""Of all inputs: what is decoded by foreign libraries gets the most."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Input:
    """Files of a folder, and what is done with it.

    Attributes
    ----------
    kind : str
        For the table.
    target : str
        See `targets.TARGETS`.
    files : dict
        Bytes by name.
    words : list of str
        Of a command line; else the one file that is read, or nothing: the folder is.
    """

    kind: str
    target: str
    files: dict[str, bytes] = field(default_factory=dict)
    words: list[str] = field(default_factory=list)


def inputs(count: int, number: int) -> Iterator[Input]:
    """So many inputs of all kinds, the same for the same number."""
    makers = {
        "audio": _audio,
        "midi": _midi,
        "settings": _settings,
        "tables": _tables,
        "journals": _journals,
        "command lines": _commands,
    }
    for kind, share in SHARES.items():
        yield from makers[kind](max(1, round(share * count)), number)


def _audio(count: int, number: int) -> Iterator[Input]:
    rng = random.Random(number)
    sounds = list(corpus.sounds().items())
    for i in range(count):
        name, data = sounds[i % len(sounds)]
        other = rng.choice(sounds)[1]
        yield Input(kind="audio", target="audio", files={name: mutated(data, rng, other)}, words=[name])


def _midi(count: int, number: int) -> Iterator[Input]:
    rng = random.Random(number)
    for data in _drawn(_midi_files(), count // 2, number):
        yield Input(kind="midi", target="midi", files={"a.mid": data}, words=["a.mid"])
    for _ in range(count - count // 2):
        data = mutated(rng.choice(corpus.midis()), rng, rng.choice(corpus.midis()))
        yield Input(kind="midi", target="midi", files={"a.mid": data}, words=["a.mid"])


def _settings(count: int, number: int) -> Iterator[Input]:
    rng = random.Random(number)
    texts = [text.encode() for text in corpus.PRACTICE]
    made = [text.encode("utf-8", "surrogatepass") for text in _drawn(_toml(), count // 2, number)]
    made += [mutated(rng.choice(texts), rng, rng.choice(texts)) for _ in range(count - len(made))]
    for data in made:
        files = {"practice.toml": data, "2026-01-05 two chords 80.wav": b"no sound"}
        yield Input(kind="settings", target="folder", files=files)


def _tables(count: int, number: int) -> Iterator[Input]:
    rng = random.Random(number)
    for i, rows in enumerate(_drawn(_rows(), count // 2, number)):
        yield _table(rows.encode("utf-8", "surrogatepass"), i)
    for i in range(count - count // 2):
        whole = (corpus.TABLE, corpus.PAGE)[i % 2].encode()
        yield _table(mutated(whole, rng, whole), i)


def _table(data: bytes, i: int) -> Input:
    if i % 2:
        return Input(kind="tables", target="page", files={"page.csv": data})
    files = {"takes.csv": data, "b.wav": b"no sound", "2026-01-05 two chords 80.wav": b"no sound"}
    return Input(kind="tables", target="folder", files=files)


def _journals(count: int, number: int) -> Iterator[Input]:
    rng = random.Random(number)
    whole = corpus.journal()
    commands = (["progress", "."], ["class", "."], ["note", ".", "late"], ["progress", ".", "--csv", "weeks.csv"])
    for i in range(count):
        files = {"strumclock-journal.sqlite": mutated(whole, rng, corpus.PAGE.encode())}
        words = [*commands[i % len(commands)], *(["--student", "Ines"] if i % 3 and i % len(commands) != 1 else [])]
        yield Input(kind="journals", target="command", files=files, words=words)


def _commands(count: int, number: int) -> Iterator[Input]:
    take = corpus.sounds()["a.wav"]
    files = {"a.wav": take, "a.mid": corpus.midis()[0], "strumclock-journal.sqlite": corpus.journal()}
    for words in _drawn(_words(), count, number):
        yield Input(kind="command lines", target="command", files=files, words=words)


# What follows a grammar.

_NUMBERS = st.one_of(
    st.sampled_from(
        ["0", "-1", "1", "80", "4", "nan", "inf", "-inf", "1e308", "-1e5", "1e-320", "²", "٣", "0x10", "1_0"]
    ),
    st.floats().map(repr),
    st.integers(-(10**30), 10**30).map(str),
)
_TEXTS = st.one_of(
    st.sampled_from(
        ["", " ", ".", "..", "/", "$A$ _x_", "=1+1", "\x1b[31m", "a\0b", "a" * 5000, "\udcff", "-", "--", "<b>"]
    ),
    st.text(max_size=40),
    st.sampled_from(
        ["4/4", "6/8", "0/4", "3/0", "999/1", "D.DU.UDU", "A D E D", "left", "right", "none", "steady", "tight"]
    ),
)
_FILES = st.sampled_from(
    [
        "a.wav",
        "a.mid",
        "nowhere.wav",
        ".",
        "/dev/null",
        "/dev/full",
        "",
        "a" * 300,
        "strumclock-journal.sqlite",
        "out.wav",
    ]
)
_VALUES = st.one_of(_NUMBERS, _TEXTS, _FILES)


@st.composite
def _words(draw: st.DrawFn) -> list[str]:
    """A command with options that it has, and values that need not be any."""
    import click

    from strumclock.cli import _COMMANDS, _strumclock

    # demo writes a class of sound, batch starts processes and is fuzzed through its library call
    names = sorted(set(_COMMANDS) - {"demo", "batch"})
    name = draw(st.sampled_from(names))
    command = _strumclock.get_command(click.Context(_strumclock), name)
    assert command is not None
    words = [name]
    for param in command.params:
        if isinstance(param, click.Argument):
            usual = {"take": "a.wav", "take_a": "a.wav", "take_b": "a.wav", "folder": "."}.get(param.name or "")
            words.append(usual if usual and draw(st.integers(0, 3)) else draw(_VALUES))
    options = [p for p in command.params if isinstance(p, click.Option)]
    for option in draw(st.lists(st.sampled_from(options), max_size=5)) if options else []:
        words.append(draw(st.sampled_from(option.opts)))
        if not option.is_flag:
            words.append(draw(_VALUES))
    return words


@st.composite
def _midi_files(draw: st.DrawFn) -> bytes:
    """A Standard MIDI File of valid chunks whose events may say anything."""
    byte = st.integers(0, 255)
    event = st.one_of(
        st.integers(0, 0xFFFFFF).map(lambda us: b"\xff\x51\x03" + us.to_bytes(3, "big")),
        st.sampled_from([0, 1, 29_999, 30_000, 0xFFFFFF]).map(lambda us: b"\xff\x51\x03" + us.to_bytes(3, "big")),
        st.tuples(byte, byte, byte, byte).map(lambda meter: b"\xff\x58\x04" + bytes(meter)),
        st.binary(max_size=6).map(lambda text: b"\xff\x06" + bytes([len(text)]) + text),
        st.tuples(st.integers(0x80, 0xEF), byte, byte).map(bytes),
    )
    delta = st.sampled_from([b"\x00", b"\x60", b"\x87\x40", b"\xff\xff\xff\x7f"])
    tracks = []
    for _ in range(draw(st.integers(0, 3))):
        events = draw(st.lists(st.tuples(delta, event), max_size=8))
        data = b"".join(wait + what for wait, what in events) + b"\x00\xff\x2f\x00"
        tracks.append(b"MTrk" + struct.pack(">I", len(data)) + data)
    division = draw(st.one_of(st.sampled_from([0, 1, 96, 480, 0x7FFF, 0xE728]), st.integers(0, 0xFFFF)))
    return b"MThd" + struct.pack(">IHHH", 6, draw(st.integers(0, 2)), len(tracks), division) + b"".join(tracks)


_TOML_VALUES: st.SearchStrategy[str] = st.one_of(
    _NUMBERS,
    st.booleans().map(lambda b: str(b).lower()),
    _TEXTS.map(lambda text: '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'),
    st.sampled_from(["2026-06-01", "0001-01-01", "9999-12-31T23:59:59Z", "07:32:00", "[]", "{}", "[1, 'a', []]"]),
    st.integers(1, 2000).map(lambda depth: "[" * depth + "]" * depth),
    st.integers(1, 6000).map(lambda digits: "9" * digits),
)
_TOML_KEYS = st.sampled_from(
    ["student", "equipment", "standard", "takes_to_hold", "root", "defaults", "exercises", "bpm", "meter", "per_beat",
     "pattern", "swing", "count_in", "bars", "chords", "beats_per_change", "aliases", "goal_bpm", "goal_by", "click",
     "midi", "latency_ms", "latency_u_ms", "same_clock", "first_downbeat_s", "changes", "tuning", "nonsense", '"a b"']
)  # fmt: skip
_TOML_HEADS = st.sampled_from(
    ["", "[defaults]", "[standard]", "[exercises]", '[exercises."x"]', "[[exercises]]", "[a.b]"]
)


def _toml() -> st.SearchStrategy[str]:
    """Lines of a TOML file whose keys are ours and whose values are anything."""
    line = st.tuples(_TOML_KEYS, _TOML_VALUES).map(" = ".join)
    block = st.tuples(_TOML_HEADS, st.lists(line, max_size=4)).map(lambda b: "\n".join([b[0], *b[1]]))
    return st.lists(block, max_size=4).map("\n".join)


def _rows() -> st.SearchStrategy[str]:
    """Rows of a table whose columns are ours and whose cells are anything."""
    columns = st.lists(
        st.sampled_from(
            ["file", "date", "time", "student", "exercise", "tempo", "bpm", "held", "start", "end", "meter", "remark",
             "exclude", "equipment", "swing", "chords", "nonsense", ""]
        ),
        min_size=1, max_size=8,
    )  # fmt: skip
    dates = st.sampled_from(["2026-01-05", "06.01.2026", "31.02.2026", "0000-00-00", "9999-12-31", "1.1.1"])
    cell = st.one_of(_NUMBERS, _TEXTS, dates, st.sampled_from(["b.wav", "yes", "no", "x" * 140_000]))
    mark = st.sampled_from([",", ";", "\t"])
    rows = st.lists(st.lists(cell, max_size=9), max_size=5)
    return st.builds(lambda m, c, r: "\n".join(m.join(row) for row in [c, *r]), mark, columns, rows)


def _drawn(strategy: st.SearchStrategy[Any], count: int, number: int) -> list[Any]:
    """So many examples of a strategy, the same for the same number."""
    found: list[Any] = []

    @seed(number)
    @settings(
        max_examples=max(count, 1),
        database=None,
        deadline=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(strategy)
    def draw(example: Any) -> None:
        found.append(example)

    with warnings.catch_warnings():
        warnings.simplefilter("ignore", NonInteractiveExampleWarning)
        draw()
    return found[:count]
