"""``scalewitness check``: note a check at the rack, with or without a signal."""

import sqlite3
from datetime import datetime
from pathlib import Path
from typing import Any

import click
import msgspec

from scalewitness.domain.cautions import BEFORE_A_CHECK, AtTheRack
from scalewitness.domain.choices import YOUR_WORD
from scalewitness.domain.moments import rfc3339
from scalewitness_cli import checks, outbox, replica, reporting, seen
from scalewitness_cli.commands.asking import WORDS, Given, asked, from_json, is_hands_on, method_of
from scalewitness_cli.commands.checktime import AS_READ, CORRECTED, When, now_or_typed, typed_moment
from scalewitness_cli.commands.common import (
    ends_well,
    json_option,
    line,
    opened,
    print_result,
    server_option,
    spaced,
)
from scalewitness_cli.identity import need_identity
from scalewitness_cli.outbox import Item
from scalewitness_cli.photos import attaching, drawn_from, keep_files
from scalewitness_cli.practitioners import keep_names
from scalewitness_cli.readings import keep_readings, now_by
from scalewitness_cli.reporting import Reported
from scalewitness_cli.store import Store


@click.command()
@click.argument("animal")
@click.option("--left", multiple=True, metavar="DEPTH:STOP",
    help="A run of the probe on the left: 8.5:resistance, 8.5:choice or 8.5:aborted.")  # fmt: skip
@click.option("--right", multiple=True, metavar="DEPTH:STOP", help="The same on the right.")
@click.option("--unusual", is_flag=True,
    help="It did go that deep: counted again, deeper than any source gives.")  # fmt: skip
@click.option("--probe-mm", help="How thick the probe was.")
@click.option("--method", type=WORDS(seen.ASKED),
    help="Another method than probing; what was seen by it is asked for.")  # fmt: skip
@click.option("--saw", multiple=True, metavar="QUESTION=ANSWER",
    help="What was seen by it, said beforehand: found=sire, sample=shed.")  # fmt: skip
@click.option("--observed", metavar="JSON", help="All that was seen, as the log has it.")
@click.option("--conclusion", type=WORDS(checks.CONCLUSIONS))
@click.option("--sureness", type=WORDS(checks.SURENESSES))
@click.option("--identified", metavar="BY[:CODE]",
    help="transponder:CODE as read in the animal, tag:CODE as read on its tub; scale_photo, "
    "keeper_said, appearance.")  # fmt: skip
@click.option("--held-by", type=WORDS(checks.HOLDERS), help="Who held the animal.")
@click.option("--harm", multiple=True, type=WORDS(checks.HARMS), help="A sign of harm seen.")
@click.option("--told", type=WORDS(("male", "female")), help="The sex you had been told before.")
@click.option("--whose", type=WORDS(reporting.WHOSE),
    help="Whose check it was, where you report somebody else's.")  # fmt: skip
@click.option("--whose-name", help="Their name; it stays out of the log.")
@click.option("--document", metavar="FILE",
    help="The report they wrote, or its SHA-256, all that is sent of it. Keep it.")  # fmt: skip
@click.option("--grams", help="Its weight, as 412.5.")
@click.option("--last-meal", metavar="WHEN", help="A day or a time; noted where you keep it.")
@click.option("--shed", type=WORDS(checks.SHEDS), help="Where it is in its shed.")
@click.option("--visit", help="The visit's id, where it is not the only one open.")
@click.option("--at", metavar="TIME", help="When it was, where it was not now.")
@click.option("--clock", type=WORDS((CORRECTED, AS_READ)),
    help="Where this computer's clock is off: the corrected time, or what it says.")  # fmt: skip
