"""What a list leaves open, to be asked once for all its lines."""

from collections.abc import Callable, Mapping

from msgspec import Struct
from msgspec.structs import replace

from scalewitness.domain.sexing.taxa import species_list, taxon
from scalewitness.domain.tables.drafts import SOURCES

Options = tuple[tuple[str, str], ...]
SKIP = ("skip", "Do not store these lines")


class OpenQuestion(Struct, frozen=True):
    """``name``: what its answer goes by; ``lines``: how many it is about. One of the ``options``
    answers it, or, where ``day``, a day too. ``guess``: the likeliest, to be agreed to."""

    name: str
    text: str
    options: Options
    lines: int
    answer: str = ""
    day: bool = False
    guess: str = ""

    @property
    def chosen(self) -> str:
        return self.answer or self.guess


class Waits(Exception):
    """A line cannot be read before the question of that name is answered."""

    def __init__(self, name: str) -> None:
        super().__init__(name)
        self.name = name


def species_options() -> Options:
    return tuple((kind.key, f"{kind.common} ({kind.scientific})") for kind in species_list())


def question(
    name: str, lines: int, example: str, answer: str, guess: str, found: Options = ()
) -> OpenQuestion:
    """The question of that name; ``example``: what stands in the first line it is about;
    ``found``: what it could be besides the usual."""
    if "=" in name:
        asked = _meaning(name, lines, answer, guess, found)
    else:
        text, options = _ASKED[name](example)
        asked = OpenQuestion(name, text, options, lines, answer, day=name == "weighed")
    # What it could be may have changed since it was answered.
    return asked if asked.day or answer in dict(asked.options) else replace(asked, answer="")


def _meaning(name: str, lines: int, answer: str, guess: str, found: Options) -> OpenQuestion:
    field, _, word = name.partition("=")
    if field == "parent":
        lead = f"Which animal is the parent “{word}”?"
        return OpenQuestion(name, lead, (*found, *_WITHOUT), lines, answer)
    if field == "species":
        lead = f"Which species is “{word}”?"
        if guess:
            lead = f"Is “{word}” a {taxon(guess).common}?"
        return OpenQuestion(name, lead, (*species_options(), SKIP), lines, answer, guess=guess)
    lead = f"What does “{word}” mean as a sex?"
    if word == "1":
        lead = "A spreadsheet makes 1 of 1.0, one male. Is that what 1 means as a sex here?"
    options = (
        ("male", "Male"), ("female", "Female"), ("unknown", "Not known"), SKIP,
    )  # fmt: skip
    return OpenQuestion(name, lead, options, lines, answer)


def _order(example: str) -> tuple[str, Options]:
    return f"Which comes first in days such as {example}?", (
        ("day_first", "The day"), ("month_first", "The month"),
    )  # fmt: skip


def _swapped(example: str) -> tuple[str, Options]:
    return (
        "The sheet made days of some cells and left others, such as "
        f"{example}, as text. That happens where it took the month for the day. Did it?",
        (("yes", "Yes: exchange day and month"), ("no", "No: they are right as they are")),
    )


def _serials(example: str) -> tuple[str, Options]:
    return f"Some days are plain numbers. Is this one right: {example}?", (
        ("yes", "Yes, read all of them so"), SKIP,
    )  # fmt: skip


def _partial(example: str) -> tuple[str, Options]:
    return f"Some days are not whole, such as “{example}”. A day on record is whole.", (
        ("describe", "Store the animals without a day, and this in their description"), SKIP,
    )  # fmt: skip


def _weighed(example: str) -> tuple[str, Options]:
    return "When were they weighed? The list does not say.", (("out", "Leave the weights out"),)


def _marks(example: str) -> tuple[str, Options]:
    figures = example.replace(",", "").replace(".", "")
    return f"How much is {example}?", (
        ("whole", f"{figures}: the mark only groups the figures"),
        ("decimal", f"{figures[:-3]}.{figures[-3:]}: the mark separates decimals"),
    )


def _unit(example: str) -> tuple[str, Options]:
    return f"In which unit are weights such as {example}? The list does not say.", (
        ("g", "Grams"), ("kg", "Kilograms"), ("oz", "Ounces"), ("lb", "Pounds"),
        ("out", "Leave them out"),
    )  # fmt: skip


def _dated(example: str) -> tuple[str, Options]:
    return f"A sheet makes days of counts such as 1.2.3. Was {example}?", (
        ("counts", "Yes: read each as the count that it was"),
        ("unknown", "No: store these animals without a sex"),
        SKIP,
    )


def _shown(example: str) -> tuple[str, Options]:
    return f"Some cells show something else than they hold, such as {example}. What is right?", (
        ("shown", "What the sheet shows"), ("stored", "What the cells hold"), SKIP,
    )  # fmt: skip


def _hidden(example: str) -> tuple[str, Options]:
    return f"The sheet hides {example}. Shall it be read too?", (
        ("read", "Yes, like the rest"), ("out", "No, leave out what is hidden"),
    )  # fmt: skip


_WITHOUT: Options = (
    ("describe", "Store them without this parent, and what the list says in their description"),
    SKIP,
)


def _parents(example: str) -> tuple[str, Options]:
    return (
        "Some parents are neither on record nor in a line that can be stored, such as "
        f"“{example}”.",
        _WITHOUT,
    )


def _zeros(example: str) -> tuple[str, Options]:
    return f"Some transponder numbers have lost noughts in front. Is {example} right?", (
        ("yes", "Yes: put the noughts back in all of them"), SKIP,
    )  # fmt: skip


def _species(example: str) -> tuple[str, Options]:
    above = ("above", "That of the line above")
    lead = "Which species are the animals whose line names none?"
    return lead, (above, *species_options(), SKIP)


def _sex_from(example: str) -> tuple[str, Options]:
    given = tuple((name, words) for name, (words, _) in SOURCES.items())
    return (
        "Whose word are the sexes in this list? They go on record as that and as no check; they "
        "weigh next to nothing until somebody checks.",
        (*given, ("out", "Leave the sexes out")),
    )


_ASKED: Mapping[str, Callable[[str], tuple[str, Options]]] = {
    "order": _order,
    "swapped": _swapped,
    "serials": _serials,
    "partial": _partial,
    "weighed": _weighed,
    "marks": _marks,
    "zeros": _zeros,
    "species": _species,
    "sex_from": _sex_from,
    "unit": _unit,
    "dated": _dated,
    "shown": _shown,
    "hidden": _hidden,
    "parents": _parents,
}
