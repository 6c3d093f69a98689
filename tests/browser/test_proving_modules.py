"""The modules that prove in a browser that a record is whole, beside the two verifiers in Python:
the domain's, and the one written from `server/MAP.md` alone. Outside values:
`vectors/rsa_fdh_vrf.json` (an executable specification by others, see its source line)."""

import json
from base64 import b64decode, b64encode
from collections.abc import Callable, Iterator
from copy import deepcopy
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import Any
from uuid import UUID

import httpx
import pytest
from django.conf import settings
from django.utils import timezone
from playwright.sync_api import Browser, Page
from tests.browser.conftest import Site, opening
from tests.browser.test_checking_modules import each
from tests.domain.translog.reference_map import whole

from scalewitness.domain.translog.base64s import decode64, encode64
from scalewitness.domain.translog.keys import read_signer
from scalewitness.domain.translog.prefix_tree import NOTHING, ROOT, path_leaf, siblings_of
from scalewitness.domain.translog.prefix_tree import changed as nodes_of
from scalewitness.domain.translog.record_map import (
    Link,
    Opening,
    chain_over,
    committed,
    require_whole,
)
from scalewitness.domain.translog.vrf import VrfKey, to_certify
from scalewitness.domain.translog.vrf_signing import read_vrf_signer

VECTORS = json.loads((Path(__file__).parents[1] / "vectors" / "rsa_fdh_vrf.json").read_text())
LOG_KEY = str(read_signer(settings.LOG_SIGNING_KEY).verifier)
SIGNER = read_vrf_signer(settings.LOG_MAP_KEY)
IMPORTS = """
const vrf = await import("/static/checking/vrf.js");
const records = await import("/static/checking/record_map.js");
const stated = await import("/static/checking/stated.js");
"""


@dataclass(frozen=True)
class Story:
    """What a buyer's link proves, the map's key, and the animal."""

    answer: dict[str, Any]
    map_key: dict[str, Any]
    animal: str


@pytest.fixture(scope="module")
def story(site: Site) -> Story:
    from tests.api.test_receipts import token

    world = site.world
    animal, other = world.verified("R-1"), world.animal("R-2")
    sale = world.draft(animal)
    world.offer(sale)
    world.call(world.odile, other, "male")
    world.now = timezone.now()
    with httpx.Client(base_url=f"{site.url}/api/v1/") as api:
        answer = api.get(f"offers/{token(sale, 'offer')}/proofs").raise_for_status().json()
        return Story(answer, api.get("log/map-key").json(), str(animal.pk))


@pytest.fixture(scope="module")
def blank(chromium: Browser, site: Site) -> Iterator[Page]:
    """A page of the same origin without a script of its own."""
    with opening(chromium, site) as open_page:
        yield open_page("/about")


def run(page: Page, body: str, items: list[Any]) -> list[Any]:
    return each(page, IMPORTS + body, items)


# --- the verifiable random function

OUTPUT = """
  const key = await vrf.readVrfKey(fromHex(item.n));
  const found = await vrf.output(key, fromHex(item.pi), fromHex(item.alpha));
  return found && bytes.hex(found);"""


def test_proofs_of_paths_are_verified_as_by_others(blank: Page) -> None:
    items = [one | {"n": VECTORS["n"]} for one in VECTORS["vectors"]]
    assert run(blank, OUTPUT, items) == [one["beta"] for one in VECTORS["vectors"]]


CHANGES: dict[str, Callable[[bytes, int], bytes]] = {
    "as it is": lambda proof, n: proof,
    "shorter": lambda proof, n: proof[1:],
    "longer": lambda proof, n: b"\x00" + proof,
    "once more round": lambda proof, n: (int.from_bytes(proof, "big") + n).to_bytes(
        len(proof) + 1, "big"
    ),
    "negative": lambda proof, n: (n - int.from_bytes(proof, "big")).to_bytes(len(proof), "big"),
    "nought": lambda proof, n: bytes(len(proof)),
    "none": lambda proof, n: b"",
    "another bit": lambda proof, n: proof[:-1] + bytes([proof[-1] ^ 1]),
}


def test_a_proof_has_one_spelling(blank: Page) -> None:
    proof, key = SIGNER.prove(b"snake"), SIGNER.key
    forms = [change(proof, key.modulus) for change in CHANGES.values()]
    alpha, n = b"snake".hex(), key.to_bytes().hex()
    items = [{"n": n, "pi": one.hex(), "alpha": alpha} for one in forms]
    expected = [(found := key.output(one, b"snake")) and found.hex() for one in forms]
    assert run(blank, OUTPUT, items) == expected
    assert [bool(one) for one in expected] == [True] + [False] * (len(forms) - 1)


