"""What following each recipe once comes to: by file, how its text changes."""

import re
from collections.abc import Callable, Mapping

Change = Callable[[str], str]
S = "server/scalewitness"


def put(anchor: str, new: str) -> Change:
    """``new`` before the first ``anchor``."""

    def change(text: str) -> str:
        assert anchor in text, anchor
        return text.replace(anchor, new + anchor, 1)

    return change


def both(*changes: Change) -> Change:
    def change(text: str) -> str:
        for one in changes:
            text = one(text)
        return text

    return change


def new(text: str) -> Change:
    return lambda _: text


def at_end(more: str) -> Change:
    return lambda text: text + more


METHOD: Mapping[str, Change] = {
    f"{S}/domain/observations.py": both(
        put(
            "Observation = (\n",
            'class Palpation(Observed, frozen=True, tag_field="method", tag="palpation"):\n'
            '    seen: Literal["hemipenes", "unclear"]\n\n\n',
        ),
        put("    | Visual\n", "    | Palpation\n"),
        put('    "statement",\n]', '    "palpation",\n'),
    ),
    f"{S}/domain/methods.py": put(
        '    "statement": Words(',
        '    "palpation": Words("Palpation", "palpation", "…", asks=(_seen(_HEMIPENES),)),\n',
    ),
    f"{S}/domain/sexing/findings.py": both(
        put(
            '    "statement": _statement,',
            '    "palpation": lambda seen, _, __: (f"palpation.{seen.seen}", "finding_read"),\n',
        ),
        put(
            '    "statement": lambda _, __',
            '    "palpation": lambda _, __: observations.Palpation("hemipenes"),\n',
        ),
        put(
            "from scalewitness.domain.observations import (",
            "from scalewitness.domain import observations\n",
        ),
    ),
    f"{S}/domain/sexing/data/sexing-3/parameters.toml": put(
        "[pessimistic]",
        '"mislead.palpation" = { male = 0.1, female = 0.1, status = "our judgement" }\n'
        '"palpation.hemipenes.any" = { male = 0.8, female = 0.2, status = "our judgement" }\n\n',
    ),
    f"{S}/domain/sexing/data/sensitivity.toml": put(
        "[findings]",
        '"mislead.palpation.male" = { low = 0.1, high = 0.3, what = "", status = "published" }\n',
    ),
    "clients/rackside/pure/words.js": lambda text: re.sub(
        r"^(  visual: .*\n)",
        r"\1"
        '  palpation: {"title": "Palpation", "handsOn": true, "atRack": true, "onlyOfA": null, '
        '"asks": [["seen", "What you saw", '
        '[["hemipenes", "Hemipenes"], ["unclear", "Unclear"]]]]},\n',
        text,
        flags=re.MULTILINE,
    ),
}
SALE_STATE: Mapping[str, Change] = {
    f"{S}/domain/sales.py": both(
        put('    "paid",\n', '    "reserved",\n'),
        put('    ("paid", "handed_over")', '    ("confirmed", "deposit_recorded"): "reserved",\n'),
        put('    "handed_over": "seller",', '    "deposit_recorded": "seller",\n'),
    ),
    f"{S}/domain/facts/sales.py": both(
        put("class HandedOver(Body", "class DepositRecorded(Body, frozen=True):\n    pass\n\n\n"),
        put('    "handed_over": HandedOver,', '    "deposit_recorded": DepositRecorded,\n'),
    ),
    f"{S}/domain/fact_words.py": put(
        '    "handed_over": ', '    "deposit_recorded": "A deposit for a sale was noted.",\n'
    ),
    f"{S}/pages/sales/sale.py": both(
        put('    "paid": "', '    "reserved": "reserved; the rest is awaited",\n'),
        put('    "handed_over": "Handed over",', '    "deposit_recorded": "Deposit recorded",\n'),
        put('    "handover": (', '    "deposit": ("deposit_recorded", "Record a deposit"),\n'),
    ),
    "tests/domain/test_sales.py": put(
        "handed_over -  ",
        "reserved    " + "-       " * 10 + "\n",
    ),
    "tests/everything.py": put(
        '    world.say(world.odile, "sale_closed"',
        '    world.say(world.odile, "deposit_recorded", sale.pk)\n',
    ),
}
LETTER: Mapping[str, Change] = {
    f"{S}/letters/templates/letters/visit_over.subject.txt": new("The visit is over\n"),
    f"{S}/letters/templates/letters/visit_over.txt": new("Dear {{ to_name|line }},\n"),
    f"{S}/letters/templates/letters/visit_over.html": new("<p>Dear {{ to_name|line }},</p>\n"),
    f"{S}/letters/visits.py": at_end('\n\nOVER = "visit_over"\n'),
    "tests/letters/test_letters_read_well.py": put('    "offer": ', '    "visit_over": KEEPER,\n'),
}
SAMPLES: Mapping[str, Mapping[str, Change]] = {
    "a method": METHOD,
    "a sale state": SALE_STATE,
    "a letter": LETTER,
    "a species": {
        f"{S}/domain/sexing/data/sexing-3/taxa.toml": put(
            '[[taxon]]\nkey = "boa_constrictor"',
            '[[taxon]]\nkey = "lampropeltis_nova"\nscientific = "Lampropeltis nova"\n'
            'common = "invented kingsnake"\nsex_system = "unknown"\n'
            'sex_system_status = "our judgement"\nhatchling_grams = 20\nadult_grams = 200\n\n',
        )
    },
    "an endpoint": {
        f"{S}/api/visits/count_visits.py": new(
            '"""How many visits there are."""\n\n'
            "from rest_framework.request import Request\n"
            "from rest_framework.response import Response\n\n"
            "from scalewitness.api.operations import operation\n"
            "from scalewitness.api.shapes.visits import Visits\n\n\n"
            '@operation("Count my visits", gives={200: Visits})\n'
            "def count_visits(request: Request) -> Response:\n"
            "    return Response(Visits([]))\n"
        ),
        f"{S}/api/urls.py": both(
            put(
                "from scalewitness.api.visits.list_visits",
                "from scalewitness.api.visits.count_visits import count_visits\n",
            ),
            put('    path("visits",', '    path("visits/count", resource(get=count_visits)),\n'),
        ),
        "tests/api/matrix.py": put(
            '    Row("GET", "visits", ', '    Row("GET", "visits/count", SIGNED_IN),\n'
        ),
    },
    "a filter of the animal list": {
        f"{S}/searching/wanted.py": put(
            "    collection: UUID | None", "    mother: UUID | None = None\n"
        ),
        f"{S}/searching/animals.py": put(
            '    "collection": lambda', '    "mother": lambda asked: Q(dam=asked[1].mother),\n'
        ),
        f"{S}/api/animals/list_animals.py": put(
            '    Id("parent",', '    Id("mother", "Only her young."),\n'
        ),
        f"{S}/pages/animals/finding.py": put(
            "    order = forms.",
            "    mother = forms.UUIDField(required=False, widget=forms.HiddenInput)\n",
        ),
        "tests/searching/test_searching.py": at_end('\n\nASKED_TOO = "mother"\n'),
    },
    "a page": {
        f"{S}/pages/home/home.py": at_end(
            "\n\n@signed_in\ndef thanks(request: HttpRequest, keeper: Keeper) -> HttpResponse:\n"
            '    return page(request, "home/thanks.html")\n'
        ),
        f"{S}/pages/templates/home/thanks.html": new("<p>Thanks.</p>\n"),
        f"{S}/pages/urls.py": put(
            '    path("about",',
            '    path("thanks/<uuid:friend_id>", home.thanks, name="thanks"),\n',
        ),
        "tests/pages/test_matrix.py": put("about example home kept log", "thanks "),
        "tests/pages/addresses.py": put('    "photo_id": "photo",', '    "friend_id": "photo",\n'),
    },
}
