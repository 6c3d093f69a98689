"""``scalewitness end``: an animal that is no longer there, or is again, or never was one."""

import click

from scalewitness.domain.moments import rfc3339
from scalewitness_cli import checks, replica
from scalewitness_cli.commands.checktime import typed_moment
from scalewitness_cli.commands.common import (
    ends_well,
    json_option,
    opened,
    server_option,
    store_here,
)
from scalewitness_cli.identity import moment_now, need_identity
from scalewitness_cli.readings import now_by
from scalewitness_cli.remote import Stopped

ENDS, BACK, SLIP = ("died", "lost", "stolen"), ("found", "mistake"), "registered-in-error"

KINDS = {**dict.fromkeys(ENDS, "animal_ended"), SLIP: "registered_in_error"}


@click.command()
@click.argument("animal")
@click.argument("why", type=click.Choice((*ENDS, *BACK, SLIP)))
@click.option("--at", metavar="WHEN", help="The day or time, where it was not now.")
@click.option("--note", help="Free text; the log keeps a fingerprint of it only.")
@server_option
@json_option
@ends_well
def end(
    animal: str, why: str, at: str | None, note: str | None, server: str | None, as_json: bool
) -> None:
    """State that ANIMAL died, is lost or was stolen; or that it was found again, or that its
    end was stated by mistake; or, while nothing else was stated of it, that it was registered in
    error.

    Stored here, sent by the next sync. It leaves lists and plans, never the record.
    """
    with opened(server) as store:
        identity = need_identity(store)
        shown = replica.find(store, animal, now_by(store))
        if not replica.is_steward(store, shown):
            raise Stopped("Only its keeper and partners say that of an animal.")
        now = moment_now()
        when = rfc3339(typed_moment(at, now) if at else now)
        kind = KINDS.get(why, "end_corrected")
        made = checks.fact(kind, shown["id"], when, {} if why == SLIP else {"why": why})
        if note:
            made["texts"] = {"note": note}
        store_here(store, identity.key, made, rfc3339(now), as_json=as_json)