def test_only_a_key_that_shows_its_proofs_to_be_unique_is_good(blank: Page) -> None:
    roots, small = list(SIGNER.certificate), VrfKey(int(VECTORS["n"], 16))
    cases = [
        (SIGNER.key, roots),
        (SIGNER.key, roots[:-1]),
        (SIGNER.key, [*roots, roots[0]]),
        (SIGNER.key, [*roots[:-1], roots[0]]),
        (VrfKey(SIGNER.key.modulus + 2), roots),
        (small, roots),
        (VrfKey(2**2048), roots),
        (VrfKey(0), roots),
    ]
    found = run(
        blank,
        """return vrf.isCertified(
          await vrf.readVrfKey(fromHex(item.n)), item.roots.map(fromHex));""",
        [{"n": key.to_bytes().hex(), "roots": [one.hex() for one in of]} for key, of in cases],
    )
    assert found == [key.is_certified(of) for key, of in cases]
    assert found == [True] + [False] * (len(cases) - 1)
    assert SIGNER.key.output(roots[0], to_certify(0))


# --- the map

SUBJECTS = [UUID(int=number << 64 | 0x7000_8000 << 32 | number) for number in range(1, 30)]


@dataclass(frozen=True)
class Case:
    """What a reader holds, and what it is held to."""

    subject: UUID
    shown: list[Link]
    opening: Opening
    root: bytes


def sound_cases() -> list[Case]:
    """A map over a few subjects, each with the links of its own."""
    links = {
        one: [Link(place * 40 + at, sha256(bytes([place, at])).digest()) for at in range(place)]
        for place, one in enumerate(SUBJECTS, 1)
    }
    proofs = {one: SIGNER.prove(one.bytes) for one in SUBJECTS}
    paths = {one: SIGNER.key.output(proofs[one], one.bytes) or b"" for one in SUBJECTS}
    leaves = {
        paths[one]: path_leaf(
            paths[one], committed(one.bytes * 2, len(links[one]), chain_over(links[one]))
        )
        for one in SUBJECTS
    }
    nodes = nodes_of(leaves, lambda _: {})
    root = nodes[ROOT].hash

    def case(one: UUID, hidden: int) -> Case:
        siblings = siblings_of(paths[one], lambda asked: {p: nodes[p] for p in asked if p in nodes})
        opened = Opening(
            len(links[one]), one.bytes * 2, proofs[one], tuple(siblings), tuple(links[one][:hidden])
        )
        return Case(one, links[one][hidden:], opened, root)

    return [case(one, place % 3) for place, one in enumerate(SUBJECTS)]


def altered_cases(one: Case, other: Case) -> dict[str, Case]:
    from msgspec.structs import replace

    opened, (first, *rest) = one.opening, one.shown
    return {
        "one left out": Case(one.subject, rest, opened, one.root),
        "one named twice": Case(one.subject, [*one.shown, first], opened, one.root),
        "one moved": Case(one.subject, [Link(9999, first.hash), *rest], opened, one.root),
        "one altered": Case(
            one.subject, [Link(first.position, bytes(32)), *rest], opened, one.root
        ),
        "one below nought": Case(one.subject, [Link(-1, first.hash), *rest], opened, one.root),
        "of another": Case(other.subject, one.shown, opened, one.root),
        "another's place": Case(
            one.subject, one.shown, replace(opened, path_proof=other.opening.path_proof), one.root
        ),
        "another count": Case(
            one.subject, rest, replace(opened, count=opened.count - 1), one.root
        ),
        "another nonce": Case(one.subject, one.shown, replace(opened, nonce=bytes(32)), one.root),
        "a short nonce": Case(one.subject, one.shown, replace(opened, nonce=b"x"), one.root),
        "a sibling less": Case(
            one.subject, one.shown, replace(opened, siblings=opened.siblings[1:]), one.root
        ),
        "a short sibling": Case(
            one.subject, one.shown, replace(opened, siblings=(b"x", *opened.siblings[1:])), one.root
        ),
        "too many siblings": Case(
            one.subject, one.shown, replace(opened, siblings=(NOTHING,) * 257), one.root
        ),
        "another root": Case(one.subject, one.shown, opened, bytes(32)),
    }  # fmt: skip


def test_a_record_is_whole_or_refused_as_the_domain_says(blank: Page) -> None:
    sound = sound_cases()
    altered = altered_cases(sound[6], sound[7])
    cases = [*sound, *altered.values()]

    def verdict(one: Case) -> str | None:
        try:
            require_whole(one.subject, one.shown, one.opening, one.root, SIGNER.key)
        except ValueError as fault:
            return str(fault)
        return None

    found = run(
        blank,
        """
        const key = await vrf.readVrfKey(fromHex(item.key));
        const links = (all) => all.map(([position, hash]) => ({ position, hash: fromHex(hash) }));
        const { count, nonce, path, siblings, hidden } = item.opening;
        const opening = { count, nonce: fromHex(nonce), pathProof: fromHex(path),
          siblings: siblings.map(fromHex), hidden: links(hidden) };
        const answer = await refusal(() =>
          records.requireWhole(item.subject, links(item.shown), opening, fromHex(item.root), key));
        return answer?.refused ?? null;""",
        [_sent(one) for one in cases],
    )
    said = [one and one.replace("\u2019", "'") for one in found]
    assert said == [verdict(one) for one in cases]
    assert said[: len(sound)] == [None] * len(sound)
    assert all(said[len(sound) :])


