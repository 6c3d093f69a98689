"""An animal's readable record as one file, for whoever may read all of it now.

What leaves in a file is carried for ever, so it has nothing that its reader does not see, and no
name: examiners are in it by their ids, as in the log. Whoever sees a part gets none, as what is
left out of a record is what it is bent with.
"""

from collections.abc import Collection, Iterator, Sequence
from datetime import datetime
from uuid import UUID

from scalewitness.calls.queries.visibility import sights_of
from scalewitness.domain.errors import LogContradicted, NotAllowed, NotFound, TooLarge
from scalewitness.domain.translog.base64s import encode64
from scalewitness.domain.translog.bundle import (
    FORMAT,
    MOST_BYTES,
    MOST_ENTRIES,
    Bundle,
    CarriedMapKey,
    CarriedText,
    InMap,
    Placed,
)
from scalewitness.domain.translog.prefix_tree import NOTHING
from scalewitness.ledger.queries.entries import EntryLine, openings_by_fact
from scalewitness.ledger.queries.tree import place_proofs
from scalewitness.ledger.services.mapping import map_signer
from scalewitness.ledger.services.opening import StatedTree, stated_tree
from scalewitness.ledger.services.signing import log_key
from scalewitness.receipts.queries import OWN_NOTES
from scalewitness.receipts.rested_on import rested_on
from scalewitness.receipts.whole import WholeRecord, whole_records


def bundled(keeper: UUID, animal: UUID, now: datetime) -> bytes:
    """The file, as of a tree signed now if the log has grown.

    Raises:
        NotFound: the keeper does not see the animal, or is to check it blind.
        NotAllowed: they may read a part of its entries only.
        TooLarge: a bundle does not hold so much.
        LogContradicted, Fenced, OSError, Busy: as `signing.sign_checkpoint`.
    """
    sight = sights_of(keeper, [animal], now).get(animal)
    if sight is None:
        raise NotFound()
    if sight != "all":
        raise NotFound(
            "You are to check this animal without knowing what others stated of it, so there is no "
            "record of it for you to take along."
        )
    with stated_tree(now) as tree:
        found = whole_records(keeper, [animal], tree, now)
        if not found:
            raise NotFound()
        (record,) = found
        if record.opening.hidden:
            raise NotAllowed(
                "You have no access to some entries of this animal's record, such as one that "
                "names parents you are to check blind. A bundle has all of them, so there is none "
                "for you now."
            )
        if len(record.shown) > MOST_ENTRIES:
            raise TooLarge(f"A bundle holds at most {MOST_ENTRIES} entries.")
        made = _bundle(keeper, record, tree, now).written()
    if len(made) > MOST_BYTES:
        raise TooLarge(f"A bundle has at most {MOST_BYTES} bytes.")
    return made


def _bundle(keeper: UUID, record: WholeRecord, tree: StatedTree, now: datetime) -> Bundle:
    beside, signer, opening = rested_on(keeper, [record], now), map_signer(), record.opening
    return Bundle(
        format=FORMAT,
        key=str(log_key()),
        animal=str(record.subject),
        checkpoint=tree.checkpoint,
        map=Placed(tree.position, encode64(tree.entry), tuple(map(encode64, tree.proof))),
        map_key=CarriedMapKey(
            encode64(signer.key.to_bytes()), tuple(map(encode64, signer.certificate))
        ),
        whole=InMap(
            opening.count,
            encode64(opening.nonce),
            encode64(opening.path_proof),
            tuple("" if one == NOTHING else encode64(one) for one in opening.siblings),
        ),
        entries=_placed(record.shown, tree),
        rested_on=_placed(beside.entries, tree),
        unread=record.subject in beside.unread,
        openings=tuple(_openings(keeper, record.shown)),
    )


def _placed(entries: Sequence[EntryLine], tree: StatedTree) -> tuple[Placed, ...]:
    try:
        found = place_proofs([one.position for one in entries], tree.position + 1)
    except ValueError:
        raise LogContradicted() from None
    return tuple(
        Placed(one.position, encode64(bytes(one.leaf)), tuple(map(encode64, found[one.position])))
        for one in entries
    )


def _openings(keeper: UUID, shown: Collection[EntryLine]) -> Iterator[CarriedText]:
    """Of the texts that the feed shows its reader, those that were not erased."""
    facts = [one.fact for one in shown if one.by == keeper or one.kind not in OWN_NOTES]
    for fact, texts in openings_by_fact(facts).items():
        for field, one in texts.items():
            yield CarriedText(str(fact), field, one.salt.hex(), one.text)
