"""In which language a student is written to: every sentence to students goes through here and stands in the catalogue.

The sentences of the program's text are English and are the catalogue's keys (gettext). `locale/strumclock.pot` lists
them; ``locale/de`` has them in German. A teacher brings another language as a compiled catalogue, a file that ends in
``.mo``, which every translating program writes from the ``.pot``. What such a file leaves out stays English.

In a sentence ``{name}`` stands for a value; a translation uses the same values, in any order. Whole sentences are
translated, never parts of them. ``python -m tests.catalogue`` writes the lists anew after a sentence has changed.
"""

from __future__ import annotations

import gettext
import re
import struct
from dataclasses import dataclass
from datetime import date
from importlib import resources
from pathlib import Path

from strumclock.errors import UsageError, printable

DOMAIN = "strumclock"
ENDING = ".mo"
_VALUE = re.compile(r"\{(\w+)\}")
_NO_CATALOGUE = (OSError, ValueError, struct.error, UnicodeError, IndexError, AssertionError)
"""What reading bytes that are no catalogue may raise."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Language:
    """A language that students are written to in.

    Attributes
    ----------
    code : str
        Such as ``"de"``; of a teacher's own catalogue what it calls itself.
    catalogue : gettext.NullTranslations
        Sentences of this language by the English ones.
    """

    code: str
    catalogue: gettext.NullTranslations

    def say(self, text: str, **values: str) -> str:
        """A sentence in this language, with its values.

        Examples
        --------
        >>> ENGLISH.say("You held {bpm}: well played.", bpm="72")
        'You held 72: well played.'
        """
        return self._filled(self.catalogue.gettext(text), text, values)

    def count(self, one: str, many: str, n: int, **values: str) -> str:
        """A sentence about a number of things, by the plural rules of this language; ``{n}`` is the number.

        Examples
        --------
        >>> ENGLISH.count("{n} recording", "{n} recordings", 1), ENGLISH.count("{n} recording", "{n} recordings", 3)
        ('1 recording', '3 recordings')
        """
        return self._filled(self.catalogue.ngettext(one, many, n), many, {"n": str(n), **values})

    def tempo(self, bpm: float) -> str:
        """A tempo as a number, to at most a tenth.

        Examples
        --------
        >>> ENGLISH.tempo(72.0), ENGLISH.tempo(97.5), language_of("de").tempo(97.5)
        ('72', '97.5', '97,5')
        """
        whole, _, tenth = f"{bpm:.1f}".partition(".")
        return whole if tenth == "0" else self.say("{whole}.{tenth}", whole=whole, tenth=tenth)

    def day(self, when: date) -> str:
        """A day without its year.

        Examples
        --------
        >>> ENGLISH.day(date(2026, 12, 5)), language_of("de").day(date(2026, 12, 5))
        ('5 December', '5. Dezember')
        """
        say, number = self.say, str(when.day)
        months = (
            say("{day} January", day=number),
            say("{day} February", day=number),
            say("{day} March", day=number),
            say("{day} April", day=number),
            say("{day} May", day=number),
            say("{day} June", day=number),
            say("{day} July", day=number),
            say("{day} August", day=number),
            say("{day} September", day=number),
            say("{day} October", day=number),
            say("{day} November", day=number),
            say("{day} December", day=number),
        )
        return months[when.month - 1]

    def _filled(self, text: str, english: str, values: dict[str, str]) -> str:
        unknown = [name for name in _VALUE.findall(text) if name not in values]
        if unknown:
            raise UsageError(
                f"a translation must use the values of its sentence, {printable(english)!r}, but that of language "
                f"{printable(self.code)} has {{{printable(unknown[0])}}}; correct its catalogue"
            )
        return _VALUE.sub(lambda found: values[found[1]], text)


ENGLISH = Language(code="en", catalogue=gettext.NullTranslations())


def languages() -> tuple[str, ...]:
    """The languages that are there without a catalogue of one's own.

    Examples
    --------
    >>> languages()
    ('de', 'en')
    """
    found = (place.name for place in resources.files("strumclock.report").joinpath("locale").iterdir())
    return tuple(sorted({"en", *(name for name in found if "." not in name)}))


def language_of(told: str | Language | None = None) -> Language:
    """The language of a name, or of a teacher's own catalogue.

    Parameters
    ----------
    told : str or Language, optional
        A code such as ``"de"`` or ``"de_AT"``, or the path of a ``.mo`` file; English if left out.

    Raises
    ------
    UsageError
        If there is no such language, or the file is no catalogue.

    Examples
    --------
    >>> language_of("de_AT").code, language_of().code
    ('de', 'en')
    """
    if isinstance(told, Language):
        return told
    if told is None:
        return ENGLISH
    if told.casefold().endswith(ENDING):
        return _own(Path(told))
    code = re.split(r"[-_.@]", told.casefold())[0]
    if code == "en":
        return ENGLISH
    if code not in languages():
        raise UsageError(
            f"a language must be one of {', '.join(languages())}, or a compiled catalogue that ends in {ENDING}, but "
            f"{printable(told)!r} came; name one of these, or translate strumclock.pot"
        )
    place = resources.files("strumclock.report").joinpath("locale", code, "LC_MESSAGES", DOMAIN + ENDING)
    with place.open("rb") as file:
        return Language(code=code, catalogue=gettext.GNUTranslations(file))


def _own(path: Path) -> Language:
    try:
        with open(path, "rb") as file:
            catalogue = gettext.GNUTranslations(file)
    except FileNotFoundError:
        raise UsageError(f"a catalogue must be a file, but there is none at {printable(str(path))}; check it") from None
    except _NO_CATALOGUE as error:
        why = getattr(error, "strerror", None) or "its bytes are no compiled gettext catalogue"
        raise UsageError(
            f"a language's catalogue must be a compiled gettext file, but of {printable(str(path))}: {why}; "
            "compile the translation again"
        ) from None
    code = catalogue.info().get("language", "") or path.stem
    return Language(code=re.sub(r"\s+", "_", printable(code)), catalogue=catalogue)
