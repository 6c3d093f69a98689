"""What a keeper decides about a list: the columns, and what the list leaves open."""

from collections.abc import Iterable, Sequence
from datetime import date
from typing import Any, Final

from django import forms

from scalewitness.animals.models import Collection
from scalewitness.domain.errors import Busy
from scalewitness.domain.tables.columns import Column
from scalewitness.domain.tables.files import LARGEST_FILE, MOST_ROWS
from scalewitness.domain.tables.headings import FIELDS
from scalewitness.domain.tables.plan import Answers, ImportPlan
from scalewitness.domain.tables.questions import OpenQuestion
from scalewitness.domain.tables.sheets import ListFile, Unreadable, Worksheet
from scalewitness.importing.services.reading import read_apart
from scalewitness.pages.animals.forms import day_field
from scalewitness.pages.calls.forms import one_of

BUSY: Final = "Several lists are being read. Nothing was stored: send it again in a moment."
FEW: Final = 6
"""So many options stand in sight; more are chosen from a list."""
ELSEWHERE: Final = "collection"
"""Where a list goes is chosen on the page, not by its lines."""


class FileForm(forms.Form):
    """A list, and the collection its animals go into. ``read``: the list, once it is valid."""

    collection = forms.ChoiceField(
        label="Into which collection",
        error_messages={"invalid_choice": "Choose one of your collections."},
    )
    file = forms.FileField(
        label="Your list",
        help_text=f"XLSX, ODS or CSV, as it is: at most {LARGEST_FILE // 1_000_000} MB and "
        f"{MOST_ROWS} lines. Formulas are not worked out.",
        widget=forms.FileInput(attrs={"accept": ".xlsx,.ods,.csv,.tsv,.txt"}),
    )

    def __init__(self, *args: Any, collections: Sequence[Collection], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choices = [(str(one.pk), one.name) for one in collections]
        self.fields["collection"].choices = choices  # type: ignore[attr-defined]
        if len(choices) == 1:
            self.fields["collection"].widget = forms.HiddenInput()
            self.initial["collection"] = choices[0][0]
        self.busy = False

    def clean_file(self) -> ListFile:
        sent = self.cleaned_data["file"]
        self.name = str(sent.name)[:120]
        try:
            if (sent.size or 0) > LARGEST_FILE:
                raise Unreadable(f"It is larger than {LARGEST_FILE // 1_000_000} MB. Split it.")
            return read_apart(sent.read())
        except Unreadable as fault:
            raise forms.ValidationError(str(fault)) from None
        except Busy:
            self.busy = True
            raise forms.ValidationError(BUSY) from None


class AnswersForm(forms.Form):
    """Made from what a plan says: nothing in it is needed, since what is left open keeps back the
    lines it is about and no others."""

    def __init__(
        self, *args: Any, table: ListFile, plan: ImportPlan, answers: Answers, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self._plan, self._answers = plan, answers
        self.fields["of_sheet"] = forms.IntegerField(
            initial=plan.sheet, widget=forms.HiddenInput, required=False
        )
        if sum(sheet.filled > 0 for sheet in table.sheets) > 1:
            self.fields["sheet"] = _sheet_field(table.sheets, plan.sheet)
        for column in plan.columns:
            self.fields[_of_column(column)] = _column_field(column)
        for place, question in enumerate(plan.questions):
            self.fields[f"asked-{place}"] = forms.CharField(
                initial=question.name, widget=forms.HiddenInput, required=False
            )
            self.fields[f"reply-{place}"] = _reply_field(question)
            if question.day:
                self.fields[f"day-{place}"] = _of_day(question)

    def columns(self) -> list[tuple[Column, forms.BoundField]]:
        return [(one, self[_of_column(one)]) for one in self._plan.columns]

    def questions(self) -> list[tuple[OpenQuestion, list[forms.BoundField]]]:
        """Each with its fields: the answers, perhaps a day."""
        return [
            (
                one,
                [self[name] for name in (f"reply-{place}", f"day-{place}") if name in self.fields],
            )
            for place, one in enumerate(self._plan.questions)
        ]

    def answers(self) -> Answers:
        """What was decided, earlier answers to what is not asked now included."""
        given = self.cleaned_data
        sheet = int(given.get("sheet") or self._plan.sheet)
        if sheet != self._plan.sheet or given.get("of_sheet") != self._plan.sheet:
            return Answers(sheet)  # another sheet has other columns
        guessed = {one.index: one.field for one in self._plan.guessed}
        chosen = {one.index: str(given[_of_column(one)]) for one in self._plan.columns}
        columns = {index: field for index, field in chosen.items() if field != guessed[index]}
        sheets = self._answers.sheet if "sheet" not in given else sheet
        return Answers(sheets, columns, self._answers.replies | dict(self._replies()))

    def _replies(self) -> Iterable[tuple[str, str]]:
        given = self.cleaned_data
        for place, question in enumerate(self._plan.questions):
            if given.get(f"asked-{place}") != question.name:
                continue  # sent before the questions were these
            day: date | None = given.get(f"day-{place}")
            reply = day.isoformat() if day else str(given.get(f"reply-{place}") or "")
            yield question.name, reply


def _of_column(column: Column) -> str:
    return f"column-{column.index}"


def _sheet_field(sheets: Sequence[Worksheet], chosen: int) -> forms.ChoiceField:
    choices = [
        (str(index), f"{one.name}: {one.filled} lines{', hidden in the workbook' * one.hidden}")
        for index, one in enumerate(sheets)
        if one.filled
    ]
    return forms.ChoiceField(label="Sheet", choices=choices, initial=str(chosen))


def _column_field(column: Column) -> forms.ChoiceField:
    fields = [(name, words) for name, words in FIELDS.items() if name != ELSEWHERE]
    field = column.field if column.field != ELSEWHERE else ""
    return forms.ChoiceField(
        label=column.title, choices=[("", "Leave out"), *fields], required=False, initial=field
    )


def _reply_field(question: OpenQuestion) -> forms.ChoiceField:
    if len(question.options) <= FEW:
        return one_of(
            question.text, question.options, required=False, initial=question.chosen or None
        )
    choices = [("", "Not answered yet"), *question.options]
    return forms.ChoiceField(
        label=question.text, choices=choices, required=False, initial=question.chosen
    )


def _of_day(question: OpenQuestion) -> forms.DateField:
    is_day = question.answer and question.answer not in dict(question.options)
    return day_field("The day", required=False, initial=question.answer if is_day else None)
