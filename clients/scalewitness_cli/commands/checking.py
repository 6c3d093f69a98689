"""``scalewitness check``: note a check at the rack, with or without a signal."""

import json
import sqlite3
from datetime import datetime
from pathlib import Path
from typing import Any

import click
import msgspec

from scalewitness.domain.cautions import BEFORE_A_CHECK, STOP_AT_HARM, AtTheRack
from scalewitness.domain.moments import rfc3339
from scalewitness_cli import checks, outbox, replica
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
from scalewitness_cli.readings import keep_readings, now_by
from scalewitness_cli.store import Store

Given = dict[str, Any]
WORDS = click.Choice


@click.command()
@click.argument("animal")
@click.option("--left", multiple=True, metavar="DEPTH:STOP",
    help="A run of the probe on the left: 8.5:resistance, 8.5:choice or 8.5:aborted.")  # fmt: skip
@click.option("--right", multiple=True, metavar="DEPTH:STOP", help="The same on the right.")
@click.option("--unusual", is_flag=True,
    help="It did go that deep: counted again, deeper than any source gives.")  # fmt: skip
@click.option("--probe-mm", help="How thick the probe was.")
@click.option("--observed", metavar="JSON", help="What was seen by another method than probing.")
@click.option("--conclusion", type=WORDS(checks.CONCLUSIONS))
@click.option("--sureness", type=WORDS(checks.SURENESSES))
@click.option("--identified", metavar="BY[:CODE]",
    help="transponder:CODE as read in the animal, tag:CODE as read on its tub; scale_photo, "
    "keeper_said, appearance.")  # fmt: skip
@click.option("--held-by", type=WORDS(checks.HOLDERS), help="Who held the animal.")
@click.option("--harm", multiple=True, type=WORDS(checks.HARMS), help="A sign of harm seen.")
@click.option("--told", type=WORDS(("male", "female")), help="The sex you had been told before.")
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
        when = now_or_typed(store, given["at"], given["clock"], ask=given["conclusion"] is None)
        meal = typed_moment(given["last_meal"], when.best) if given["last_meal"] else None
        _warn(shown, when.best, meal, given, steward)
        by_question = {"by_question": given["conclusion"] is None}
        full = _asked(given, shown, steward) | by_question
        noted = _noted(store, shown, full, when, meal, steward)
        facts = checks.facts_of(noted, steward=steward)
        attached = _attached(facts[0], given["photos"])
        files = {fact["id"]: picture for fact, picture in attached}
        facts += [fact for fact, _ in attached]
        stored = outbox.add(
            store, identity.key, [when.put_right(one) for one in facts], rfc3339(when.best),
            along=lambda connection: _keep(connection, files, when, facts),
        )  # fmt: skip
        left_out = _left_out(noted, steward)
        unsure = [
            one.replace(" ID ", f" {stored[0].id} ")
            for one in (
                *when.notes,
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
    connection: sqlite3.Connection, files: dict[str, bytes], when: When, facts: list[Given]
) -> None:
    keep_files(connection, files)
    if when.noted is not None:
        keep_readings(connection, when.ids_read(facts), when.noted)


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
        shed=given["shed"], held_by=given["held_by"], method=_method(given),
        harm=bool(given["harm"]),
    )  # fmt: skip
    for one in checks.cautions(shown, at, steward=steward, at_rack=at_rack):
        click.secho(f"  ! {one}", err=True, bold=True)


def _method(given: Given) -> str:
    """By what it is checked: by a probe, unless something else was seen."""
    if not given["observed"]:
        return "probing"
    seen = _json(given["observed"])
    return str(seen.get("method")) if isinstance(seen, dict) else ""


def _asked(given: Given, shown: Given, steward: bool) -> Given:
    """What was not given by option, asked for; nothing is where all that is needed was given."""
    full = dict(given)
    if given["conclusion"] is not None:
        return full
    if given["observed"] is None and not (given["left"] or given["right"]):
        full["left"], full["right"] = _ask_passes("left"), _ask_passes("right")
    full["conclusion"] = _ask("Conclusion", checks.CONCLUSIONS)
    full["sureness"] = given["sureness"] or _ask("How sure", checks.SURENESSES)
    code = replica.code_of(shown)
    full["identified"] = given["identified"] or click.prompt(
        "How you knew the animal (tag:CODE, transponder:CODE, keeper_said, appearance)",
        default=f"tag:{code}" if code else None, err=True,
    )  # fmt: skip
    full["held_by"] = given["held_by"] or _ask("Who held it", checks.HOLDERS)
    full["grams"] = given["grams"] or _optional("Weight in grams")
    if steward:
        full["last_meal"] = given["last_meal"] or _optional("Last meal (a day)")
    full["harm"] = given["harm"] or _ask_harm()
    return full


def _ask_passes(side: str) -> list[str]:
    """Asked again until it can be meant; nothing ends the list."""
    found: list[str] = []
    while text := _optional(f"Run {len(found) + 1} on the {side}, DEPTH:STOP"):
        try:
            checks.one_pass(side, text)
        except checks.BadWord as fault:
            click.echo(str(fault), err=True)
        else:
            found.append(text)
    return found


def _ask_harm() -> tuple[str, ...]:
    text = _optional(f"Signs of harm, if any ({', '.join(checks.HARMS)})")
    found = tuple(one.strip() for one in text.split(",") if one.strip())
    if found:
        click.secho(f"  ! {STOP_AT_HARM}", err=True, bold=True)
    return found


def _ask(text: str, words: tuple[str, ...]) -> str:
    answer: str = click.prompt(text, type=WORDS(words), err=True)
    return answer


def _optional(text: str) -> str:
    answer: str = click.prompt(text, default="", show_default=False, err=True)
    return answer.strip()


def _noted(
    store: Store, shown: Given, given: Given, when: When, meal: datetime | None, steward: bool
) -> checks.Noted:
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
    if given["observed"]:
        if given["left"] or given["right"]:
            raise checks.BadWord("Say either --observed or the runs of a probe.")
        found: Given = _json(given["observed"])
        return found
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


def _json(text: str) -> Any:
    try:
        return json.loads(text)
    except ValueError:
        raise checks.BadWord("--observed is no JSON.") from None


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
