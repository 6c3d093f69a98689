"""A keeper's list of animals on its way into the outbox: what is known here already, and the facts
that its new lines come to."""

from collections import defaultdict
from collections.abc import Mapping
from typing import Any, NamedTuple

from scalewitness.domain.tables.columns import Column
from scalewitness.domain.tables.drafts import ContentIds, ListedAnimal, facts_of
from scalewitness.domain.tables.headings import FIELDS
from scalewitness.domain.tables.lines import KnownAnimal
from scalewitness.domain.tables.plan import Answers, ImportPlan
from scalewitness_cli import replica
from scalewitness_cli.checks import BadWord
from scalewitness_cli.devicekey import Fact
from scalewitness_cli.remote import Stopped
from scalewitness_cli.store import Store


def known_by_code(store: Store) -> dict[tuple[str, str], list[KnownAnimal]]:
    """The keeper's animals that this machine holds, by what they bear and are called."""
    found: defaultdict[tuple[str, str], list[KnownAnimal]] = defaultdict(list)
    for shown in replica.animals(store):
        if not replica.is_steward(store, shown):
            continue
        codes = tuple((one["scheme"], one["code"]) for one in shown["identifiers"])
        one = KnownAnimal(
            shown["id"], shown.get("name") or replica.code_of(shown), shown["species"]["key"],
            shown.get("hatched") or "", codes,
        )  # fmt: skip
        name = str(shown.get("name") or "")
        for scheme, code in (*codes, *([("name", name)] if name else [])):
            found[scheme, code.casefold()].append(one)
    return found


def collection_for(draft: ListedAnimal, mine: list[str]) -> str:
    """Raises Stopped where it does not follow which one is meant."""
    collection = draft.collection or (mine[0] if len(mine) == 1 else "")
    if collection not in mine:
        raise Stopped(
            "Name the collection by its id, with --collection: one that you keep or share."
        )
    return collection


class ListedHere(NamedTuple):
    """An animal of the list, and the collection that it goes into."""

    draft: ListedAnimal
    collection: str

    def ids(self, keeper: str) -> ContentIds:
        return ContentIds(keeper, self.collection, self.draft)


def items_of(
    number: int, listed: Mapping[int, ListedHere], keeper: str, now: str, sex_from: str
) -> list[Fact]:
    """The facts of a line, by its number, and an edit for what is noted beside the log. Its parents
    are among those ``listed`` or on record."""
    one = listed[number]
    draft, ids = one.draft, one.ids(keeper)
    parents = {
        role: parent.animal or listed[parent.line].ids(keeper).animal
        for role, parent in draft.parents.items()
    }
    made = facts_of(draft, one.collection, ids, now, sex_from, parents)
    if fields := draft.record:
        record = f"animals/{ids.animal}"
        made.append({"id": ids.edit(fields), "record": record, "base_version": 1, "fields": fields})
    return made


def answers_in(columns: Mapping[int, str], replies: tuple[str, ...], sheet: int) -> Answers:
    """From what was typed as ``NAME=VALUE``."""
    pairs = [one.rpartition("=") for one in replies]
    return Answers(sheet, dict(columns), {name: value for name, _, value in pairs})


def fields_in(typed: tuple[str, ...], columns: tuple[Column, ...]) -> dict[int, str]:
    """``HEADING=FIELD`` by the index of the column; ``HEADING=`` leaves it out.

    Raises:
        BadWord: no column is headed so, or nothing is called so.
    """
    headed = {one.title.lower(): one.index for one in columns}
    found = {}
    for one in typed:
        heading, _, field = one.rpartition("=")
        if heading.lower() not in headed:
            raise BadWord(f"No column is headed “{heading}”: {', '.join(headed)}.")
        if field not in {"", *FIELDS}:
            raise BadWord(f"“{field}” is none of {', '.join(FIELDS)}.")
        found[headed[heading.lower()]] = field
    return found


def check_replies(answers: Answers, plan: ImportPlan) -> None:
    """Raises BadWord for what answers no question."""
    asked = {one.name: one for one in plan.questions}
    for name, reply in answers.replies.items():
        if name not in asked:
            raise BadWord(f"Nothing is asked by the name “{name}”: {', '.join(asked)}.")
        words = dict(asked[name].options)
        if reply not in words and not asked[name].day:
            raise BadWord(f"“{reply}” does not answer {name}.")


def shown(plan: ImportPlan) -> dict[str, Any]:
    """What the columns were taken for, and what is open, for `--json`."""
    return {
        "columns": {one.title: one.field for one in plan.columns},
        "questions": [
            {"name": one.name, "text": one.text, "lines": one.lines, "options": dict(one.options)}
            for one in plan.open
        ],
    }