@click.option("--photo", "photos", multiple=True,
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="A picture of the check, re-encoded without its location and camera data.")  # fmt: skip
@click.option("--note", help="Free text; the log keeps a fingerprint of it only.")
@server_option
@json_option
@ends_well
def check(animal: str, server: str | None, as_json: bool, **given: Any) -> None:
    """Note a check of ANIMAL: its tag, transponder code, name or id.

    Stored on this machine before the command returns, sent by the next sync. What is left out
    is asked for.
    """
    with opened(server) as store:
        identity = need_identity(store)
        shown = replica.find(store, animal, now_by(store))
        steward = replica.is_steward(store, shown)
        reporting.check_may_report(method_of(given), given["whose"], steward=steward)
        when = now_or_typed(store, given["at"], given["clock"], ask=given["conclusion"] is None)
        meal = typed_moment(given["last_meal"], when.best) if given["last_meal"] else None
        if is_hands_on(given):
            _warn(shown, when.best, meal, given, steward)
        by_question = {"by_question": given["conclusion"] is None}
        full = asked(given, shown, steward) | by_question
        by = reporting.whose(
            store, method_of(full), full["whose"], full["whose_name"], steward=steward
        )
        noted = _noted(store, shown, full, when, meal, steward, by)
        facts = checks.facts_of(noted, steward=steward)
        attached = _attached(facts[0], given["photos"])
        files = {fact["id"]: picture for fact, picture in attached}
        facts += [fact for fact, _ in attached]
        stored = outbox.add(
            store, identity.key, [when.put_right(one) for one in facts], rfc3339(when.best),
            along=lambda connection: _keep(connection, files, when, facts, by),
        )  # fmt: skip
        left_out = _left_out(noted, steward)
        unsure = [
            one.replace(" ID ", f" {stored[0].id} ")
            for one in (
                *when.notes,
                *_of_a_report(by),
                *_of_the_visit(noted, steward),
                *_of_another(store, shown, noted, when),
            )
        ]
        print_result(
            {
                "stored": [one.id for one in stored],
                "animal": shown["id"],
                "not_noted": left_out,
                "clock": msgspec.to_builtins(when.verdict),
                "at": stored[0].sent["at"],
                "told": unsure,
            },
            as_json,
            lambda: "\n".join([_in_words(stored, left_out), *unsure]),
        )


def _keep(
    connection: sqlite3.Connection, files: dict[str, bytes], when: When, facts: list[Given],
    by: Reported | None,
) -> None:  # fmt: skip
    keep_files(connection, files)
    if by is not None and by.is_new:
        keep_names(connection, {by.who: by.name})
    if when.noted is not None:
        keep_readings(connection, when.ids_read(facts), when.noted)


def _of_a_report(by: Reported | None) -> list[str]:
    return [f"You report it as that of {line(by.name)}. {YOUR_WORD}"] if by else []


def _of_the_visit(noted: checks.Noted, steward: bool) -> list[str]:
    """A check that nothing covers is noted all the same: what is known here may be old."""
    if steward or noted.visit is not None:
        return []
    return [
        "You do not keep this animal, and no visit known here covers it: the record may refuse "
        "it. When you know the visit: scalewitness retry ID --visit VISIT."
    ]


def _of_another(store: Store, shown: Given, noted: checks.Noted, when: When) -> list[str]:
    """A transponder tells which animal it was, whichever tub was opened."""
    other = replica.bearer(store, noted.identified, shown, when.best)
    if other is None:
        return []
    code = replica.code_of(other)
    return [
        f"The transponder that you read is that of {code}. If that is the snake you had in hand: "
        f"scalewitness refile ID {code}."
    ]


def _warn(shown: Given, at: datetime, meal: datetime | None, given: Given, steward: bool) -> None:
    """Cautions go before the questions and to standard error: they never stand in the way of
    noting what has been done."""
    if given["conclusion"] is None:
        for one in BEFORE_A_CHECK:
            click.echo(f"  · {one}", err=True)
    at_rack = AtTheRack(
        grams=checks.grams(given["grams"]) if given["grams"] else None, fed_at=meal,
        shed=given["shed"], held_by=given["held_by"], method=method_of(given),
        harm=bool(given["harm"]),
    )  # fmt: skip
    for one in checks.cautions(shown, at, steward=steward, at_rack=at_rack):
        click.secho(f"  ! {one}", err=True, bold=True)


