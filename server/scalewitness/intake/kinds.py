"""Which rule judges which kind of fact."""

from collections.abc import Callable

from scalewitness.domain.sales import MAY
from scalewitness.intake.batch import Batch
from scalewitness.intake.rules import (
    animals,
    arrivals,
    calls,
    comparing,
    custody,
    devices,
    disputes,
    ends,
    findings,
    identifiers,
    joining,
    notices,
    pairings,
    people,
    photos,
    quoting,
    refiling,
    releases,
    reports,
    returns,
    sales,
    season,
    slips,
    traits,
    visits,
    vouching,
    witnesses,
)
from scalewitness.intake.submission import Sealed

Rule = Callable[[Sealed, Batch], int | None]

RULES: dict[str, Rule] = {
    "grant_given": people.grant_given,
    "grant_revoked": people.grant_revoked,
    "keeper_vouched": vouching.keeper_vouched,
    "device_key_enrolled": devices.device_key_enrolled,
    "device_revoked": devices.device_revoked,
    "device_key_endorsed": devices.device_key_endorsed,
    "signatures_required": devices.signatures_required,
    "signing_notice_given": notices.signing_notice_given,
    "signing_notice_stopped": notices.signing_notice_stopped,
    "witness_revoked": witnesses.witness_revoked,
    "animal_registered": animals.animal_registered,
    "particulars_corrected": animals.particulars_corrected,
    "identifier_assigned": identifiers.identifier_assigned,
    "identifier_withdrawn": identifiers.identifier_withdrawn,
    "joining_proposed": joining.joining_proposed,
    "parting_proposed": joining.parting_proposed,
    "joining_answered": joining.joining_answered,
    "husbandry_noted": animals.husbandry_noted,
    "photo_attached": photos.photo_attached,
    "custody_changed": custody.custody_changed,
    "animal_ended": ends.animal_ended,
    "end_corrected": ends.end_corrected,
    "registered_in_error": slips.registered_in_error,
    "linkage_stated": animals.linkage_stated,
    "trait_stated": traits.trait_stated,
    "trait_withdrawn": traits.trait_withdrawn,
    "record_quoted": quoting.record_quoted,
    "visit_invited": visits.visit_invited,
    "visit_accepted": visits.visit_accepted,
    "visit_declined": visits.visit_declined,
    "visit_cancelled": visits.visit_cancelled,
    "call_made": calls.call_made,
    "call_withdrawn": calls.call_withdrawn,
    "call_refiled": refiling.call_refiled,
    "call_objected": calls.call_objected,
    "report_answered": reports.report_answered,
    "document_read": reports.document_read,
    "witness_stated": reports.witness_stated,
    "witness_withdrawn": reports.witness_withdrawn,
    "photos_compared": comparing.photos_compared,
    "late_call_decided": calls.late_call_decided,
    "pairing_planned": pairings.pairing_planned,
    "pairing_dropped": pairings.pairing_dropped,
    "pairing_agreed": pairings.pairing_agreed,
    "season_noted": season.season_noted,
    "season_note_withdrawn": season.season_note_withdrawn,
    **{step: sales.step for step, party in MAY.items() if party != "system"},
    "offer_made": sales.offer_made,
    "sale_confirmed": sales.sale_confirmed,
    "arrival_compared": arrivals.arrival_compared,
    "return_answered": returns.return_answered,
    "release_asked": releases.release_asked,
    "release_agreed": releases.release_agreed,
    "release_denied": releases.release_denied,
    "disclosure_acknowledged": sales.disclosure_acknowledged,
    "dispute_opened": disputes.dispute_opened,
    "statement_made": disputes.statement_made,
    "finding_recorded": findings.finding_recorded,
    "finding_answered": findings.finding_answered,
}

AT_ONCE = frozenset({"call_made", "animal_registered", "identifier_assigned", "husbandry_noted"})
"""Kinds that come in hundreds. Their rules read what was read for all of the batch, and keep
their rows for the batch to store together; so they can be judged ahead of its turn."""

NEEDS_SETTLED = frozenset(
    {
        "offer_made",
        "sale_confirmed",
        "payment_recorded",
        "handed_over",
        "finding_recorded",
        "finding_answered",
    }
)
"""Kinds that look at a standing or a hold: earlier items of the batch count first."""
