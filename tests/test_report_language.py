"""Every word that a student reads stands in one catalogue, in any language, with that language's plurals."""

from __future__ import annotations

import io
import itertools
import re
from dataclasses import replace
from pathlib import Path

import catalogue
import pytest
from babel import Locale
from babel.messages.catalog import Catalog
from babel.messages.mofile import write_mo
from report_takes import take

from strumclock import report
from strumclock.errors import UsageError
from strumclock.pipeline.measurement import LeftClick
from strumclock.report.language import ENGLISH, Language, language_of, languages
from strumclock.report.student_words import _OBSTACLES, obstacle_ways
from strumclock.report.task_words import _TASKS, task_ways
from strumclock.verdict import Task, Where

VALUE = re.compile(r"\{\w+\}")
LETTERS = re.compile(r"[A-Za-z]")
TRANSLATIONS = catalogue.translations()
WHERES = (
    Where(),
    Where(bars=(7, 9)),
    Where(to_chord="∆7"),
    Where(from_chord="∆7", to_chord="5♯"),
    Where(beat=3),
    Where(part=1),
    *(Where(part=part) for part in (2, 3, 4, 5)),
)


def texts(message) -> tuple[str, ...]:
    """A sentence's forms: one, or two where it is about a number of things."""
    return tuple(message) if isinstance(message, tuple | list) else (message,)


def pseudo() -> Language:
    """A language whose every letter is a wide one: what is not in the catalogue stays narrow, and so is seen."""
    made = Catalog(locale="en")
    for message in catalogue.extracted():
        if message.id:
            wide = tuple(_wide(text) for text in texts(message.id))
            made.add(message.id, wide if isinstance(message.id, tuple) else wide[0])
    return compiled(made)


def _wide(text: str) -> str:
    kept = re.split(r"(\{\w+\})", text)
    return "".join(
        part if VALUE.fullmatch(part) else LETTERS.sub(lambda c: chr(ord(c[0]) + 0xFEE0), part) for part in kept
    )


def compiled(made: Catalog) -> Language:
    import gettext

    out = io.BytesIO()
    write_mo(out, made)
    out.seek(0)
    return Language(code="qps", catalogue=gettext.GNUTranslations(out))


@pytest.fixture(scope="module")
def wide() -> Language:
    """The pseudo-language."""
    return pseudo()


def test_the_template_lists_every_sentence_of_the_source() -> None:
    """Against babel's reading of the source; `python -m tests.catalogue` writes it anew."""
    with catalogue.TEMPLATE.open("rb") as file:
        from babel.messages.pofile import read_po

        listed = {message.id for message in read_po(file) if message.id}
    assert listed == {message.id for message in catalogue.extracted() if message.id}
    assert len(listed) > 90


@pytest.mark.parametrize("po", TRANSLATIONS, ids=lambda po: po.parent.parent.name)
def test_a_translation_is_whole_and_compiled(po: Path) -> None:
    """Against the template: each sentence is translated with its own values, and the shipped .mo holds just these."""
    translation, template = catalogue.read(po), catalogue.extracted()
    assert {texts(m.id) for m in translation if m.id} == {texts(m.id) for m in template if m.id}
    assert catalogue.untranslated(translation) == []
    for message in translation:
        if message.id:
            values = {value for text in texts(message.id) for value in VALUE.findall(text)}
            assert {value for said in texts(message.string) for value in VALUE.findall(said)} == values, message.id
            assert all(set(VALUE.findall(said)) >= values - {"{n}"} for said in texts(message.string)), message.id
    shipped = language_of(po.parent.parent.name).catalogue
    for message in translation:
        if message.id and isinstance(message.id, tuple | list):
            assert {shipped.ngettext(*message.id, n) for n in range(200)} == set(message.string)
        elif message.id:
            assert shipped.gettext(message.id) == message.string


@pytest.mark.parametrize("po", TRANSLATIONS, ids=lambda po: po.parent.parent.name)
def test_a_translations_plural_rule_is_that_of_cldr(po: Path) -> None:
    """Against the plural rules of the Unicode CLDR as babel has them: the same numbers go together."""
    code = po.parent.parent.name
    said = language_of(code)
    cldr = Locale(code).plural_form
    rule = said.catalogue.plural
    for a, b in itertools.combinations(range(60), 2):
        assert (rule(a) == rule(b)) == (cldr(a) == cldr(b)), (a, b)


@pytest.mark.parametrize("code", ["en", "pl", "cs", "ar", "ja", "fr"])
def test_a_number_of_things_is_said_by_the_languages_own_plural_rule(code: str) -> None:
    """Against CLDR (babel): languages with one to six forms; each form here is named by its rule's place."""
    locale = Locale(code)
    made = Catalog(locale=code)
    made.add(("{n} recording", "{n} recordings"), tuple(f"{{n}} form{i}" for i in range(made.num_plurals)))
    said = compiled(made)
    forms = {n: said.count("{n} recording", "{n} recordings", n).split()[1] for n in range(130)}
    for a, b in itertools.combinations(range(130), 2):
        assert (locale.plural_form(a) == locale.plural_form(b)) == (forms[a] == forms[b]), (a, b)


