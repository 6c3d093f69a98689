"""What a keeper's device thinks of facts in its keeper's name, from their entries alone."""

from datetime import UTC, datetime, timedelta
from itertools import count
from typing import Any

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from msgspec.structs import replace

from scalewitness.domain.moments import to_the_microsecond
from scalewitness.domain.translog.leaf import STATED, Leaf, StampedLeaf
from scalewitness.domain.translog.own_word import ALARMING, OF_KEYS, OwnWord, own_word
from scalewitness_cli.devicekey import DeviceKey

ME = "6b7c0a52-3f7e-4d83-9f62-0d5f0a1f6a01"
ANIMAL = "0190a2b4-0000-7000-8000-00000000a001"
AT = "2026-11-01T09:00:00.000Z"
NUMBERS = count(1)


def device(number: int) -> DeviceKey:
    id = f"6b7c0a52-3f7e-4d83-9f62-0d5f0a1f6b{number:02}"
    return DeviceKey(Ed25519PrivateKey.generate(), keeper=ME, device=id)


def fact(kind: str, body: dict[str, Any], key: DeviceKey | None, about: str = ME) -> Leaf:
    """An entry; signed by ``key``, or by nobody on a page."""
    id = f"0190a2b4-0000-7000-8000-{next(NUMBERS):012}"
    said = {"id": id, "kind": kind, "at": AT, "about": about, "body": body}
    sent = key.signed(said) if key else {**said, "sig": None}
    held = {"by": ME, "device": key.device if key else None}
    plain = {name: sent[name] for name in ("id", "kind", "at", "about", "body", "sig")}
    return Leaf(**held, **plain)


def enrolled(key: DeviceKey) -> Leaf:
    return fact("device_key_enrolled", {"device": key.device, "key": key.public}, key)


def endorsed(by: DeviceKey, other: DeviceKey) -> Leaf:
    return fact("device_key_endorsed", {"device": other.device, "key": other.public}, by)


def ruled(by: DeviceKey, **body: bool) -> Leaf:
    return fact("signatures_required", body, by)


def revoked(by: DeviceKey | None, other: DeviceKey) -> Leaf:
    return fact("device_revoked", {"device": other.device}, by)


def note(key: DeviceKey | None) -> Leaf:
    body = {"noted": {"type": "weight", "grams": "12"}}
    return fact("husbandry_noted", body, key, ANIMAL)


def after(leaf: Leaf, **delta: float) -> StampedLeaf:
    """The entry as of version 2, received so long after the notice of these tests."""
    received = to_the_microsecond(datetime(2026, 11, 2, tzinfo=UTC) + timedelta(**delta))
    members = {name: getattr(leaf, name) for name in STATED}
    return StampedLeaf(**members, sig=leaf.sig, received=received, flags=())


def notice(key: DeviceKey | None = None) -> Leaf:
    return fact("signing_notice_given", {}, key)


def stopped(by: DeviceKey | None, given: Leaf) -> Leaf:
    return fact("signing_notice_stopped", {"notice": given.id}, by)


def printed(key: DeviceKey) -> Leaf:
    """A key on paper is enrolled."""
    body = {"device": key.device, "key": key.public, "recovery": True}
    return fact("device_key_enrolled", body, key)


MINE, OTHER, THIRD, PAPER = device(1), device(2), device(3), device(4)


def word(*entries: Leaf) -> OwnWord:
    """Of :data:`MINE`, at positions from 0."""
    return own_word({MINE.public}, enumerate([enrolled(MINE), *entries]))


def test_what_my_key_signed_is_mine() -> None:
    assert word().doubt(note(MINE), 9) is None


def test_what_is_unsigned_is_in_doubt_and_under_the_rule_proof() -> None:
    sent = replace(note(None), device=MINE.device)
    for leaf, plain in ((note(None), "page"), (sent, "unsigned")):
        assert word().doubt(leaf, 9) == plain
        assert word(ruled(MINE)).doubt(leaf, 9) == "unsigned_ruled"
        assert word(ruled(MINE)).doubt(leaf, 1) == plain, "made before it"
        assert word(ruled(MINE), ruled(MINE, required=False)).doubt(leaf, 9) == plain


