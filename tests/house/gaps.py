"""What a new thing still lacks, each gap by the file that it belongs in.

``python -m tests.house.gaps WHAT`` prints them, for a tree with a change in it.
"""

import os
import re
import sys
from collections.abc import Callable, Collection, Iterable, Iterator
from dataclasses import fields
from functools import cache
from pathlib import Path
from typing import get_args

import django

ROOT = Path(__file__).resolve().parents[2]
SERVER = "server/scalewitness"
Gaps = Iterator[str]


def lacking(place: str, wanted: Iterable[str], there: Collection[str]) -> Gaps:
    for one in sorted(set(wanted) - set(there)):
        yield f"{place} lacks {one}"


def text_of(path: str) -> str:
    return (ROOT / path).read_text("utf-8")


@cache
def texts_under(folder: str, ending: str) -> dict[str, str]:
    found = sorted((ROOT / folder).rglob(f"*{ending}"))
    return {str(path.relative_to(ROOT)): path.read_text("utf-8") for path in found}


def words_of(*paths: str) -> set[str]:
    return {word for path in paths for word in re.findall(r"\w+", text_of(path))}


def method() -> Gaps:
    from scalewitness.domain import observations
    from scalewitness.domain.methods import METHODS
    from scalewitness.domain.sexing import findings
    from scalewitness.domain.sexing.parameters import load_parameters
    from scalewitness.domain.sexing.tables import table
    from stack.words import module

    sexing = f"{SERVER}/domain/sexing"
    methods = set(get_args(observations.Method))
    tags = {one.__struct_config__.tag for one in get_args(observations.Observation)}
    yield from lacking(f"{SERVER}/domain/observations.py: Method", tags | set(METHODS), methods)
    yield from lacking(f"{SERVER}/domain/observations.py: Observation", methods, tags)
    yield from lacking(f"{SERVER}/domain/methods.py: METHODS", methods, METHODS)
    read = {*findings._KEYS, "probing"}
    yield from lacking(f"{sexing}/findings.py: _KEYS", methods, read)
    yield from lacking(f"{sexing}/findings.py: _TYPICAL", methods, findings._TYPICAL)
    numbers = load_parameters().base.numbers
    wanted = {f"mislead.{one}" for one in methods}
    entries = {number.rpartition(".")[0] for number in numbers}
    yield from lacking(f"{sexing}/data/sexing-3/parameters.toml", wanted, entries)
    said = {number.partition(".")[0] for number in numbers}
    yield from lacking(f"{sexing}/data/sexing-3/parameters.toml: a finding of", methods, said)
    ranges = {number.rpartition(".")[0] for number in table("sensitivity.toml")["numbers"]}
    yield from lacking(f"{sexing}/data/sensitivity.toml", wanted, ranges)
    if text_of("clients/rackside/pure/words.js") != module():
        yield "clients/rackside/pure/words.js is not current: run ./deploy/words"


def sale_state() -> Gaps:
    from scalewitness.domain.fact_words import in_words
    from scalewitness.domain.facts import BODIES, SYSTEM_KINDS
    from scalewitness.domain.sales import MAY, STEPS, State
    from scalewitness.fsck.projections import PROJECTIONS
    from scalewitness.intake.kinds import RULES
    from scalewitness.pages.sales import sale
    from scalewitness.receipts import queries as receipts

    states, steps = set(get_args(State)), {kind for _, kind in STEPS} | set(MAY)
    seen = text_of("tests/domain/test_sales.py")
    reached = {"draft", *STEPS.values()}
    kinds_of_sellers = {one for one, party in MAY.items() if party == "seller"} - {"offer_made"}
    told = {kind for kind in steps if "does not know" not in in_words(kind, {})}
    story = re.findall(r'"(\w+)"', "".join(texts_under("tests", ".py").values()))
    yield from lacking(f"{SERVER}/domain/sales.py: State", reached | set(sale.STATES), states)
    yield from lacking(f"{SERVER}/domain/sales.py: STEPS, to reach", states, reached)
    yield from lacking(f"{SERVER}/domain/sales.py: MAY", steps | set(sale.STEPS), MAY)
    yield from lacking(f"{SERVER}/domain/facts/sales.py: BODIES", steps, BODIES)
    yield from lacking(f"{SERVER}/domain/fact_words.py", steps, told)
    yield from lacking(f"{SERVER}/pages/sales/sale.py: STATES", states, sale.STATES)
    yield from lacking(f"{SERVER}/pages/sales/sale.py: STEPS", steps, sale.STEPS)
    actions = {kind for kind, _ in sale.ACTIONS.values()}
    yield from lacking(f"{SERVER}/pages/sales/sale.py: ACTIONS", kinds_of_sellers, actions)
    yield from lacking(f"{SERVER}/intake/kinds.py", steps - SYSTEM_KINDS, RULES)
    yield from lacking(f"{SERVER}/fsck/projections/__init__.py", steps, PROJECTIONS)
    yield from lacking(f"{SERVER}/receipts/queries.py", steps, receipts.RULES)
    yield from lacking("tests/domain/test_sales.py", states, re.findall(r"\w+", seen))
    everything = re.findall(r'"(\w+)"', text_of("tests/everything.py"))
    by_world = {"offer_made", "sale_confirmed", "payment_recorded"} & set(story)
    yield from lacking("tests/everything.py", steps - SYSTEM_KINDS, {*everything, *by_world})


