"""Arguments in, library calls, text out.

Results go to standard output, diagnostics to standard error. Exit status: 0 done, 1 something failed, 2 wrong usage.
Every error is one line. The commands' bodies live in the modules that `_COMMANDS` names, which are imported when one of
their commands is asked for.
"""

from __future__ import annotations

import contextlib
import gc
import importlib
import io
import os
import sys
from collections.abc import Sequence

import click

from strumclock.errors import StrumclockError, UsageError, printable

# Matrices are small here: with a thread for each core, the OpenBLAS in numpy's wheels waits more than it multiplies.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
# Loading the modules and one take make 70,000 objects that stay: looking for garbage at every 700th finds next to none.
gc.set_threshold(100_000)

_COMMANDS = {
    "measure": ("take", "measure monday.m4a --bpm 80 --pattern D.DU.UDU --per-beat 2"),
    "record": ("recording", "record monday.wav --bpm 80 --bars 16 --headphones"),
    "click": ("take", "click click.wav --bpm 80 --bars 16 --count-in 1"),
    "tuning": ("take", "tuning open-strings.wav"),
    "compare": ("take", "compare monday.m4a friday.m4a --bpm 80"),
    "assign": ("assigning", 'assign "two chords" --to evening-class --bpm 72 --chords "A D" --due 2026-12-08'),
    "batch": ("keeping", "batch evening-class"),
    "progress": ("weeks", "progress evening-class --student Ines"),
    "class": ("weeks", "class evening-class"),
    "answer": ("answering", "answer evening-class"),
    "note": ("keeping", 'note evening-class "new strings today" --student Ines'),
    "forget": ("keeping", "forget evening-class Ines"),
    "demo": ("keeping", "demo"),
}
"""Each command: the module that holds it, and an example of its use."""

_FIRST = """\
strumclock measures how accurately a guitarist strums against a click.

Begin with one of these:

  strumclock demo                         an invented class, to look around in
  strumclock click click.wav --bpm 80     a click to practise with
  strumclock measure take.m4a --bpm 80    what a recording of yours shows
  strumclock record take.wav --bpm 80     click and recording in one
  strumclock batch FOLDER                 a folder of takes, and what the weeks show

All commands: strumclock --help. More of one: strumclock measure --help.
"""


class _OnDemand(click.Group):
    """A group whose commands are imported when they are asked for."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """The commands in the order in which a user meets them."""
        del ctx
        return list(_COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import the module that holds the command, and the command from it."""
        del ctx
        if cmd_name not in _COMMANDS:
            return None
        module_name, example = _COMMANDS[cmd_name]
        module = importlib.import_module(f"strumclock.cli.{module_name}")
        command: click.Command = getattr(module, f"{cmd_name}_command")
        command.epilog = f"\b\nExample:\n  strumclock {example}"
        return command


@click.group(
    cls=_OnDemand,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 110},
    invoke_without_command=True,
)
@click.version_option(package_name="strumclock", prog_name="strumclock")
@click.pass_context
def _strumclock(context: click.Context) -> None:
    """Measure how accurately a guitarist strums against a click, and keep the practice record."""
    if context.invoked_subcommand is None:
        click.echo(_FIRST, nl=False, err=True)
        context.exit(2)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line.

    Parameters
    ----------
    arguments : sequence of str, optional
        The words after the program's name; by default those of this process.

    Returns
    -------
    int
        The exit status: 0 done, 1 something failed, 2 wrong usage.
    """
    if not _streams_open():
        return _fail("standard output must be open for the results, but it is closed; send it to a file", 1)
    if any("\0" in word for word in arguments or ()):  # no system hands one on; a program that calls this may
        return _fail("a command's words must be without null bytes, but one has one; leave it out", 2)
    try:
        status = _strumclock.main(arguments, prog_name="strumclock", standalone_mode=False)
        sys.stdout.flush()
    except click.UsageError as error:
        command = error.ctx.command_path if error.ctx else "strumclock"
        return _fail(f"{error.format_message().rstrip('.')}; see {command} --help", error.exit_code)
    except click.ClickException as error:
        return _fail(error.format_message(), error.exit_code)
    except UsageError as error:
        return _fail(str(error), 2)
    except StrumclockError as error:
        return _fail(str(error), 1)
    except (click.Abort, KeyboardInterrupt):
        return _fail("interrupted; what was finished is kept", 1)
    except BrokenPipeError:  # the reader of our output has gone: nothing to tell anybody
        _drop_output()
        return 1
    except OSError as error:
        return _fail(f"the system said: {error.strerror or error}{_of_file(error)}; nothing was left half-written", 1)
    except MemoryError:
        return _fail("not enough memory for this recording; measure a part of it with --start and --end", 1)
    return status if isinstance(status, int) else 0


def _streams_open() -> bool:
    """Whether results can be printed. A closed stream's number is taken, so that no file that is opened gets it."""
    number = 0
    while number <= 2:
        number = os.open(os.devnull, os.O_RDWR)
    os.close(number)
    if sys.stderr is None:
        sys.stderr = open(os.devnull, "w")  # noqa: SIM115 (for as long as the process lives)
    if sys.stdout is None:
        return False
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(errors="backslashreplace")  # a terminal that cannot show an é must not stop a result
    return True


def _fail(message: str, status: int) -> int:
    line = printable(" ".join(message.split()))
    with contextlib.suppress(OSError):  # standard error is full or gone: the exit status must do
        print("strumclock:", line.encode(errors="backslashreplace").decode(), file=sys.stderr, flush=True)
    try:
        sys.stdout.flush()
    except (OSError, AttributeError):
        _drop_output()
    return status


def _drop_output() -> None:
    """Let nothing be printed any more: what is left in the buffer would fail again when the process ends."""
    with contextlib.suppress(OSError, AttributeError):  # captured output has no number
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _of_file(error: OSError) -> str:
    return f" ({error.filename})" if error.filename is not None else ""