def test_a_rule_or_its_end_counts_only_from_a_trusted_key() -> None:
    assert word(enrolled(OTHER), ruled(OTHER)).doubt(note(None), 9) == "page"
    lifted = word(ruled(MINE), enrolled(OTHER), ruled(OTHER, required=False))
    assert lifted.doubt(note(None), 9) == "unsigned_ruled"
    assert lifted.doubt(ruled(OTHER, required=False), 3) == "by_password"
    unsigned = fact("signatures_required", {"required": False}, None)
    assert word(ruled(MINE), unsigned).doubt(note(None), 9) == "unsigned_ruled"


def test_a_key_enrolled_in_my_name_is_in_doubt_until_a_trusted_one_endorses_it() -> None:
    found = word(enrolled(OTHER))
    assert found.doubt(enrolled(OTHER), 1) == "by_password"
    assert found.doubt(note(OTHER), 9) == "by_password"
    assert word(enrolled(OTHER), endorsed(MINE, OTHER)).doubt(note(OTHER), 9) is None


def test_strangers_endorse_nobody_and_the_chain_begins_with_my_own_key() -> None:
    each_other = [enrolled(OTHER), enrolled(THIRD), endorsed(OTHER, THIRD), endorsed(THIRD, OTHER)]
    assert word(*each_other, endorsed(OTHER, MINE)).doubt(note(THIRD), 9) == "by_password"
    chain = [enrolled(OTHER), enrolled(THIRD), endorsed(MINE, OTHER), endorsed(OTHER, THIRD)]
    assert word(*chain).doubt(note(THIRD), 9) is None


def test_an_endorsement_is_of_the_very_key_that_was_enrolled() -> None:
    other_key = fact("device_key_endorsed", {"device": OTHER.device, "key": THIRD.public}, MINE)
    assert word(enrolled(OTHER), other_key).doubt(note(OTHER), 9) == "by_password"
    forged = replace(endorsed(MINE, OTHER), sig=endorsed(OTHER, THIRD).sig)
    assert word(enrolled(OTHER), forged).doubt(note(OTHER), 9) == "by_password"


@pytest.mark.parametrize("how", ["altered", "moved", "no key"])
def test_a_signature_that_fits_nothing_is_proof(how: str) -> None:
    leaf, found = note(MINE), word()
    if how == "altered":
        leaf = replace(leaf, body={"noted": {"type": "weight", "grams": "13"}})
    elif how == "moved":
        leaf = replace(leaf, about=ME)
    else:
        leaf = note(OTHER)
    assert found.doubt(leaf, 9) == ("unknown_key" if how == "no key" else "forged")
    assert found.doubt(leaf, 9) in ALARMING


def test_what_a_revoked_key_signs_later_is_proof_and_what_it_signed_stays() -> None:
    found = word(enrolled(OTHER), endorsed(MINE, OTHER), revoked(None, OTHER))
    assert found.doubt(note(OTHER), 2) is None
    assert found.doubt(note(OTHER), 4) == "revoked"
    assert found.doubt(revoked(None, OTHER), 3) == "page"


def test_what_a_revoked_key_signs_later_is_not_believed() -> None:
    """It is proof, and whoever answers that does not trust by it what the thief endorsed."""
    ended = [enrolled(OTHER), endorsed(MINE, OTHER), revoked(MINE, OTHER)]
    by_it = word(*ended, enrolled(THIRD), endorsed(OTHER, THIRD))
    assert by_it.doubt(note(THIRD), 9) == "by_password"
    lifted = word(*ended, ruled(MINE), ruled(OTHER, required=False))
    assert lifted.doubt(note(None), 9) == "unsigned_ruled"
    story = [*ended, ruled(MINE), GIVEN, after(stopped(OTHER, GIVEN), days=3)]
    assert word(*story).doubt(after(note(None), days=20), 9) == "page"


