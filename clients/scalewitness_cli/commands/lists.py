"""``scalewitness import animals``: a keeper's list, in any form that pages take too."""

import sys
from pathlib import Path
from typing import Any

import click

from scalewitness.domain.moments import rfc3339
from scalewitness.domain.tables.drafts import Fact, ListedAnimal
from scalewitness.domain.tables.files import read_table, written
from scalewitness.domain.tables.lines import ListLine
from scalewitness.domain.tables.plan import Answers, ImportPlan, plan_of, refused_rows
from scalewitness.domain.tables.questions import OpenQuestion
from scalewitness.domain.tables.sheets import ListFile, Unreadable
from scalewitness_cli import lists, outbox, replica
from scalewitness_cli.commands.common import line as on_one_line
from scalewitness_cli.commands.progress import counted
from scalewitness_cli.identity import Identity, moment_now
from scalewitness_cli.lists import ListedHere
from scalewitness_cli.outfiles import write_out
from scalewitness_cli.readings import now_by
from scalewitness_cli.remote import Stopped
from scalewitness_cli.store import Store

SHOWN = 12
"""Questions whose answers are listed in full have no more of them."""


class Importing:
    """One list on its way in."""

    def __init__(self, store: Store, identity: Identity, file: Path, sheet: str | None) -> None:
        self._store, self._identity, self.file = store, identity, file
        self.table = _read(file)
        self._sheet = _named(self.table, sheet)
        self._known = lists.known_by_code(store)
        self._now = now_by(store)

    def plan(self, answers: Answers) -> ImportPlan:
        return plan_of(self.table, answers, self._known, self._now.date())

    def answers(self, columns: tuple[str, ...], replies: tuple[str, ...]) -> Answers:
        """Raises BadWord."""
        guessed = self.plan(Answers(self._sheet)).columns
        answers = lists.answers_in(lists.fields_in(columns, guessed), replies, self._sheet)
        lists.check_replies(answers, self.plan(answers))
        return answers

    def store(self, plan: ImportPlan, collection: str | None) -> dict[str, Any]:
        """Sign and store what is new; the rest is put aside first, so that where that cannot be
        written nothing is stored either."""
        new = sorted(plan.of("new"), key=lambda one: (one.generation, one.number))
        listed = {one.number: self._listed(one.draft, collection) for one in new if one.draft}
        keeper, now, sex_from = self._identity.keeper, rfc3339(self._now), plan.reply("sex_from")
        groups = [lists.items_of(one.number, listed, keeper, now, sex_from) for one in new]
        rejected = self._set_aside(plan)
        stored = outbox.add_new(
            self._store, self._identity.key, counted(groups, "lines signed"), rfc3339(moment_now())
        )
        return self._counted(plan, new, groups, stored) | {"rejected_file": rejected}

    def _listed(self, draft: ListedAnimal, collection: str | None) -> ListedHere:
        own = replica.collections(self._store)
        mine = [id for id, held in own.items() if held["role"] in {"keeper", "partner"}]
        named = collection or lists.collection_for(draft, mine)
        if named not in mine:
            raise Stopped("Name the collection by its id: one that you keep or share.")
        return ListedHere(draft, named)

    def _set_aside(self, plan: ImportPlan) -> str | None:
        """The lines that are not stored, to be put right and read again: as they stood, of a CSV
        file."""
        refused = plan.of("cannot")
        if not refused:
            return None
        return put_beside(self.file, self._refused(plan, refused))

    def _refused(self, plan: ImportPlan, refused: list[ListLine]) -> str:
        if not self.table.is_csv:
            return written(
                *refused_rows(plan, self.table, {one.number: one.why for one in refused})
            )
        head = [one for one in plan.lines if one.number == plan.head]
        return "".join(text for one in (*head, *refused) for text in one.row.lines)

    def _counted(
        self, plan: ImportPlan, new: list[ListLine], groups: list[list[Fact]], stored: list[int]
    ) -> dict[str, Any]:
        """What became of every line after the headings: ``lines`` is the sum of the others."""
        fresh = [one for one, items in zip(new, stored, strict=True) if items]
        after = [one for one in plan.lines if one.number > plan.head]
        aside = [one for one in after if one.state == "aside"]
        blank = [one for one in aside if one.row.blank]
        items = sum(map(len, groups))
        return {
            "lines": _lines(after),
            "lines_stored": _lines(fresh),
            "lines_known": _lines(new) - _lines(fresh) + _lines(plan.of("here")),
            "lines_blank": _lines(blank),
            "lines_aside": _lines(aside) - _lines(blank),
            "lines_bad": _lines(plan.of("cannot")),
            "stored": sum(stored),
            "known_already": items - sum(stored),
            "bad": [{"line": one.number, "why": one.why} for one in plan.of("cannot")],
            **lists.shown(plan),
        }


