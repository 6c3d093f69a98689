# ruff: noqa: S608  SQL made of values the tests themselves hold
"""What someone with the database superuser's rights can do, and what tells of it.

Each row of the table names the change, the store in which ``fsck`` finds the first difference,
what it says and every other store it names. A change returns the position at which it must
be found. Triggers are off while it is made.
"""

from collections.abc import Callable
from dataclasses import dataclass

from django.db import connection
from django.db.models import Exists, OuterRef
from tests.world import World

from scalewitness.animals.models import PhotoFile
from scalewitness.books.models import BookClosing
from scalewitness.books.services import store_closing, write_lines
from scalewitness.calls.models import Call, Seal
from scalewitness.domain.translog.books import root_of_books
from scalewitness.domain.translog.leaf import STATED, leaf_bytes
from scalewitness.domain.translog.prefix_tree import NOTHING
from scalewitness.domain.translog.regrowth import Regrowth
from scalewitness.domain.translog.tree import leaf_hash
from scalewitness.fsck.tables import TABLES
from scalewitness.ledger.models import (
    Checkpoint,
    Entry,
    MapHead,
    SignedHead,
    StatedMap,
    Tile,
    WitnessEnd,
)
from scalewitness.ledger.queries.entries import leaf_of
from scalewitness.ledger.queries.tree import tip
from scalewitness.ledger.services import mapping
from scalewitness.people.models import DeviceKey, KeyEndorsement
from scalewitness.standings.models import Standing

ALL_OF_THE_TREE = ("ledger_tile", "ledger_head", "ledger_signedhead", "ledger_checkpoint")