def test_a_device_that_nobody_endorsed_revokes_as_a_page_does() -> None:
    """As a browser that signs: signed, it is worth no less than unsigned."""
    story = [enrolled(OTHER), endorsed(MINE, OTHER), enrolled(THIRD)]
    assert word(*story, revoked(THIRD, OTHER)).doubt(note(OTHER), 9) == "revoked"
    forged = replace(revoked(THIRD, OTHER), sig=revoked(MINE, OTHER).sig)
    assert word(*story, forged).doubt(note(OTHER), 9) is None
    under = [*story, ruled(MINE)]
    assert word(*under, revoked(THIRD, OTHER)).doubt(note(OTHER), 9) is None
    assert word(*under, revoked(THIRD, THIRD)).doubt(note(THIRD), 9) == "revoked"


def test_a_second_key_of_a_device_changes_nothing() -> None:
    """Else the record could turn a phone into a recovery key, which states no rule."""
    key = Ed25519PrivateKey.generate()
    slipped_in = printed(DeviceKey(key, keeper=ME, device=MINE.device))
    assert word(slipped_in, ruled(MINE)).doubt(note(None), 9) == "unsigned_ruled"


@pytest.mark.parametrize("kind", sorted(OF_KEYS))
@pytest.mark.parametrize("body", [{}, {"device": []}, {"device": None, "key": 5, "notice": []}])
def test_what_is_of_no_such_shape_is_judged_all_the_same(kind: str, body: dict[str, Any]) -> None:
    """Whoever writes past the record cannot keep a client from judging the rest."""
    for key in (None, MINE):
        odd = replace(note(key), kind=kind, body=body)
        assert word(ruled(MINE), odd).doubt(note(None), 9) == "unsigned_ruled"


def test_a_moment_that_is_none_ends_no_rule() -> None:
    never = replace(GIVEN, received="2026-99-99T99:99:99.000000Z")
    assert word(ruled(MINE), never).doubt(after(note(None), days=99), 9) == "unsigned_ruled"
    late = replace(after(note(None)), received=never.received)
    assert word(ruled(MINE), GIVEN).doubt(late, 9) == "unsigned_ruled"


def test_under_the_rule_nobody_revokes_without_a_signature() -> None:
    """Whoever runs the record cannot silence a keeper's devices."""
    found = word(ruled(MINE), revoked(None, MINE))
    assert found.doubt(revoked(None, MINE), 2) == "unsigned_ruled"
    assert found.doubt(note(MINE), 9) is None


def test_the_order_in_which_entries_came_does_not_matter() -> None:
    entries = list(enumerate([enrolled(MINE), enrolled(OTHER), endorsed(MINE, OTHER)]))
    assert own_word({MINE.public}, reversed(entries)).doubt(note(OTHER), 9) is None


FORTNIGHT = {"days": 14}
BEFORE = {"days": 13, "hours": 23, "minutes": 59, "seconds": 59.999}
GIVEN = after(notice())


def test_a_notice_is_told_of_and_ends_the_rule_after_exactly_fourteen_days() -> None:
    found = word(ruled(MINE), GIVEN)
    assert found.doubt(GIVEN, 2) == "notice"
    assert "notice" not in ALARMING, "a record that keeps its rules takes it"
    assert found.doubt(after(note(None), **BEFORE), 9) == "unsigned_ruled"
    assert found.doubt(after(note(None), **FORTNIGHT), 9) == "page"
    assert found.doubt(after(note(MINE), days=1), 9) is None


def test_an_entry_that_tells_no_time_gains_nothing_by_a_notice() -> None:
    assert word(ruled(MINE), GIVEN).doubt(note(None), 9) == "unsigned_ruled"
    untold = word(ruled(MINE), notice())
    assert untold.doubt(notice(), 2) == "unsigned_ruled"
    assert untold.doubt(after(note(None), days=99), 9) == "unsigned_ruled"


def test_a_trusted_key_stops_a_notice_and_no_other_key_does() -> None:
    story = [ruled(MINE), enrolled(OTHER), GIVEN]
    late = after(note(None), days=20)
    assert word(*story, after(stopped(MINE, GIVEN), days=3)).doubt(late, 9) == "unsigned_ruled"
    for no_stop in (stopped(OTHER, GIVEN), stopped(None, GIVEN), stopped(MINE, notice())):
        assert word(*story, after(no_stop, days=3)).doubt(late, 9) == "page"


