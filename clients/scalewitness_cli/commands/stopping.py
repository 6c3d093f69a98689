"""The group of all commands, and how it ends when somebody interrupts one."""

from typing import Any

import click

from scalewitness_cli import outbox
from scalewitness_cli.commands.common import INTERRUPTED, KEPT, line
from scalewitness_cli.store import Store, data_folder, used_servers


class Commands(click.Group):
    """Ctrl-C, also at a question, ends with 130 and says what is stored here."""

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except KeyboardInterrupt:
            _stopped(ctx)
        except click.Abort as abort:
            if not isinstance(abort.__context__, KeyboardInterrupt):
                raise  # somebody said no
            _stopped(ctx)


def _stopped(ctx: click.Context) -> None:
    click.echo("\n".join(["", f"Interrupted. {KEPT}", *_waiting()]), err=True)
    ctx.exit(INTERRUPTED)


def _waiting() -> list[str]:
    """By server, what is still to be sent."""
    found = []
    for url in used_servers(data_folder()):
        with Store(data_folder(), url) as store:
            number = outbox.counts(store).get("waiting", 0)
        items = "1 item waits" if number == 1 else f"{number} items wait"
        items = items if number else "Nothing waits"
        found.append(f"{items} to be sent to {line(url)}.")
    return found
