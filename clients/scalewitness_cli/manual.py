"""The manual page of the command, in the language of man(7), from the texts of its own help."""

import re
from collections.abc import Iterator

import click

from scalewitness_cli.commands.common import ENDINGS


def page(command: click.Group, name: str, version: str) -> str:
    """The whole page, in section 1."""
    lines = [
        f'.TH {name.upper()} 1 "" "{name} {version}" "User Commands"',
        ".SH NAME",
        rf"{_plain(name)} \- {_plain(_first(command))}",
        ".SH SYNOPSIS",
        rf"\fB{_plain(name)}\fR \fICOMMAND\fR [\fIOPTION\fR ...] [\fIARGUMENT\fR ...]",
        ".SH COMMANDS",
    ]
    with click.Context(command, info_name=name) as ctx:
        for one in command.list_commands(ctx):
            lines += _section(command.commands[one], one, ctx)
    lines.append(".SH EXIT STATUS")
    for code, meaning in ENDINGS.items():
        lines += [".TP", rf"\fB{code}\fR", _plain(meaning)]
    return "\n".join([*lines, ""])


def _section(command: click.Command, name: str, parent: click.Context) -> Iterator[str]:
    with click.Context(command, info_name=name, parent=parent) as ctx:
        if isinstance(command, click.Group):
            for one in command.list_commands(ctx):
                yield from _section(command.commands[one], f"{name} {one}", parent)
            return
        pieces = " ".join(command.collect_usage_pieces(ctx))
        yield f".SS {_plain(name)}"
        yield rf"\fB{_plain(name)}\fR {_plain(pieces)}"
        for paragraph in _paragraphs(command.help or ""):
            yield ".PP"
            yield _plain(paragraph)
        for parameter in command.params:
            record = parameter.get_help_record(ctx)
            if record and isinstance(parameter, click.Option):
                yield ".TP"
                yield rf"\fB{_plain(record[0])}\fR"
                yield _plain(record[1] or " ")


def _first(command: click.Command) -> str:
    return _paragraphs(command.help or "")[0].rstrip(".")


def _paragraphs(text: str) -> list[str]:
    return [" ".join(one.split()) for one in re.split(r"\n\s*\n", text.replace("\b", "").strip())]


def _plain(text: str) -> str:
    """Without what roff would take for a request, or for a hyphen that breaks a line."""
    safe = text.replace("\\", r"\e").replace("-", r"\-")
    return rf"\&{safe}" if safe[:1] in {".", "'"} else safe