def _sent(one: Case) -> dict[str, Any]:
    def links(of: Any) -> list[Any]:
        return [[link.position, link.hash.hex()] for link in of]

    opened = one.opening
    return {
        "key": SIGNER.key.to_bytes().hex(),
        "subject": str(one.subject),
        "shown": links(one.shown),
        "root": one.root.hex(),
        "opening": {
            "count": opened.count,
            "nonce": opened.nonce.hex(),
            "path": opened.path_proof.hex(),
            "siblings": [sibling.hex() for sibling in opened.siblings],
            "hidden": links(opened.hidden),
        },
    }


# --- answers of the service

Answer = dict[str, Any]
PROVES = """
  const logs = await keys.readKeys(item.log);
  const answer = await refusal(async () => {
    const map = await stated.mapIn(item.answer, logs);
    if (map.why) throw new Refused(map.why);
    const key = await stated.certifiedKey(item.mapKey, map.key);
    const proof = item.answer.animals.find((one) => one.id === item.animal);
    const found = await stated.recordIn(proof, map, key);
    if (found.why) throw new Refused(found.why);
    return Number(map.head.size) - 1;
  });
  return answer;"""


def proof_in(answer: Answer) -> Any:
    return answer["animals"][0]


def entry_of(answer: Answer, change: Callable[[bytes], bytes]) -> None:
    entries = proof_in(answer)["entries"]
    entries[0]["entry"] = encode64(change(decode64(entries[0]["entry"])))


def swap(entries: list[Any]) -> None:
    first, second = entries[:2]
    first["entry"], second["entry"] = second["entry"], first["entry"]


ALTERATIONS: dict[str, Callable[[Answer], object]] = {
    "nothing": lambda answer: None,
    "an entry left out": lambda answer: proof_in(answer)["entries"].pop(),
    "an entry hidden": lambda answer: proof_in(answer)["hidden"].append(
        {"position": proof_in(answer)["entries"].pop()["position"], "hash": "A" * 43 + "="}
    ),
    "an entry altered": lambda answer: entry_of(answer, lambda one: one.replace(b"1", b"2", 1)),
    "two entries swapped": lambda answer: swap(proof_in(answer)["entries"]),
    "a hidden one forgotten": lambda answer: proof_in(answer)["hidden"].pop(),
    "a count less": lambda answer: proof_in(answer).update(count=proof_in(answer)["count"] - 1),
    "another nonce": lambda answer: proof_in(answer).update(nonce="A" * 43 + "="),
    "another place": lambda answer: proof_in(answer).update(path_proof="A" * 342 + "=="),
    "another sibling": lambda answer: proof_in(answer)["siblings"].__setitem__(0, "A" * 43 + "="),
    "another signature": lambda answer: answer.update(
        checkpoint=answer["checkpoint"][:-9] + "AAAAAAA=\n"
    ),
    "another size": lambda answer: answer.update(
        checkpoint=answer["checkpoint"].replace(f"\n{answer['map']['position'] + 1}\n", "\n1\n")
    ),
    "the map not last": lambda answer: answer["map"].update(position=0),
    "another map": lambda answer: answer["map"].update(
        entry=b64encode(b64decode(answer["map"]["entry"]).replace(b"0", b"1", 1)).decode()
    ),
    "no place in the tree": lambda answer: answer["map"].update(proof=[]),
}  # fmt: skip


def test_an_answer_proves_or_is_refused_as_the_other_verifier_says(
    blank: Page, story: Story
) -> None:
    answers = []
    for change in ALTERATIONS.values():
        answers.append(deepcopy(story.answer))
        change(answers[-1])
    found = run(
        blank,
        PROVES,
        [
            {"answer": one, "mapKey": story.map_key, "log": LOG_KEY, "animal": story.animal}
            for one in answers
        ],
    )
    assert [isinstance(one, int) for one in found] == [_holds(story, one) for one in answers]
    assert found[0] == story.answer["map"]["position"]
    assert all("refused" in one for one in found[1:]), found


def _holds(story: Story, answer: Answer) -> bool:
    try:
        entries = {one["position"]: b64decode(one["entry"]) for one in proof_in(answer)["entries"]}
        whole(answer, story.map_key, LOG_KEY, story.animal, entries)
    except Exception:
        return False
    return True


def test_what_has_another_shape_is_refused_and_not_a_fault(blank: Page, story: Story) -> None:
    """An answer comes from whoever alters it."""
    odd: list[Any] = [None, 1, "x", [], {}]
    answers = [story.answer | {name: one} for name in ("checkpoint", "map") for one in odd]
    for name in ("count", "nonce", "path_proof", "siblings", "hidden", "entries"):
        proof = proof_in(story.answer)
        answers += [story.answer | {"animals": [proof | {name: one}]} for one in odd]
    for name in ("entries", "hidden"):
        answers += [story.answer | {"animals": [proof | {name: [one]}]} for one in odd]
    found = run(
        blank,
        PROVES,
        [
            {"answer": one, "mapKey": story.map_key, "log": LOG_KEY, "animal": story.animal}
            for one in answers
        ],
    )
    assert all("refused" in one for one in found), found