def preview(plan: ImportPlan, table: ListFile) -> str:
    """Every line, and what would become of it."""
    becomes = {"new": "would be stored", "here": "here", "cannot": "not", "aside": "aside"}
    found = [f"{table.how}. Nothing is stored: this is a dry run."]
    for one in plan.lines:
        titled = f"{one.draft.title}. {one.why}" if one.draft and one.why else ""
        title = titled or (one.draft.title if one.draft else one.why)
        found.append(f"line {one.number}: {becomes[one.state]}: {on_one_line(title)}")
    return "\n".join([*found, *columns_in_words(plan), *questions_in_words(plan)])


def columns_in_words(plan: ImportPlan) -> list[str]:
    taken = [
        f"{one.title}{' (hidden in the sheet)' * one.hidden} is {one.field}"
        for one in plan.columns
        if one.field
    ]
    left = [one.title for one in plan.columns if not one.field]
    given = [f"Columns: {on_one_line(', '.join(taken))}."]
    return given + ([f"Left out: {on_one_line(', '.join(left))}."] if left else [])


def questions_in_words(plan: ImportPlan) -> list[str]:
    """What is open, each with how it is answered."""
    found = []
    for one in plan.open:
        words = [word for word, _ in one.options] + (["YYYY-MM-DD"] if one.day else [])
        listed = "|".join(words) if len(words) <= SHOWN else "a species, or skip"
        found.append(f"{one.text} ({one.lines} lines) --answer “{one.name}={listed}”")
    return [on_one_line(text) for text in found]


def ask(importing: Importing, answers: Answers) -> ImportPlan:
    """Ask whoever sits there what is open, once each; an empty answer leaves it open."""
    plan, put = importing.plan(answers), set[str]()
    while sys.stdin.isatty() and (left := [one for one in plan.open if one.name not in put]):
        put.add(left[0].name)
        if reply := _asked(left[0]):
            replies = answers.replies | {left[0].name: reply}
            answers = Answers(answers.sheet, answers.columns, replies)
            plan = importing.plan(answers)
    return plan


def _asked(one: OpenQuestion) -> str:
    click.echo(f"{on_one_line(one.text)} ({one.lines} lines)")
    if len(one.options) <= SHOWN:
        for word, text in one.options:
            click.echo(f"  {word}: {text}")
    given = str(click.prompt("  ", default=one.guess, show_default=bool(one.guess))).strip()
    return given if one.day or given in dict(one.options) else ""


def _read(file: Path) -> ListFile:
    try:
        return read_table(file.read_bytes())
    except Unreadable as fault:
        raise Stopped(f"{file}: {fault} Nothing was stored.") from None


def _named(table: ListFile, sheet: str | None) -> int:
    names = [one.name for one in table.sheets]
    if sheet is None:
        return -1
    if sheet not in names:
        raise Stopped(f"There is no sheet “{sheet}”: {', '.join(names)}.")
    return names.index(sheet)


def put_beside(file: Path, rejected: str) -> str | None:
    """In a file beside; where there is no place beside it on standard error."""
    if not _is_in_a_folder(file):
        click.echo(rejected, err=True)
        return None
    beside = file.with_name(f"{file.name}.rejected.csv")
    write_out(beside, rejected)
    return str(beside)


def _is_in_a_folder(file: Path) -> bool:
    """Not a pipe, nor a name that the system gives to what is open."""
    return file.is_file() and not file.absolute().is_relative_to("/dev")


def _lines(found: list[ListLine]) -> int:
    return sum(len(one.row.lines) or 1 for one in found)
