"""The catalogue of what students are sent, written anew: ``python -m tests.catalogue``.

Every sentence is read out of the source (babel), listed in ``strumclock.pot``, and each translation is brought up to it
and compiled. What a translation lacks is printed: translate it in the ``.po`` and run this again.
"""

from __future__ import annotations

import io
import re
from datetime import UTC, datetime
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.extract import extract_from_file
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po, write_po

REPORT = Path(__file__).resolve().parent.parent / "src" / "strumclock" / "report"
TEMPLATE = REPORT / "locale" / "strumclock.pot"
KEYWORDS = {"say": (1,), "count": (1, 2)}
"""`Language.say` and `Language.count`, and which of their arguments are sentences."""

STARTED = datetime(2026, 11, 28, tzinfo=UTC)  # a date that moves would change the files each time
HEADER = """\
# What strumclock says to students. A value in braces stays as it is; the sentence around it may put it anywhere.
# The sentences are sent to people of any age: plain, kind, never a reproach. Say "you" as a teacher says it to a child.
#"""


def sources() -> list[Path]:
    """The modules that speak to students: those that know of a language."""
    files = sorted(REPORT.glob("*.py"))
    return [file for file in files if re.search(r"class Language\b|report\.language import", file.read_text("utf-8"))]


def extracted() -> Catalog:
    """Every sentence of the source."""
    found = Catalog(project="strumclock", version="1", header_comment=HEADER, creation_date=STARTED)
    found.copyright_holder = "The strumclock authors"
    for file in sources():
        for line, message, _, _ in extract_from_file("python", file, keywords=KEYWORDS):
            texts = (message,) if isinstance(message, str) else message
            if all(isinstance(text, str) for text in texts):
                found.add(message, locations=[(file.name, line)])
    return found


def as_po(catalogue: Catalog) -> bytes:
    """A catalogue as the text of a .po or .pot file; no line numbers, which change with every edit."""
    out = io.BytesIO()
    write_po(out, catalogue, width=110, include_lineno=False, sort_by_file=True, ignore_obsolete=True)
    return out.getvalue()


def as_mo(catalogue: Catalog) -> bytes:
    """A catalogue compiled."""
    out = io.BytesIO()
    write_mo(out, catalogue)
    return out.getvalue()


def translations() -> list[Path]:
    """The .po files."""
    return sorted(REPORT.glob("locale/*/LC_MESSAGES/*.po"))


def read(po: Path) -> Catalog:
    """A translation."""
    with po.open("rb") as file:
        return read_po(file, locale=po.parent.parent.name)


def untranslated(catalogue: Catalog) -> list[str]:
    """The sentences that a translation lacks or is unsure of."""
    forms = ((m, m.string if isinstance(m.string, tuple) else (m.string,)) for m in catalogue if m.id)
    return [str(m.id) for m, said in forms if m.fuzzy or not all(said)]


def main() -> None:
    """Write the template, bring each translation up to it, compile it."""
    template = extracted()
    TEMPLATE.write_bytes(as_po(template))
    print(f"{len(template)} sentences in {TEMPLATE.name}")
    for po in translations():
        translation = read(po)
        translation.update(template, no_fuzzy_matching=True)
        translation.revision_date = STARTED
        po.write_bytes(as_po(translation))
        po.with_suffix(".mo").write_bytes(as_mo(translation))
        print(po.parent.parent.name, "lacks", untranslated(translation) or "nothing")


if __name__ == "__main__":
    main()
