"""What a correction changed, in words: about the take, and about the weeks that it belongs to."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from strumclock.errors import printable
from strumclock.journal.edits import NAMELESS
from strumclock.journal.one_take import OneTake


@dataclass(frozen=True, slots=True, kw_only=True)
class Week:
    """What the weeks of one exercise came to at one moment."""

    student: str
    exercise: str
    held_bpm: float | None
    next_bpm: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Noted:
    """What is different after a correction by hand.

    Attributes
    ----------
    before, after : OneTake
    field : str
        What was corrected.
    measured : bool
        The take was measured again.
    notices : tuple of str
        What the new measurement warns of and the old one did not.
    weeks_before, weeks_after : tuple of Week
        Of the students concerned.
    """

    before: OneTake
    after: OneTake
    field: str
    measured: bool
    notices: tuple[str, ...] = ()
    weeks_before: tuple[Week, ...] = ()
    weeks_after: tuple[Week, ...] = ()

    def __str__(self) -> str:
        return "\n".join(printable(line) for line in self.lines())

    def lines(self) -> list[str]:
        """A sentence each."""
        lines = [self._about_the_take()]
        if self.measured:
            lines.append(f"Measured again: {_held(self.before, self.after)}.")
        if self.field != "excluded":
            lines += _counting(self.before, self.after)
        lines += [f"Note: {notice}." for notice in self.notices]
        return lines + list(self._about_the_weeks())

    def _about_the_take(self) -> str:
        name, was, now = self.before.name, self.before, self.after
        if self.field == "excluded":
            if now.excluded is not None:
                return f"{name} does not count any more: {now.excluded}"
            return (
                f"{name} counts again" if now.not_counted is None else f"{name} still does not count: {now.not_counted}"
            )
        if self.field == "remark":
            return f"Remark about {name}: {now.remark or 'none any more'}"
        if self.field in ("student", "equipment", "exercise"):
            empty = NAMELESS if self.field == "student" else "not known"
            old, new = (getattr(one, self.field) or empty for one in (was, now))
            return f"{name}: {_change(self.field, old, new)}"
        if self.field == "date":
            return f"{name}: {_change('date', _date(was), str(now.played_on))}"
        if self.field == "bpm":
            return f"{name}: {_change('tempo', _bpm(was.bpm), _bpm(now.bpm))}"
        return f"{name}: {self.field} corrected"

    def _about_the_weeks(self) -> Iterator[str]:
        was = {(one.student, one.exercise): one for one in self.weeks_before}
        now = {(one.student, one.exercise): one for one in self.weeks_after}
        for key in dict.fromkeys([*was, *now]):
            old, new = was.get(key), now.get(key)
            said = []
            for what in ("held_bpm", "next_bpm"):
                a, b = (getattr(one, what) if one is not None else None for one in (old, new))
                if a != b:
                    words = "highest tempo held in a week" if what == "held_bpm" else "next tempo"
                    said.append(f"{words} {_bpm(a)} → {_bpm(b)}")
            if said:
                student, exercise = key
                yield f"{student or NAMELESS}, {exercise}: {'; '.join(said)}"


def _change(what: str, old: str, new: str) -> str:
    return f"{what} {new}, as before" if old == new else f"{what} {old} → {new}"


def _held(was: OneTake, now: OneTake) -> str:
    words = {True: "held", False: "not held", None: "too little to judge"}
    return f"{words[now.held]}, as before" if was.held == now.held else f"{words[now.held]}; before: {words[was.held]}"


def _counting(was: OneTake, now: OneTake) -> list[str]:
    if was.not_counted == now.not_counted:
        return []
    return ["It counts now."] if now.not_counted is None else [f"It does not count: {now.not_counted}."]


def _date(take: OneTake) -> str:
    if take.played_on is None:
        return "not known"
    return f"{take.played_on} (only the file's time)" if take.date_source == "file" else str(take.played_on)


def _bpm(bpm: float | None) -> str:
    return "none" if bpm is None else f"{bpm:.4g} bpm"