def letter() -> Gaps:
    from tests.letters.test_letters_read_well import CONTEXTS

    folder = f"{SERVER}/letters/templates/letters"
    names = {path.name for path in (ROOT / folder).iterdir()}
    parts = {name for name in names if not name.startswith("_") and name != "base.html"}
    kinds = {name.partition(".")[0] for name in parts} | CONTEXTS.keys()
    room = "".join(texts_under(f"{SERVER}/letters", ".py").values())
    beside = (f"{SERVER}/sign_in/services/letters.py", f"{SERVER}/mail/queries.py")
    owed = re.findall(r'"(\w+)"', room + "".join(map(text_of, beside)))
    for ending in ("subject.txt", "txt", "html"):
        for one in sorted({f"{kind}.{ending}" for kind in kinds} - parts):
            yield f"{folder}/{one} is not there"
    yield from lacking(f"{SERVER}/letters: a function that owes it:", kinds, owed)
    yield from lacking("tests/letters/test_letters_read_well.py: CONTEXTS", kinds, CONTEXTS)


def species() -> Gaps:
    from scalewitness.domain.sexing.taxa import species_list, taxon

    for key in (one.key for one in species_list()):
        if taxon(key).male_range is None and not taxon(key).scientific:
            yield f"{SERVER}/domain/sexing/data/sexing-3/taxa.toml: {key} has no name"


def endpoint() -> Gaps:
    from django.urls import get_resolver
    from tests.api.matrix import ROWS
    from tests.api.test_matrix import PREFIX, patterns

    routed = words_of(f"{SERVER}/api/urls.py")
    for path, code in texts_under(f"{SERVER}/api", ".py").items():
        if re.search(rf"^@operation\((.|\n)*^def {Path(path).stem}\(", code, re.MULTILINE):
            yield from lacking(f"{SERVER}/api/urls.py", [Path(path).stem], routed)
    there = {
        re.sub(r"<[^>]*>", "{}", path.removeprefix(PREFIX))
        for path, _ in patterns(get_resolver())
        if path.startswith(PREFIX)
    }
    rows = {re.sub(r"\{[^}]*\}", "{}", row.path.partition("?")[0]) for row in ROWS}
    yield from lacking("tests/api/matrix.py: ROWS", there, rows)
    yield from lacking(f"{SERVER}/api/urls.py", rows, there)


def animal_filter() -> Gaps:
    from scalewitness.api.animals import list_animals as module
    from scalewitness.pages.animals.finding import FilterForm
    from scalewitness.searching.animals import FILTERS
    from scalewitness.searching.wanted import Wanted

    names = {one.name for one in fields(Wanted)} - {"order", "backwards"}
    taken = {one.name for one in (*module.IDS, *module.TEXTS, *module.FILTERS)}
    form = FilterForm.base_fields.keys() - {"order", "backwards", "ended", "q"}
    asked = words_of("tests/searching/test_searching.py")
    yield from lacking(f"{SERVER}/searching/wanted.py", {*FILTERS, *taken, *form}, names)
    yield from lacking(f"{SERVER}/searching/animals.py", names, FILTERS)
    yield from lacking(f"{SERVER}/api/animals/list_animals.py", names, taken)
    # Text goes by the name of a search.
    yield from lacking(f"{SERVER}/pages/animals/finding.py", names - {"text"}, form)
    yield from lacking("tests/searching/test_searching.py", names, asked)


def site_page() -> Gaps:
    from tests.pages.addresses import ELSEWHERE, HERE, NAMES, WHAT, WORDS, parts_of

    from scalewitness.pages import urls

    code = texts_under(f"{SERVER}/pages", ".py")
    shown = "".join(code.values())
    templates = texts_under(f"{SERVER}/pages/templates", ".html")
    named = {f"{SERVER}/pages/templates/{one}" for one in _NAMED.findall(shown)}
    yield from (f"{one} is not there" for one in sorted(named - templates.keys()))
    routed = words_of(f"{SERVER}/pages/urls.py", f"{SERVER}/pages/accounts/urls.py")
    handed_to = re.findall(r"return (\w+)\(request", shown)
    yield from lacking(f"{SERVER}/pages/urls.py", _VIEW.findall(shown), {*routed, *handed_to})
    yield from lacking("tests/pages/test_matrix.py", NAMES, words_of("tests/pages/test_matrix.py"))
    for one in filter(None, (one.name for one in urls.urlpatterns)):
        known = {*WORDS, *HERE, *ELSEWHERE.get(one, {}), *(["what"] if one in WHAT else [])}
        yield from lacking("tests/pages/addresses.py", parts_of(one), known)


_NAMED = re.compile(r'"([a-z_]+/[a-z_]+\.html)"')
_VIEW = re.compile(r"^@signed_in\ndef ([a-z]\w+)\(request", re.MULTILINE)

RECIPES: dict[str, Callable[[], Gaps]] = {
    "a method": method,
    "a sale state": sale_state,
    "a letter": letter,
    "a species": species,
    "an endpoint": endpoint,
    "a filter of the animal list": animal_filter,
    "a page": site_page,
}

if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "tests.settings")
    django.setup()
    found = list(RECIPES[sys.argv[1]]())
    sys.stdout.write("\n".join(found))
    sys.exit(bool(found))
