"""Each kind of fact with the rows it must have left: one small function a kind.

This says once more what the apps' services write, on purpose: a row is right when two
hands, reading the same entry, arrive at the same values.
"""

from collections.abc import Callable

from scalewitness.domain.sales import MAY
from scalewitness.fsck.past import Past
from scalewitness.fsck.projections import animals, calls, people, record, sales, season, traits
from scalewitness.fsck.projections.row import Rows
from scalewitness.fsck.reading import LoggedFact

PROJECTIONS: dict[str, Callable[[LoggedFact, Past], Rows]] = {
    "grant_given": people.grant_given,
    "grant_revoked": people.grant_revoked,
    "device_key_enrolled": people.device_key_enrolled,
    "device_revoked": people.device_revoked,
    "device_key_endorsed": people.device_key_endorsed,
    "signatures_required": people.signatures_required,
    "signing_notice_given": people.signing_notice_given,
    "signing_notice_stopped": people.signing_notice_stopped,
    "witness_revoked": people.witness_revoked,
    "animal_registered": animals.animal_registered,
    "particulars_corrected": animals.particulars_corrected,
    "identifier_assigned": animals.identifier_assigned,
    "identifier_withdrawn": animals.identifier_withdrawn,
    "joining_proposed": animals.joining_proposed,
    "parting_proposed": animals.parting_proposed,
    "joining_answered": animals.joining_answered,
    "husbandry_noted": animals.husbandry_noted,
    "photo_attached": animals.photo_attached,
    "custody_changed": animals.custody_changed,
    "animal_ended": animals.animal_ended,
    "end_corrected": animals.end_corrected,
    "registered_in_error": animals.registered_in_error,
    "linkage_stated": animals.linkage_stated,
    "trait_stated": traits.trait_stated,
    "trait_withdrawn": traits.trait_withdrawn,
    "keeper_vouched": people.keeper_vouched,
    "founder_named": people.founder_named,
    "deceit_found": people.deceit_found,
    "one_person_found": people.one_person_found,
    "visit_invited": people.visit_invited,
    "visit_accepted": people.visit_accepted,
    "visit_declined": people.visit_declined,
    "visit_cancelled": people.visit_cancelled,
    "call_made": calls.call_made,
    "call_withdrawn": calls.call_withdrawn,
    "call_refiled": calls.call_refiled,
    "call_objected": calls.call_objected,
    "report_answered": calls.report_attested,
    "document_read": calls.report_attested,
    "witness_stated": calls.report_attested,
    "witness_withdrawn": calls.report_attested,
    "report_reopened": calls.report_attested,
    "photos_compared": calls.photos_compared,
    "call_held": calls.call_held,
    "late_call_decided": calls.late_call_decided,
    "standing_changed": record.standing_changed,
    "policy_adopted": record.policy_adopted,
    "numbers_adopted": record.numbers_adopted,
    "examiner_record_changed": record.examiner_record_changed,
    "origin_succeeded": record.origin_succeeded,
    "books_closed": record.books_closed,
    "data_erased": record.data_erased,
    "map_root": record.map_root,
    "pairing_planned": animals.pairing_planned,
    "pairing_dropped": animals.pairing_dropped,
    "pairing_agreed": animals.pairing_agreed,
    "plan_affected": animals.plan_affected,
    "season_noted": season.season_noted,
    "season_note_withdrawn": season.season_note_withdrawn,
    **dict.fromkeys(MAY, sales.sale_step),
    "offer_made": sales.offer_made,
    "disclosure_owed": sales.disclosure_owed,
    "disclosure_acknowledged": sales.disclosure_acknowledged,
    "dispute_opened": sales.dispute_opened,
    "statement_made": sales.statement_made,
    "finding_recorded": sales.finding_recorded,
    "finding_answered": sales.finding_answered,
}
