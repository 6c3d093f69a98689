"""Every kind of fact as one plain sentence, from its logged body alone.

Ids stay ids: who or what they stand for is not in the log.
"""

from collections.abc import Callable, Mapping
from typing import Any, Final, TypeAlias

import msgspec

from scalewitness.domain.arrivals import ARRIVED_IN_WORDS
from scalewitness.domain.clocks import correction_in_words
from scalewitness.domain.facts import Corrected
from scalewitness.domain.findings import on_whose_word
from scalewitness.domain.genetics.stated import BASES_IN_WORDS, SAYS_IN_WORDS
from scalewitness.domain.methods import METHODS
from scalewitness.domain.sales import WHY_RELEASED
from scalewitness.domain.season.events import SEEN

Body: TypeAlias = Mapping[str, Any]


def in_words(kind: str, body: Body) -> str:
    """The sentence for a fact; for a kind of a later version, its name."""
    words = _WORDS.get(kind)
    if words is None:
        return f"A fact of the kind “{kind}”, which this version does not know."
    sentence = words if isinstance(words, str) else words(body)
    return f"{sentence}{_of_its_time(body.get('corrected'))}"


def _of_its_time(corrected: object) -> str:
    """Of a later version's, which this one cannot read, nothing."""
    try:
        return f" {correction_in_words(msgspec.convert(corrected, Corrected))}"
    except (msgspec.ValidationError, ValueError, OverflowError):
        return ""


def _call(body: Body) -> str:
    method = str(body.get("observed", {}).get("method", ""))
    by = METHODS[method].noun if method in METHODS else _spaced(method) or "an examination"
    reported = body.get("reported")
    what = f"A call by {by}; the conclusion: {body.get('conclusion')}"
    if reported:
        whose = _spaced(reported.get("role"))
        return f"{what}. Who made it: {whose}; it is its sender's word until that is confirmed."
    return f"{what}."


def _standing(body: Body) -> str:
    share = body.get("p_male")
    return f"The record's own standing of the animal: {body.get('label')} (chance of male {share})."


def _season_note(body: Body) -> str:
    what = str(body.get("what"))
    return f"Of a pairing on {body.get('on')}: {SEEN.get(what) or _spaced(what)}."


def _offer(body: Body) -> str:
    labels = ", ".join(str(one.get("label")) for one in body.get("represents", ()))
    days = body.get("recheck_days")
    return f"An offer of sale, representing the sex as: {labels}; {days} days to recheck."


def _custody(body: Body) -> str:
    if body.get("why") == "returned" and body.get("sale"):
        return "Its keeper says that an animal came back from its sale."
    return f"An animal changed hands: {_spaced(body.get('why'))}."


def _arrival(body: Body) -> str:
    answered = ARRIVED_IN_WORDS.get(body.get("answer", ""), _spaced(body.get("answer")))
    read = body.get("read")
    return f"On arrival: {answered}{f'; the transponder read is {read}' if read else ''}."


def _release_asked(body: Body) -> str:
    why = WHY_RELEASED.get(str(body.get("why")), _spaced(body.get("why")))
    return f"The seller says that {why}, and asks the buyer to release what they had bought."


def _disclosure(body: Body) -> str:
    was, now = (body.get(side, {}).get("label") for side in ("was", "now"))
    return f"A disclosure owed to a buyer: the standing was “{was}” and is now “{now}”."


def _finding(body: Body) -> str:
    """By its recorder's word alone: what others say of it are facts of their own."""
    count, more = len(body.get("set_aside", ())), len(body.get("proposed", ()))
    aside = f", {count} set aside" if count else ""
    aside += f", {more} proposed to be set aside" if more else ""
    word = on_whose_word("keeper", body.get("basis") or "", {})
    return f"The finding of a dispute: {_spaced(body.get('outcome'))}{aside}. {word}"


def _finding_answer(body: Body) -> str:
    count = len(body.get("set_aside", ()))
    aside = f", {count} set aside by that" if count else ""
    agrees = "agrees" if body.get("agrees") else "does not agree"
    return f"Somebody who was asked {agrees} to the finding of a dispute{aside}."


def _voucher(body: Body) -> str:
    ends = body.get("vouches") is False
    practice = body.get("practice")
    what = f"states that an account is a {practice}'s" if practice else "vouches for an examiner"
    return f"A keeper {what}{', no longer' if ends else ''}."


def _key(body: Body) -> str:
    if body.get("recovery"):
        return "A keeper made a recovery key, to be kept on paper."
    return "A device was given the key it signs with."


def _signatures(body: Body) -> str:
    if body.get("required") is False:
        return "A keeper's facts count without a signature again."
    return "From here on nothing counts in a keeper's name but what a device of theirs signed."


