"""What shows that a record is whole, at the edges; `tests/api/test_proofs.py` has whole answers
checked by a verifier that knows nothing of this code."""

from uuid import UUID

import pytest
from django.conf import settings

from scalewitness.domain.translog.prefix_tree import NOTHING, path_leaf, root_from
from scalewitness.domain.translog.record_map import (
    Link,
    NotShown,
    Opening,
    chain_over,
    committed,
    nonce_for,
    require_whole,
)
from scalewitness.domain.translog.vrf import output_of
from scalewitness.domain.translog.vrf_signing import read_vrf_signer

SIGNER = read_vrf_signer(settings.LOG_MAP_KEY)
SNAKE = UUID("01890000-0000-7000-8000-0000000000aa")
LINKS = [Link(3, b"a" * 32), Link(7, b"b" * 32), Link(9, b"c" * 32)]
SIBLINGS = (b"s" * 32, NOTHING, b"t" * 32)


def opened(links: list[Link] = LINKS, **changes: object) -> Opening:
    said = {
        "count": len(links),
        "nonce": nonce_for(SIGNER.blinding, SNAKE, len(links), chain_over(links)),
        "path_proof": SIGNER.prove(SNAKE.bytes),
        "siblings": SIBLINGS,
    }
    return Opening(**(said | changes))  # type: ignore[arg-type]


def root_with(links: list[Link] = LINKS) -> bytes:
    one = opened(links)
    path = output_of(one.path_proof)
    value = committed(one.nonce, one.count, chain_over(links))
    return root_from(path, path_leaf(path, value), one.siblings)


def test_all_of_them_in_whatever_order_they_come() -> None:
    require_whole(SNAKE, LINKS, opened(), root_with(), SIGNER.key)
    require_whole(SNAKE, LINKS[::-1], opened(), root_with(), SIGNER.key)
    require_whole(SNAKE, LINKS[:1], opened(hidden=tuple(LINKS[1:])), root_with(), SIGNER.key)
    require_whole(SNAKE, [], opened(hidden=tuple(LINKS)), root_with(), SIGNER.key)


@pytest.mark.parametrize(
    ("shown", "opening", "why"),
    [
        (LINKS[1:], opened(), "3 entries are stated and 2 are there"),
        (LINKS[1:], opened(count=2), "not those that the log states"),
        ([*LINKS, Link(11, b"d" * 32)], opened(), "3 entries are stated and 4"),
        ([*LINKS, LINKS[0]], opened(), "named twice"),
        ([*LINKS[1:], Link(7, b"x" * 32)], opened(), "named twice"),
        ([Link(4, b"a" * 32), *LINKS[1:]], opened(), "not those that the log states"),
        ([Link(3, b"x" * 32), *LINKS[1:]], opened(), "not those that the log states"),
        (LINKS, opened(nonce=b"n" * 32), "not those that the log states"),
        (LINKS, opened(nonce=b"n"), "damaged"),
        (LINKS, opened(siblings=SIBLINGS[::-1]), "not those that the log states"),
        (LINKS, opened(siblings=(b"short",)), "damaged"),
        (LINKS, opened(siblings=SIBLINGS * 100), "damaged"),
        (LINKS, opened(path_proof=SIGNER.prove(b"another")), "not this one's"),
        (LINKS, opened(path_proof=b""), "not this one's"),
        ([Link(-1, b"a" * 32), *LINKS[1:]], opened(), "damaged"),
        ([], opened(count=0), "not those that the log states"),
    ],
)
def test_anything_else_is_not_the_record(shown: list[Link], opening: Opening, why: str) -> None:
    with pytest.raises(NotShown, match=why):
        require_whole(SNAKE, shown, opening, root_with(), SIGNER.key)


def test_a_value_is_blinded_anew_for_each_version() -> None:
    nonces = {
        nonce_for(SIGNER.blinding, snake, count, chain)
        for snake in (SNAKE, UUID(int=1))
        for count in (1, 2)
        for chain in (b"a" * 32, b"b" * 32)
    }
    assert len(nonces) == 8
    assert nonce_for(SIGNER.blinding, SNAKE, 1, b"a" * 32) in nonces, "and can be made again"
