"""The options of the command line, made from the fields of the values that they tell."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any, TypeVar

import click
from click.shell_completion import CompletionItem

from strumclock.errors import UsageError
from strumclock.fields import Given, fields_of

Decorator = Callable[[Callable[..., Any]], Callable[..., Any]]
Told = TypeVar("Told")


class _Place(click.ParamType):  # type: ignore[type-arg]  # generic from click 8.2 on only
    """A file or folder that is told by name: nothing is looked at here, the shell completes it."""

    name = "path"

    def __init__(self, kind: str) -> None:
        self._kind = kind

    def shell_complete(self, ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
        """Let the shell itself complete names of files, or of folders only."""
        del ctx, param
        return [CompletionItem(incomplete, type=self._kind)]


FILE, FOLDER = _Place("file"), _Place("dir")


def option_name(name: str) -> str:
    """How the command line spells a field; seconds are its unit unless it names another.

    Examples
    --------
    >>> option_name("first_downbeat_s"), option_name("click_to_mic_m")
    ('--first-downbeat', '--click-to-mic-m')
    """
    return "--" + name.removesuffix("_s").replace("_", "-")


def options_of(told: type, **help: str) -> Decorator:
    """A decorator that adds an option for each field of a value; `help` words some of them otherwise."""

    def add(command: Callable[..., Any]) -> Callable[..., Any]:
        for name, field in reversed(list(fields_of(told).items())):
            command = _option(name, field, help.get(name, field.help))(command)
        return command

    return add


def _option(name: str, field: Given, help: str) -> Decorator:
    if field.kind is bool:
        return click.option(option_name(name), name, is_flag=True, help=help)
    kind = field.kind if field.kind in (int, float) else FILE if "FILE" in (field.metavar or "") else str
    return click.option(option_name(name), name, type=kind, metavar=field.metavar, help=help)


def take_out(kind: type[Told], told: dict[str, Any]) -> Told:
    """The value that the options tell; takes its own options out of `told`."""
    fields = fields_of(kind)
    given = {name: told.pop(name) for name in fields}
    values = {name: _read(fields[name], value) for name, value in given.items() if value is not None}
    try:
        return kind(**values)
    except UsageError as error:
        raise UsageError(_as_options(str(error), tuple(fields))) from None


def _read(field: Given, value: Any) -> Any:
    return field.read("", value, "") if field.kind is tuple else value


def _as_options(message: str, names: tuple[str, ...]) -> str:
    """A message about fields as one about options; a name of one word reads as it is."""
    several_words = "|".join(name for name in names if "_" in name)
    return re.sub(rf"\b({several_words})\b", lambda found: option_name(found[1]), message)