def _noted(
    store: Store, shown: Given, given: Given, when: When, meal: datetime | None, steward: bool,
    by: Reported | None,
) -> checks.Noted:  # fmt: skip
    lacking = [one for one in ("sureness", "identified", "held_by") if not given[one]]
    if lacking:
        options = ", ".join(f"--{one.replace('_', '-')}" for one in lacking)
        raise checks.BadWord(f"With --conclusion also say {options}.")
    if meal is None and given["last_meal"]:
        meal = typed_moment(given["last_meal"], when.best)
    visit = given["visit"] or (None if steward else _visit_for(store, shown["id"], when))
    return checks.Noted(
        animal=shown["id"], at=rfc3339(when.at),
        conclusion=given["conclusion"], sureness=given["sureness"],
        observed=_counted_again(shown, _observed(given), given),
        identified=checks.identification(given["identified"]),
        held_by=given["held_by"], harm=tuple(given["harm"]), told=given["told"], visit=visit,
        reported={"role": by.role, "who": by.who} if by else None,
        document=reporting.fingerprint(given["document"]),
        note=given["note"], grams=given["grams"] or None,
        meal_at=rfc3339(meal) if meal else None, shed=given["shed"],
    )  # fmt: skip


def _visit_for(store: Store, animal: str, when: When) -> str | None:
    """The visit on whose sheet the animal is: at the time noted, else at the time it most
    likely was, else the only one there is. A clock that is off does not keep a check away."""
    for at in (when.at, when.best):
        found = replica.visit_covering(store, animal, rfc3339(at))
        if found is not None:
            return found
    others = replica.visits_with(store, animal)
    return str(others[0]["id"]) if len(others) == 1 else None


def _observed(given: Given) -> Given:
    if given.get("seen"):
        found: Given = given["seen"]
        return found
    if given["method"]:
        if given["observed"] or given["left"] or given["right"]:
            raise checks.BadWord("Say either --method or what was seen by another.")
        return seen.observed(given["method"], seen.answers(given["saw"]), None)
    if given["saw"]:
        raise checks.BadWord("Say by which --method you saw it.")
    if given["observed"]:
        if given["left"] or given["right"]:
            raise checks.BadWord("Say either --observed or the runs of a probe.")
        parsed: Given = from_json(given["observed"])
        return parsed
    passes = [checks.one_pass(side, text) for side in ("left", "right") for text in given[side]]
    if not passes:
        raise checks.BadWord("Say what was seen: --left and --right, or --observed.")
    size = {"probe_mm": given["probe_mm"]} if given["probe_mm"] else {}
    return {"method": "probing", "passes": passes, **size}


def _counted_again(shown: Given, observed: Given, given: Given) -> Given:
    """A depth that no source gives is asked for again, or must be insisted on by option."""
    why = checks.unusual_depth(shown["species"]["key"], observed)
    if why is None:
        return observed
    again = given["unusual"] or (
        given["by_question"] and click.confirm(f"{why} Did it go that deep?", err=True)
    )
    if not again:
        raise checks.BadWord(f"{why} Count again; if it did go that deep, say --unusual.")
    return observed | {"unusual": True}


def _left_out(noted: checks.Noted, steward: bool) -> list[str]:
    if steward:
        return []
    return [
        word for word, given in (("meal", noted.meal_at), ("shed", noted.shed)) if given is not None
    ]


def _attached(call: Given, files: tuple[Path, ...]) -> list[tuple[Given, bytes]]:
    """A fact for each picture, with the picture."""
    pictures = map(drawn_from, files)
    about = {"animal": call["about"], "call": call["id"], "at": call["at"]}
    return [(attaching(picture, **about), picture) for picture in pictures]


def _named(sent: Given) -> str:
    noted = sent["body"].get("noted")
    return spaced(noted["type"]) if noted else "photo"


def _in_words(stored: list[Item], left_out: list[str]) -> str:
    first = stored[0]
    lines = [
        f"Stored here: {spaced(first.sent['kind'])} {first.id}, signed, not sent yet.",
        *(f"  and {_named(one.sent)} {one.id}" for one in stored[1:]),
    ]
    if left_out:
        lines.append(f"  Not noted: {line(', '.join(left_out))}; only its keeper notes that.")
    return "\n".join(lines)