def as_superuser(*changes: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        cursor.execute("SET LOCAL session_replication_role = replica")
        for change in changes:
            cursor.execute(change)
            assert cursor.rowcount > 0, change
        cursor.execute("SET LOCAL session_replication_role = origin")


def flipped(column: str, at: int) -> str:
    """The column with one bit of its byte `at` turned: never what it was before."""
    return f"set_byte({column}, {at}, get_byte({column}, {at}) # 1)"


def a_call() -> Call:
    """A call in the middle of the log, under the checkpoint."""
    return Call.objects.order_by("position")[2]


# --- the changes: each returns the position at which it must be found ------------------


def one_byte_of_a_leaf() -> int:
    at = a_call().position
    as_superuser(f"UPDATE ledger_entry SET leaf = set_byte(leaf, 9, 65) WHERE position = {at}")
    return at


def a_leaf_and_its_hash() -> int:
    """Another conclusion in canonical form, with the hash that belongs to it."""
    call = a_call()
    entry = Entry.objects.get(position=call.position)
    leaf = bytes(entry.leaf).replace(b'"conclusion":"male"', b'"conclusion":"female"')
    assert leaf != bytes(entry.leaf)
    as_superuser(
        f"UPDATE ledger_entry SET leaf = '\\x{leaf.hex()}', "
        f"leaf_hash = '\\x{leaf_hash(leaf).hex()}' WHERE position = {call.position}"
    )
    return call.position


def a_signed_leaf_and_its_hash() -> int:
    """As before, of a call that its examiner's device signed."""
    entry = next(one for one in _calls() if b'"sig":null' not in bytes(one.leaf))
    leaf = bytes(entry.leaf).replace(b'"conclusion":"male"', b'"conclusion":"female"')
    as_superuser(
        f"UPDATE ledger_entry SET leaf = '\\x{leaf.hex()}', "
        f"leaf_hash = '\\x{leaf_hash(leaf).hex()}' WHERE position = {entry.position}"
    )
    return int(entry.position)


def _calls() -> list[Entry]:
    return list(Entry.objects.filter(kind="call_made").order_by("position"))


def another_key_for_a_device() -> int:
    at: int = Entry.objects.filter(kind="device_key_enrolled").earliest("position").position
    as_superuser(f"UPDATE people_devicekey SET public = repeat('a1', 32) WHERE position = {at}")
    return at


def a_rule_of_signatures_lifted() -> int:
    at: int = Entry.objects.filter(kind="signatures_required").earliest("position").position
    as_superuser(f"UPDATE people_signingrule SET required = false WHERE position = {at}")
    return at


def a_notice_from_long_ago() -> int:
    at: int = Entry.objects.get(kind="signing_notice_given").position
    earlier = "SET at = at - interval '14 days'"
    as_superuser(f"UPDATE people_signingnotice {earlier} WHERE position = {at}")
    return at


def a_stop_taken_away() -> int:
    at: int = Entry.objects.get(kind="signing_notice_stopped").position
    as_superuser(f"DELETE FROM people_signingnoticestop WHERE position = {at}")
    return at


def a_witness_revoked_much_later() -> int:
    """What a thief cosigned meanwhile would count."""
    at: int = WitnessEnd.objects.get().position
    as_superuser(f"UPDATE ledger_witnessend SET size = 999 WHERE position = {at}")
    return at


def a_sheet_that_passes_for_a_device() -> int:
    """Whoever holds it could then sign calls."""
    at: int = DeviceKey.objects.get(recovery=True).position
    as_superuser(f"UPDATE people_devicekey SET recovery = false WHERE position = {at}")
    return at


def an_endorsement_taken_away() -> int:
    at: int = KeyEndorsement.objects.order_by("position")[0].position
    as_superuser(f"DELETE FROM people_keyendorsement WHERE position = {at}")
    return at


def a_column_beside_a_leaf() -> int:
    at = a_call().position
    as_superuser(f"UPDATE ledger_entry SET by = gen_random_uuid() WHERE position = {at}")
    return at


def when_a_call_came_in() -> int:
    """In its entry's row and in its own, so that the two agree."""
    at = a_call().position
    earlier = f"SET received_at = received_at - interval '1 microsecond' WHERE position = {at}"
    as_superuser(f"UPDATE ledger_entry {earlier}", f"UPDATE calls_call {earlier}")
    return at


def what_a_call_is_flagged_with() -> int:
    at = a_call().position
    where = f"WHERE position = {at}"
    as_superuser(
        f"UPDATE ledger_entry SET flags = '{{late}}' {where}",
        f"UPDATE calls_call SET flags = '[\"late\"]' {where}",
    )
    return at


def an_entry_without_a_stamp() -> int:
    """Written anew as of version 1, which holds neither time received nor flags."""
    entry = Entry.objects.get(position=a_call().position)
    members = {name: getattr(leaf_of(entry), name) for name in (*STATED, "sig")}
    leaf = leaf_bytes(**members)
    as_superuser(
        f"UPDATE ledger_entry SET leaf = '\\x{leaf.hex()}', "
        f"leaf_hash = '\\x{leaf_hash(leaf).hex()}' WHERE position = {entry.position}"
    )
    _regrow()
    return entry.position


def a_call_row() -> int:
    at = a_call().position
    as_superuser(f"UPDATE calls_call SET conclusion = 'female' WHERE position = {at}")
    return at


def the_blindness_of_a_call() -> int:
    call = Call.objects.filter(blind=False).order_by("position")[1]
    as_superuser(f"UPDATE calls_call SET blind = true WHERE position = {call.position}")
    return call.position


def _restated(call: Call, before: str, after: str, column: str) -> int:
    """What the standing after a call states of it, with all that hangs on that: the call's row, the
    map and the tree. The figure is the same either way."""
    about = Entry.objects.filter(kind="standing_changed", about=call.animal_id)
    entry = about.filter(position__gt=call.position).earliest("position")
    leaf = bytes(entry.leaf).replace(before.encode(), after.encode())
    assert leaf != bytes(entry.leaf)
    as_superuser(
        f"UPDATE ledger_entry SET leaf = '\\x{leaf.hex()}', "
        f"leaf_hash = '\\x{leaf_hash(leaf).hex()}' WHERE position = {entry.position}",
        f"UPDATE calls_call SET {column} WHERE id = '{call.pk}'",
    )
    _map_anew()
    _regrow()
    return int(entry.position)


def _only_call_at_home() -> Call:
    """Its keeper's, on an animal that nobody else checked."""
    alone = Call.objects.filter(interested=True, blind=False, visit=None, identity="tub_tag")
    others = Call.objects.filter(animal=OuterRef("animal")).exclude(pk=OuterRef("pk"))
    return alone.filter(~Exists(others), anchored_to=None).order_by("position")[0]


def a_seller_s_own_call_as_blind() -> int:
    call = _only_call_at_home()
    return _restated(call, '"blind":false', '"blind":true', "blind = true")


def a_seller_s_own_call_as_without_interest() -> int:
    call = _only_call_at_home()
    return _restated(call, '"interested":true', '"interested":false', "interested = false")


def the_footing_of_whoever_made_a_call() -> int:
    call = _only_call_at_home()
    column = "footing = 'record'"
    return _restated(call, f'"footing":"{call.footing}"', '"footing":"record"', column)


def a_call_without_an_entry() -> int:
    at = tip().size
    as_superuser(
        "CREATE TEMP TABLE forged ON COMMIT DROP AS SELECT * FROM calls_call LIMIT 1",
        f"UPDATE forged SET id = gen_random_uuid(), position = {at}",
        "INSERT INTO calls_call SELECT * FROM forged",
    )
    return at


def _sealed() -> tuple[int, str]:
    """Where a late call that was admitted is sealed, and its id."""
    seal = Seal.objects.get(held__decision__admitted=True)
    return seal.position, str(seal.held_id)


def a_late_call_that_waits_taken_away() -> int:
    """Every row of it: a host with a friend at the database has it disappear."""
    at: int = Seal.objects.get(held__decision__admitted=False).position
    gone = f"(SELECT held_id FROM calls_seal WHERE position = {at})"
    as_superuser(
        f"DELETE FROM calls_helddecision WHERE held_id = {gone}",
        f"DELETE FROM calls_heldcall WHERE id = {gone}",
        f"DELETE FROM calls_seal WHERE position = {at}",
    )
    return at


def what_a_late_call_says() -> int:
    at, id = _sealed()
    turn_a_late_call(id)
    return at


def turn_a_late_call(id: str) -> None:
    """A male is a female."""
    says = "jsonb_set(submission, '{body,conclusion}', '\"female\"')"
    as_superuser(f"UPDATE calls_heldcall SET submission = {says} WHERE id = '{id}'")


def the_salt_of_a_seal() -> int:
    at, _ = _sealed()
    as_superuser(f"UPDATE calls_seal SET salt = {flipped('salt', 0)} WHERE position = {at}")
    return at


def when_a_late_call_came() -> int:
    at, id = _sealed()
    earlier = "SET received_at = received_at - interval '10 days'"
    as_superuser(f"UPDATE calls_heldcall {earlier} WHERE id = '{id}'")
    return at


def a_withdrawal_taken_away() -> int:
    at: int = Entry.objects.get(kind="call_withdrawn").position
    as_superuser("DELETE FROM calls_withdrawal")
    return at


def all_rows_of(table: str) -> None:
    as_superuser(f"DELETE FROM {table}")


def a_draft(told: World) -> None:
    """Of which the log says nothing, and that the books were not closed over yet."""
    sale = told.draft(told.animal("D9"))
    as_superuser(
        f"DELETE FROM sales_saleanimal WHERE sale_id = '{sale.pk}'",
        f"DELETE FROM sales_sale WHERE id = '{sale.pk}'",
    )


def a_standing() -> int:
    standing = Standing.objects.filter(label="contested").order_by("position")[0]
    as_superuser(
        f"UPDATE calls_standing SET label = 'verified male' WHERE position = {standing.position}"
    )
    return standing.position


def an_animal_in_another_visit() -> int:
    at: int = Entry.objects.filter(kind="visit_invited").order_by("position")[0].position
    as_superuser(
        "INSERT INTO visits_visitanimal (visit_id, animal_id) SELECT v.id, a.id FROM "
        f"visits_visit v, animals_animal a WHERE v.position = {at} AND a.id NOT IN "
        "(SELECT animal_id FROM visits_visitanimal WHERE visit_id = v.id) LIMIT 1"
    )
    return at


def the_species_of_an_animal() -> int:
    corrected = Entry.objects.get(kind="particulars_corrected")
    as_superuser(
        f"UPDATE animals_animal SET species = 'boa_imperator' WHERE id = '{corrected.about}'"
    )
    return corrected.position


def a_tile() -> int:
    as_superuser(f"UPDATE ledger_tile SET layers = {flipped('layers', 32 * 100 + 5)}")
    return 100


def a_layer_of_a_tile() -> int:
    """The node over hashes 100 and 101, which proofs read and no tile that is given out."""
    as_superuser(f"UPDATE ledger_tile SET layers = {flipped('layers', 32 * (256 + 50) + 5)}")
    return 100


def the_root_of_a_tile() -> int:
    as_superuser(f"UPDATE ledger_tile SET root = {flipped('root', 3)}")
    return 0


def the_head() -> int:
    as_superuser(f"UPDATE ledger_head SET root = {flipped('root', 3)}")
    return tip().size


def a_shorter_head() -> int:
    as_superuser("UPDATE ledger_head SET size = size - 1")
    return tip().size


def the_right_edge() -> int:
    as_superuser(f"UPDATE ledger_head SET frontier = {flipped('frontier', 12)}")
    return tip().size


def the_signed_head() -> int:
    as_superuser(f"UPDATE ledger_signedhead SET root = {flipped('root', 3)}")
    return SignedHead.objects.get().size


def a_checkpoint() -> int:
    as_superuser("UPDATE ledger_checkpoint SET note = replace(note, 'testserver', 'testsorver')")
    return min(size for size in Checkpoint.objects.values_list("size", flat=True) if size)


def the_root_beside_a_checkpoint() -> int:
    as_superuser(f"UPDATE ledger_checkpoint SET root = {flipped('root', 3)} WHERE size > 0")
    return min(size for size in Checkpoint.objects.values_list("size", flat=True) if size)


def a_photos_file() -> int:
    kept = PhotoFile.objects.order_by("photo")[0].photo_id
    changed = flipped("data", 200)
    as_superuser(f"UPDATE animals_photofile SET data = {changed} WHERE photo_id = '{kept}'")
    return Entry.objects.get(fact=kept).position


def a_text() -> int:
    at: int = Entry.objects.get(kind="finding_recorded").position
    as_superuser("UPDATE ledger_text SET text = text || '!' WHERE field = 'reasons'")
    return at


def delete_and_renumber() -> int:
    """A weight note is gone and everything after it moved down; the tree is left alone."""
    notes = Entry.objects.filter(kind="husbandry_noted").order_by("position")
    at = int(notes[0].position)
    _forget(at)
    return at


def delete_renumber_and_rebuild() -> int:
    """As before, with map, hashes, tiles and head made to fit: only what was signed tells."""
    at = _a_late_note()
    _forget(at)
    _map_anew()
    _regrow()
    return min(size for size in Checkpoint.objects.values_list("size", flat=True) if size > at)


def everything_that_tells() -> int:
    """As before, and what was signed is put out of the way too: nothing in the database is
    left to tell, only what others keep."""
    found = delete_renumber_and_rebuild()
    as_superuser("DELETE FROM ledger_checkpoint", "UPDATE ledger_signedhead SET size = 0")
    _make_the_books_anew()
    return found


def _make_the_books_anew() -> None:
    """Closed over what there is now, in the place of the only closing there was."""
    was = BookClosing.objects.get()
    entry = Entry.objects.get(position=was.position)
    as_superuser(*(f"DELETE FROM books_{one}" for one in ("booksalt", "bookline", "bookclosing")))
    books = write_lines()
    assert books is not None
    store_closing(was.position, books, was.at)
    before, after = leaf_of(entry).body["root"], root_of_books(books)
    leaf = bytes(entry.leaf).replace(before.encode(), after.encode())
    as_superuser(
        f"UPDATE ledger_entry SET leaf = '\\x{leaf.hex()}', "
        f"leaf_hash = '\\x{leaf_hash(leaf).hex()}' WHERE position = {was.position}"
    )
    _map_anew()
    _regrow()


def _map_anew() -> None:
    """The map of the entries that are left, and the last entry that states it."""
    stated = StatedMap.objects.latest("position")
    as_superuser("DELETE FROM ledger_mapsubject", "DELETE FROM ledger_mapnode")
    head = MapHead.objects.get()
    head.size, head.root = 0, NOTHING
    mapping._take_in(head, stated.position)
    head.size = stated.position + 1
    head.save()
    root = bytes(head.root).hex()
    entry = Entry.objects.get(position=stated.position)
    leaf = bytes(entry.leaf).replace(stated.root.encode(), root.encode())
    as_superuser(
        f"UPDATE ledger_statedmap SET root = '{root}' WHERE position = {stated.position}",
        f"UPDATE ledger_entry SET leaf = '\\x{leaf.hex()}', "
        f"leaf_hash = '\\x{leaf_hash(leaf).hex()}' WHERE position = {stated.position}",
    )


def _a_late_note() -> int:
    """One to which nothing after it refers by position."""
    return int(Entry.objects.filter(kind="husbandry_noted").order_by("-position")[2].position)


def _forget(at: int) -> None:
    tables = [*(table.store for table in TABLES if table.placed), "books_bookclosing"]
    moved = [
        f"UPDATE {table} SET position = {sign}position{step} WHERE position {side}"
        for table in ("ledger_entry", *tables)
        for sign, step, side in (("-", "", f"> {at}"), ("-", " - 1", "< 0"))
        if table == "ledger_entry" or _rows_after(table, at)
    ]
    as_superuser(
        f"DELETE FROM ledger_entry WHERE position = {at}",
        f"DELETE FROM animals_husbandry WHERE position = {at}",
        *moved,
    )


def _rows_after(table: str, at: int) -> bool:
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT count(*) FROM {table} WHERE position > {at}")
        return bool(cursor.fetchone()[0])


def _regrow() -> None:
    tree = Regrowth()
    hashes = [
        bytes(one) for one in Entry.objects.order_by("position").values_list("leaf_hash", flat=True)
    ]
    filled = tree.append(hashes)
    assert len(filled) == Tile.objects.count()
    tiles = [
        f"UPDATE ledger_tile SET layers = '\\x{one.layers.hex()}', root = '\\x{one.root.hex()}' "
        f"WHERE level = {one.place.level} AND index = {one.place.index}"
        for one in filled
    ]
    edge = tree.frontier()
    as_superuser(
        *tiles,
        f"UPDATE ledger_head SET size = {edge.size}, root = '\\x{edge.root().hex()}', "
        f"frontier = '\\x{edge.to_bytes().hex()}'",
    )


def a_count_in_the_map() -> int:
    call = a_call()
    as_superuser(
        f"UPDATE ledger_mapsubject SET count = count - 1 WHERE subject = '{call.animal_id}'"
    )
    return max(Entry.objects.filter(about=call.animal_id).values_list("position", flat=True))


def a_subject_taken_out_of_the_map() -> int:
    call = a_call()
    as_superuser(f"DELETE FROM ledger_mapsubject WHERE subject = '{call.animal_id}'")
    return min(Entry.objects.filter(about=call.animal_id).values_list("position", flat=True))


def a_stated_map() -> int:
    at = StatedMap.objects.order_by("position")[0].position
    as_superuser(f"UPDATE ledger_statedmap SET root = repeat('0', 64) WHERE position = {at}")
    return at


@dataclass(frozen=True)
class Tampering:
    change: Callable[[], int]
    store: str
    """Where the first difference is."""
    also: frozenset[str] = frozenset()
    says: str = ""


def row(change: Callable[[], int], store: str, says: str, *also: str) -> Tampering:
    return Tampering(change, store, frozenset(also), says)


TABLE = [
    row(one_byte_of_a_leaf, "ledger_entry", "the leaf cannot be read", "calls_call",
        "calls_standing", *ALL_OF_THE_TREE),
    row(a_leaf_and_its_hash, "ledger_tile", "tile 0/000", "calls_call", "calls_standing",
        "ledger_mapsubject", *ALL_OF_THE_TREE),
    row(a_signed_leaf_and_its_hash, "ledger_entry", "the signature does not fit", "calls_call",
        "calls_standing", "ledger_mapsubject", *ALL_OF_THE_TREE),
    row(another_key_for_a_device, "people_devicekey", "public"),
    row(a_rule_of_signatures_lifted, "people_signingrule", "required"),
    row(a_notice_from_long_ago, "people_signingnotice", ": at"),
    row(a_stop_taken_away, "people_signingnoticestop", "has no row"),
    row(an_endorsement_taken_away, "people_keyendorsement", "has no row"),
    row(a_witness_revoked_much_later, "ledger_witnessend", ": size"),
    row(a_sheet_that_passes_for_a_device, "people_devicekey", ": recovery"),
    row(a_column_beside_a_leaf, "ledger_entry", "columns that are not the leaf's: by",
        "calls_standing"),
    row(when_a_call_came_in, "ledger_entry", "not the leaf's: received_at", "calls_call"),
    row(what_a_call_is_flagged_with, "ledger_entry", "not the leaf's: flags", "calls_call"),
    row(an_entry_without_a_stamp, "ledger_entry", "version 1 after one of version 2",
        "ledger_signedhead", "ledger_checkpoint", "ledger_mapsubject"),
    row(a_call_row, "calls_call", "conclusion"),
    row(the_blindness_of_a_call, "calls_call", "blind"),
    row(a_seller_s_own_call_as_blind, "calls_standing", "its sender has an interest",
        "ledger_signedhead", "ledger_checkpoint"),
    row(a_seller_s_own_call_as_without_interest, "calls_standing", "its sender kept it",
        "ledger_signedhead", "ledger_checkpoint"),
    row(the_footing_of_whoever_made_a_call, "calls_standing", "their own record gave them none",
        "ledger_signedhead", "ledger_checkpoint"),
    row(a_call_without_an_entry, "calls_call", "no entry calls for"),
    row(a_late_call_that_waits_taken_away, "calls_heldcall", "that was sealed is gone",
        "calls_seal", "calls_helddecision", "ledger_text"),
    row(what_a_late_call_says, "calls_heldcall", "not the one that was sealed"),
    row(the_salt_of_a_seal, "calls_heldcall", "not the one that was sealed", "ledger_entry"),
    row(when_a_late_call_came, "calls_heldcall", "another animal or time"),
    row(a_withdrawal_taken_away, "calls_withdrawal", "has no row"),
    row(a_standing, "calls_standing", "label"),
    row(an_animal_in_another_visit, "visits_visitanimal", "no entry calls for"),
    row(the_species_of_an_animal, "animals_animal", "species"),
    row(a_tile, "ledger_tile", "tile 0/000"),
    row(a_layer_of_a_tile, "ledger_tile", "tile 0/000"),
    row(the_root_of_a_tile, "ledger_tile", "root of tile 0/000"),
    row(the_head, "ledger_head", "not the root"),
    row(a_shorter_head, "ledger_entry", "past the head", "ledger_head", "animals_identifier"),
    row(the_right_edge, "ledger_head", "right edge"),
    row(the_signed_head, "ledger_signedhead", "not the root"),
    row(a_checkpoint, "ledger_checkpoint", "does not open"),
    row(the_root_beside_a_checkpoint, "ledger_checkpoint", "another tree than its row"),
    row(a_count_in_the_map, "ledger_mapsubject", "other entries", "ledger_mapnode",
        "ledger_maphead"),
    row(a_subject_taken_out_of_the_map, "ledger_mapsubject", "is missing", "ledger_mapnode",
        "ledger_maphead"),
    row(a_stated_map, "ledger_statedmap", "root"),
    row(a_photos_file, "animals_photofile", "not the one that the entry names"),
    row(a_text, "ledger_text", "reasons"),
    row(delete_and_renumber, "ledger_tile", "tile 0/000", "ledger_entry", "calls_standing",
        "ledger_mapsubject", *ALL_OF_THE_TREE),
    row(delete_renumber_and_rebuild, "ledger_signedhead", "not the root", "ledger_checkpoint"),
]  # fmt: skip