@pytest.mark.parametrize("kind", sorted(_OBSTACLES))
def test_no_word_of_an_obstacle_escapes_the_catalogue(kind: str, wide: Language) -> None:
    """Against the pseudo-language: all letters are wide ones."""
    for where, late, per_beat in itertools.product(WHERES, (False, True), (1, 2, 3, 4)):
        for said in obstacle_ways(kind, late=late, where=where, per_beat=per_beat, language=wide):
            assert not LETTERS.search(said), said


@pytest.mark.parametrize("code", sorted(_TASKS))
def test_no_word_of_a_task_escapes_the_catalogue(code: str, wide: Language) -> None:
    """Against the pseudo-language: all letters are wide ones."""
    for where in WHERES:
        for said in task_ways(code, where, wide):
            assert not LETTERS.search(said), said


HELD = take(bars=14)
TAKES = {
    "held": HELD,
    "no tempo told": replace(HELD, exercise=replace(HELD.exercise, bpm=None)),
    "half a bpm": replace(HELD, exercise=replace(HELD.exercise, bpm=97.5)),
    "short": take(keep=12),
    "uneven": take(bars=14, sd_ms=60.0),
    "late changes": take(bars=14, change_ms=120.0),
    "gaps": take(bars=14, omit=tuple(range(0, 60, 3))),
    "left the click": take(bars=14, left_click=(LeftClick(start_s=12.2, end_s=19.8, played_bpm=96.3),)),
    "late": take(bars=14, mean_ms=90.0),
    "drifting": take(bars=14, drift_ms_per_min=250.0),
}


@pytest.mark.parametrize("name", TAKES)
def test_no_word_of_a_takes_message_escapes_the_catalogue(name: str, wide: Language) -> None:
    """Against the pseudo-language: what is left narrow are chords, which are what the exercise has."""
    for next_bpm in (60.0, 61.5, None):
        held = replace(TAKES[name].held, next_bpm=next_bpm)
        said = report.message(replace(TAKES[name], held=held), name="Žü", language=wide)
        assert said
        assert not LETTERS.search(re.sub(r"\b[AD]\b", "", said)), said


@pytest.mark.parametrize("name", TAKES)
@pytest.mark.parametrize("code", languages())
def test_a_takes_message_is_short_in_every_language(name: str, code: str) -> None:
    """The design's 240 characters, whole sentences, also for a long name and every task."""
    m = TAKES[name]
    for task in _TASKS:
        verdict = replace(m.verdict, task=Task(code=task, where=Where(bars=(12,))))
        said = report.message(replace(m, verdict=verdict), name="Aurelia-Konstanze", language=code)
        assert len(said) <= 240, said
        assert said.endswith((".", "!")), said


def test_the_message_in_german_names_the_pair_and_the_place() -> None:
    """Read aloud: late changes at 100 bpm."""
    said = report.message(TAKES["late changes"], name="Ines", language="de")
    assert said == (
        "Hallo Ines! Wenn du den Akkord wechselst, kommt der neue zu spät. Spiel nur den Wechsel, langsam, und halt "
        "dabei die Schlaghand nie an. Stell den Klick beim nächsten Mal auf 90. Hör auf, wenn etwas wehtut."
    )


def test_a_teachers_own_catalogue_is_read_and_what_it_lacks_stays_english(tmp_path: Path) -> None:
    """Against the catalogue that the test compiled: one sentence in it, the others not."""
    made = Catalog(locale="nl")
    made.add("Go on like this.", "Ga zo door.")
    path = tmp_path / "mine.mo"
    with path.open("wb") as file:
        write_mo(file, made)
    own = language_of(str(path))
    assert own.code == "nl"
    assert own.say("Go on like this.") == "Ga zo door."
    assert own.say("You stopped in the middle.") == "You stopped in the middle."


def test_a_translation_with_a_value_that_its_sentence_lacks_is_refused_by_name() -> None:
    """A slip of the translator must not be sent to a student."""
    made = Catalog(locale="nl")
    made.add("You held {bpm}: well played.", "Je hield {tempo}.")
    with pytest.raises(UsageError, match=r"has \{tempo\}; correct its catalogue"):
        compiled(made).say("You held {bpm}: well played.", bpm="72")


@pytest.mark.parametrize(
    "bytes_", [b"", b"not a catalogue", b"\xde\x12\x04\x95" + bytes(range(40)), b"\xde\x12\x04\x95"]
)
def test_bytes_that_are_no_catalogue_are_refused_in_one_line(bytes_: bytes, tmp_path: Path) -> None:
    """Empty, text, and files that begin like a catalogue and are none."""
    path = tmp_path / "broken.mo"
    path.write_bytes(bytes_)
    with pytest.raises(UsageError, match="compiled gettext"):
        language_of(str(path))


@pytest.mark.parametrize(("told", "why"), [("xx", "one of de, en"), ("nowhere.mo", "none at"), ("", "one of")])
def test_a_language_that_is_not_there_is_refused(told: str, why: str) -> None:
    """What was required, what came, what to do."""
    with pytest.raises(UsageError, match=why):
        language_of(told)


def test_no_translation_is_plain_english() -> None:
    """Left out, English; as is any spelling of it."""
    assert language_of() is ENGLISH is language_of("en_GB")
    assert language_of(ENGLISH) is ENGLISH
