"""The command line: one module a command, loaded when it is called."""

from __future__ import annotations

import importlib
import io
import os
import sys
from typing import Any

import click

from romtool import __version__
from romtool.text.page import width

STAGES = {
    "Make": {
        "new": "Write a profile to begin with.",
        "build": "Build the image of a card profile.",
        "report": "Write a page about an image.",
        "schema": "Show layouts, parts and records; check your own.",
    },
    "Read": {
        "inspect": "Show an image.",
        "profile": "Write a dump as an editable profile.",
        "recover": "Put corrupted reads of a part right.",
        "survey": "Tell what a pile of dumps holds.",
    },
    "Check": {
        "check": "Check images before they are burnt.",
        "diff": "Tell what differs between two images.",
    },
    "In the PC": {
        "assign": "Tell what a PC can give to cards.",
        "rehearse": "Play the power-up of a PC with these cards.",
    },
    "At the bench": {
        "verify": "Compare a readback with what should be there.",
        "capture": "Tell what happened on an EEPROM's bus.",
        "diagnose": "Tell what can make what is seen at the bench.",
    },
}
"""The commands, by stage of the job, in a few words each: help loads none of them."""

COMMANDS = {name: words for stage in STAGES.values() for name, words in stage.items()}

EPILOG = """\
Example: romtool new card.toml --layout counted-19; then build card.toml.

\b
Completion by the Tab key: put into the start-up file of your shell
  bash  eval "$(_ROMTOOL_COMPLETE=bash_source romtool)"
  zsh   eval "$(_ROMTOOL_COMPLETE=zsh_source romtool)"
  fish  _ROMTOOL_COMPLETE=fish_source romtool | source
"""


class ReaderGone(Exception):
    """Nobody reads the output any more, as after `| head`."""


class Group(click.Group):
    """A group of commands; of a misspelt one the nearest is asked about."""

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        name = args[0]
        if not ctx.resilient_parsing and self.get_command(ctx, name) is None:
            from romtool.schema.numbers import did_you_mean

            message = f"no command is called {name!r}"
            near = did_you_mean(name, self.list_commands(ctx))
            raise click.UsageError(f"{message}; {near}" if near else message, ctx)
        return super().resolve_command(ctx, args)


class Commands(Group):
    """Finds each command in the module of its name, so that a call loads only what it needs."""

    def make_context(self, *args: Any, **kwargs: Any) -> click.Context:
        # click would answer a broken pipe with exit code 1, which means "no" here.
        try:
            return super().make_context(*args, terminal_width=width(), **kwargs)
        except BrokenPipeError:
            raise ReaderGone from None

    def invoke(self, ctx: click.Context) -> Any:
        """Run the command; what it returns is the exit code."""
        try:
            code = super().invoke(ctx)
            if sys.stdout is not None:
                sys.stdout.flush()
        except BrokenPipeError:
            raise ReaderGone from None
        ctx.exit(code)

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        module = importlib.import_module(f"romtool.commands.{cmd_name}")
        command = module.command
        assert isinstance(command, click.Command)
        command.short_help = COMMANDS[cmd_name]
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        column = max(map(len, COMMANDS))
        for stage, commands in STAGES.items():
            with formatter.section(stage):
                rows = [(name.ljust(column), words) for name, words in commands.items()]
                formatter.write_dl(rows)


@click.command(
    cls=Commands,
    context_settings={"help_option_names": ["-h", "--help"]},
    epilog=EPILOG,
)
@click.option(
    "--schemas",
    multiple=True,
    metavar="DIR",
    type=click.Path(),
    help="Folder with frames and parts of your own (repeatable).",
)
@click.version_option(__version__, prog_name="romtool")
def cli(schemas: tuple[str, ...]) -> None:
    """Configuration EEPROMs of self-configuring ISA audio controllers.

    Builds an image from a card profile, reads dumps back and puts corrupted reads right; checks and
    compares images, tells whether a PC can use the card, and documents the result. It sends nothing
    to hardware.
    """


def _drop_output() -> None:
    """Write no more to standard output: the rest, at exit, would only fail again."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


NO_MEMORY = -1
"""What no command returns: it found no more memory."""


def main() -> None:
    """Run the command line; never a traceback for what a user can fix."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):  # a sign that the locale lacks is spelt out
            stream.reconfigure(errors="backslashreplace")
    try:
        code = cli.main(prog_name="romtool", standalone_mode=False)
    except click.exceptions.NoArgsIsHelpError as error:
        click.echo(error.format_message(), err=True)
        sys.exit(2)
    except click.UsageError as error:
        path = error.ctx.command_path if error.ctx else "romtool"
        message = " ".join(error.format_message().split()).rstrip(".")
        then = " See" if message.endswith("?") else "; see"
        click.echo(f"romtool: {message}{then} {path} --help", err=True)
        sys.exit(2)
    except click.ClickException as error:
        click.echo(f"romtool: {error.format_message()}", err=True)
        sys.exit(2)
    except (click.Abort, KeyboardInterrupt):
        click.echo("romtool: interrupted", err=True)
        sys.exit(130)
    except ReaderGone:
        _drop_output()
        sys.exit(0)
    except MemoryError:
        code = NO_MEMORY
    except OSError as error:  # what a command reads and writes itself, it tells itself
        _drop_output()
        reason = (error.strerror or "can't be written").lower()
        click.echo(f"romtool: standard output: {reason}; make room, or send it elsewhere", err=True)
        sys.exit(2)
    if code == NO_MEMORY:  # told here, where what took the memory is free again
        click.echo(
            "romtool: not enough memory; end other programs, or give smaller files", err=True
        )
        sys.exit(2)
    sys.exit(code if isinstance(code, int) else 0)