def test_what_came_too_late_stops_nothing() -> None:
    found = word(ruled(MINE), GIVEN, after(stopped(MINE, GIVEN), **FORTNIGHT))
    assert found.doubt(after(note(None), days=20), 9) == "page"


def test_a_second_notice_moves_no_day_and_is_proof() -> None:
    second = after(notice(), days=3)
    found = word(ruled(MINE), GIVEN, second)
    assert found.doubt(second, 3) == "unsigned_ruled"
    assert found.doubt(after(note(None), **FORTNIGHT), 9) == "page"


def test_after_a_stop_another_notice_runs_anew() -> None:
    second = after(notice(), days=4)
    found = word(ruled(MINE), GIVEN, after(stopped(MINE, GIVEN), days=3), second)
    assert found.doubt(second, 4) == "notice"
    assert found.doubt(after(note(None), days=17), 9) == "unsigned_ruled"
    assert found.doubt(after(note(None), days=18), 9) == "page"


def test_a_notice_before_the_rule_or_from_a_device_is_none_and_a_later_rule_outlives_it() -> None:
    late = after(note(None), days=20)
    assert word(GIVEN, ruled(MINE)).doubt(late, 9) == "unsigned_ruled"
    assert word(ruled(MINE), GIVEN, ruled(MINE)).doubt(late, 9) == "unsigned_ruled"
    for other in (notice(MINE), replace(notice(), device=MINE.device)):
        assert word(ruled(MINE), after(other)).doubt(late, 9) == "unsigned_ruled"


def test_keys_end_on_a_page_again_once_a_notice_has_ended_the_rule() -> None:
    lost = after(revoked(None, MINE), **FORTNIGHT)
    assert word(ruled(MINE), GIVEN, lost).doubt(after(note(MINE), days=20), 9) == "revoked"


COUNTS = [ruled(MINE), printed(PAPER), endorsed(MINE, PAPER)]


def test_a_recovery_key_that_counts_lifts_the_rule_endorses_and_revokes() -> None:
    assert word(*COUNTS).doubt(COUNTS[1], 2) is None
    lifted = ruled(PAPER, required=False)
    found = word(*COUNTS, lifted)
    assert found.doubt(note(None), 9) == "page"
    assert found.doubt(lifted, 4) == "recovery", "its keeper is asked whether that was them"
    assert "recovery" not in ALARMING
    story = [*COUNTS, enrolled(OTHER), endorsed(PAPER, OTHER), revoked(PAPER, MINE)]
    assert word(*story).doubt(note(OTHER), 9) is None
    assert word(*story).doubt(note(MINE), 9) == "revoked"


def test_a_recovery_key_that_nothing_endorsed_does_none_of_it() -> None:
    """The record should not have taken it; no client knows that all of its keeper's keys are own,
    so it asks."""
    story = [ruled(MINE), printed(PAPER), enrolled(OTHER)]
    lifted = ruled(PAPER, required=False)
    found = word(*story, endorsed(PAPER, OTHER), revoked(PAPER, MINE), lifted)
    assert found.doubt(note(None), 9) == "unsigned_ruled"
    assert found.doubt(note(OTHER), 9) == "by_password"
    assert found.doubt(note(MINE), 9) is None
    assert found.doubt(lifted, 6) == "by_password"


def test_what_a_recovery_key_signs_beyond_that_is_proof() -> None:
    more = [note(PAPER), ruled(PAPER), stopped(PAPER, GIVEN)]
    for leaf in more:
        assert word(*COUNTS).doubt(leaf, 9) == "recovery_misused"
        assert word(printed(PAPER)).doubt(leaf, 9) == "recovery_misused", "trusted or not"
    assert "recovery_misused" in ALARMING
    late = after(note(None), days=20)
    assert word(*COUNTS, GIVEN, after(more[2], days=3)).doubt(late, 9) == "page"
    lifted = [*COUNTS, ruled(MINE, required=False), ruled(PAPER)]
    assert word(*lifted).doubt(note(None), 9) == "page", "it states no rule"