def _joining(body: Body) -> str:
    who = "An arbiter" if body.get("finding") else "The keeper of one record"
    agrees = "agrees" if body.get("agrees") else "does not agree"
    return f"{who} {agrees} to what the other's says: whether both are of one snake."


def _late(body: Body) -> str:
    return f"The host {'admitted' if body.get('admitted') else 'declined'} a call that came late."


def _answer(body: Body) -> str:
    return f"Whoever a call was reported of {_spaced(body.get('answer'))} it."


def _quoted(body: Body) -> str:
    size = body.get("size")
    as_of = f" as of its position {size - 1}" if isinstance(size, int) else ""
    return f"What the log {body.get('origin')} says{as_of} was quoted. It is not counted here."


def _origin(body: Body) -> str:
    old, new = (str(body.get(key, "")).partition("+")[0] for key in ("old_key", "new_key"))
    lost = f"{body.get('missing')} later ones that others have seen are missing"
    return f"The log {old} was closed at {body.get('kept')} entries and goes on as {new}; {lost}."


def _erased(body: Body) -> str:
    whose = {"author": "by wish of whose it was", "operator": "by the operator's wish"}
    by = whose.get(str(body.get("wish")), "by a rule of the record")
    return f"Something was erased, {by}: {_spaced(body.get('what'))}."


def noted_in_words(body: Body) -> str:
    """What was noted of an animal's keeping."""
    noted = body.get("noted", {})
    words = _NOTED.get(str(noted.get("type")))
    return words(noted) if words else "Something about the animal's keeping was noted."


def _meal(noted: Body) -> str:
    what = "Took a meal" if noted.get("taken") else "Refused a meal"
    return f"{what} of {noted['grams']} g." if noted.get("grams") else f"{what}."


_NOTED: Final[dict[str, Callable[[Body], str]]] = {
    "weight": lambda noted: f"Weighed: {noted.get('grams')} g.",
    "meal": _meal,
    "shed": lambda noted: f"In its shed: {noted.get('stage')}.",
    "remark": lambda noted: "Noted of its keeping in words.",
    "health": lambda noted: f"Its state: {_spaced(noted.get('sign'))}.",
}


def _trait(body: Body) -> str:
    """What is in somebody's own words is not in the log."""
    says, basis = str(body.get("says")), str(body.get("basis"))
    trait = _spaced(body.get("allele") or body.get("locus")) or "a trait, told in words"
    stated = f"{SAYS_IN_WORDS.get(says, _spaced(says))} {trait}"
    chance = f" (chance {body.get('chance')})" if body.get("chance") else ""
    known = BASES_IN_WORDS.get(basis, _spaced(basis))
    return f"Somebody states that the animal {stated}{chance}, {known}."


def _spaced(word: object) -> str:
    return str(word or "").replace("_", " ")


def _photo(body: Body) -> str:
    return f"A photo of {'a check' if body.get('of') else 'the animal'}, {body.get('size')} bytes."


def _why(words: Mapping[str, str]) -> Callable[[Body], str]:
    """Of a later version's words, that it is one."""
    return lambda body: words.get(str(body.get("why")), "Its keeper says what became of it.")


def _from(template: str, *fields: str) -> Callable[[Body], str]:
    return lambda body: template.format(*(_spaced(body.get(field)) for field in fields))


ENDED: Final[Mapping[str, str]] = {
    "died": "Its keeper says that the animal died.",
    "lost": "Its keeper says that the animal is lost.",
    "stolen": "Its keeper says that the animal was stolen.",
}
"""By why an animal is no longer there."""
CORRECTED: Final[Mapping[str, str]] = {
    "found": "Its keeper says that the animal was found again.",
    "mistake": "Its keeper says that its end was stated by mistake.",
}

_WORDS: Final[dict[str, str | Callable[[Body], str]]] = {
    "grant_given": _from("Access to a collection was given, as {}.", "role"),
    "grant_revoked": "Access to a collection was ended.",
    "device_key_enrolled": _key,
    "device_revoked": "A device was revoked; it signs nothing from here on.",
    "device_key_endorsed": "A device's key was endorsed by another device of the same keeper.",
    "signatures_required": _signatures,
    "signing_notice_given": (
        "A keeper gave notice that all their devices are lost: in fourteen days their facts count "
        "without a signature again, unless a device of theirs stops it."
    ),
    "signing_notice_stopped": "A keeper's device stopped the notice that all of them are lost.",
    "witness_revoked": (
        "A keeper revoked a witness key of theirs: what it says of later trees is worth nothing."
    ),
    "keeper_vouched": _voucher,
    "animal_registered": _from("An animal was registered: {}.", "species"),
    "particulars_corrected": _from("An animal's particulars were corrected: {}.", "species"),
    "identifier_assigned": _from("An animal was given a {}: {}.", "scheme", "code"),
    "identifier_withdrawn": _from(
        "A {} was withdrawn, as not the animal's own: {}.", "scheme", "code"
    ),
    "joining_proposed": _from(
        "Its keeper says that the other record with the number {} is of this snake too.", "code"
    ),
    "parting_proposed": (
        "Its keeper says that the record that it was joined with is of another snake."
    ),
    "joining_answered": _joining,
    "husbandry_noted": noted_in_words,
    "photo_attached": _photo,
    "custody_changed": _custody,
    "animal_ended": _why(ENDED),
    "end_corrected": _why(CORRECTED),
    "registered_in_error": "Its keeper says that the animal was registered in error.",
    "linkage_stated": _from("A trait's inheritance with sex was stated: {}.", "trait"),
    "trait_stated": _trait,
    "trait_withdrawn": "A statement of a trait was withdrawn by whoever made it.",
    "claim_fell": _from("Under its proved parents a claimed trait has a chance of {}.", "chance"),
    "claim_restored": "A claimed trait that had fallen stands again.",
    "record_quoted": _quoted,
    "visit_invited": "A keeper was invited to check animals.",
    "visit_accepted": "The invitation to a visit was accepted.",
    "visit_declined": "The invitation to a visit was declined.",
    "visit_cancelled": "A visit was cancelled.",
    "call_made": _call,
    "call_withdrawn": "A call was withdrawn by its examiner.",
    "call_refiled": "A check that was filed on another animal was one of this.",
    "call_objected": _from("Somebody objected to a call: {}.", "ground"),
    "report_answered": _answer,
    "document_read": "A keeper read the document that a call names.",
    "witness_stated": "A keeper saw the eggs, slugs or young that a call is about.",
    "witness_withdrawn": "A keeper withdrew what they had stated of a call.",
    "report_reopened": "What stands behind a report was judged anew.",
    "photos_compared": _from(
        "A keeper laid a photo of a check beside an earlier one: {} animal.", "answer"
    ),
    "call_held": "A call came late, and waits under seal for the animal's host.",
    "late_call_decided": _late,
    "standing_changed": _standing,
    "policy_adopted": _from("The record adopted the labelling policy {}.", "version"),
    "numbers_adopted": _from("The record adopted the numbers {} that it had learned.", "version"),
    "origin_succeeded": _origin,
    "books_closed": "What the record keeps outside the log was closed into it.",
    "data_erased": _erased,
    "map_root": "The record stated what it holds of each animal, so that a reader can check it.",
    "examiner_record_changed": "An examiner's record was updated.",
    "founder_named": "The operator named a founder of this record.",
    "deceit_found": "A finding says that a keeper deceived; their word verifies nothing.",
    "one_person_found": (
        "A finding names two accounts that spoke of an animal as one person's; both may object."
    ),
    "pairing_planned": _from("Two animals are planned to be paired for {}.", "season"),
    "pairing_dropped": "A planned pairing was dropped.",
    "pairing_agreed": "A keeper agreed to a planned pairing.",
    "plan_affected": _from("What pairings planned for {} rest on changed.", "season"),
    "season_noted": _season_note,
    "season_note_withdrawn": "A note of a pairing was withdrawn.",
    "offer_made": _offer,
    "offer_withdrawn": "An offer was withdrawn.",
    "offer_declined": "An offer was declined by the buyer.",
    "offer_lapsed": "An offer lapsed: it was not confirmed, or not paid, in time.",
    "sale_confirmed": _from("The buyer confirmed the sale, having seen position {}.", "seen"),
    "check_requested": "The buyer asked for an independent check.",
    "sale_held": _from("The sale was held: {}.", "reason"),
    "payment_recorded": "Payment for a sale was noted.",
    "release_asked": _release_asked,
    "release_agreed": "The buyer agreed that what they had bought may go to others.",
    "release_denied": "The buyer denied what the seller says of the payment.",
    "handed_over": "The animal of a sale was handed over.",
    "arrival_compared": _arrival,
    "sale_closed": "A sale was closed.",
    "return_answered": _from("The buyer answered that the return is {}.", "answer"),
    "disclosure_owed": _disclosure,
    "disclosure_acknowledged": "A disclosure was acknowledged.",
    "dispute_opened": _from("A dispute was opened: {}.", "ground"),
    "statement_made": "A party to a dispute made a statement.",
    "finding_recorded": _finding,
    "finding_answered": _finding_answer,
}
