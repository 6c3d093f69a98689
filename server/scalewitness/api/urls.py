"""Every path of version 1."""

from django.urls import path

from scalewitness.api.animals.answer_joining import answer_joining
from scalewitness.api.animals.assign_identifier import assign_identifier
from scalewitness.api.animals.attach_photo import attach_photo
from scalewitness.api.animals.correct_end import correct_end
from scalewitness.api.animals.correct_particulars import correct_particulars
from scalewitness.api.animals.edit_animal import edit_animal
from scalewitness.api.animals.end_animal import end_animal
from scalewitness.api.animals.list_animals import list_animals
from scalewitness.api.animals.list_joinings import list_joinings
from scalewitness.api.animals.move_animal import move_animal
from scalewitness.api.animals.note_husbandry import note_husbandry
from scalewitness.api.animals.plan_checks import plan_checks
from scalewitness.api.animals.propose_joining import propose_joining
from scalewitness.api.animals.propose_parting import propose_parting
from scalewitness.api.animals.register_animal import register_animal
from scalewitness.api.animals.registered_in_error import state_registered_in_error
from scalewitness.api.animals.show_animal import show_animal
from scalewitness.api.animals.show_carried import show_carried
from scalewitness.api.animals.show_history import show_history
from scalewitness.api.animals.show_kinship import show_kinship
from scalewitness.api.animals.show_prospects import show_prospects
from scalewitness.api.animals.state_linkage import state_linkage
from scalewitness.api.animals.suppose_call import suppose_call
from scalewitness.api.animals.withdraw_identifier import withdraw_identifier
from scalewitness.api.calls.compare_photos import compare_photos
from scalewitness.api.calls.list_calls import list_calls
from scalewitness.api.calls.make_call import make_call
from scalewitness.api.calls.object_to_call import object_to_call
from scalewitness.api.calls.refile_call import refile_call
from scalewitness.api.calls.show_call import show_call
from scalewitness.api.calls.show_standing import show_standing
from scalewitness.api.calls.withdraw_call import withdraw_call
from scalewitness.api.changes import list_changes
from scalewitness.api.collections.compare_labels import compare_labels
from scalewitness.api.collections.create_collection import create_collection
from scalewitness.api.collections.edit_collection import edit_collection
from scalewitness.api.collections.list_clutches import list_clutches
from scalewitness.api.collections.list_collections import list_collections
from scalewitness.api.collections.plan_visit import plan_visit
from scalewitness.api.collections.show_agreement import show_agreement
from scalewitness.api.collections.show_collection import show_collection
from scalewitness.api.devices.begin_hand_over import begin_hand_over
from scalewitness.api.devices.enrol_device import enrol_device
from scalewitness.api.devices.enrol_key import enrol_key
from scalewitness.api.devices.fetch_token import fetch_token
from scalewitness.api.devices.list_devices import list_devices
from scalewitness.api.devices.list_sent import list_sent
from scalewitness.api.devices.revoke_device import revoke_device
from scalewitness.api.disclosures.acknowledge import acknowledge
from scalewitness.api.disclosures.list_disclosures import list_disclosures
from scalewitness.api.disclosures.show_disclosure import show_disclosure
from scalewitness.api.disputes.answer_finding import answer_finding
from scalewitness.api.disputes.list_disputes import list_disputes
from scalewitness.api.disputes.make_statement import make_statement
from scalewitness.api.disputes.open_dispute import open_dispute
from scalewitness.api.disputes.record_finding import record_finding
from scalewitness.api.disputes.show_dispute import show_dispute
from scalewitness.api.examiners.show_examiner import show_examiner
from scalewitness.api.facts.erase_texts import erase_texts
from scalewitness.api.genetics.sex_linked_prior import sex_linked_prior
from scalewitness.api.grants.give_grant import give_grant
from scalewitness.api.grants.list_grants import list_grants
from scalewitness.api.grants.revoke_grant import revoke_grant
from scalewitness.api.held_calls.decide_held_call import decide_held_call
from scalewitness.api.held_calls.list_held_calls import list_held_calls
from scalewitness.api.invitations.answer_invitation import answer_invitation, withdraw_invitation
from scalewitness.api.invitations.invite_by_letter import invite_by_letter
from scalewitness.api.invitations.list_invitations import list_invitations, show_invitation
from scalewitness.api.keepers.edit_me import edit_me
from scalewitness.api.keepers.find_keeper import find_keeper
from scalewitness.api.keepers.show_me import show_me
from scalewitness.api.keepers.sign_up import sign_up
from scalewitness.api.learned_numbers import show_learned
from scalewitness.api.log.list_witness_keys import list_witness_keys
from scalewitness.api.log.prove_consistency import prove_consistency
from scalewitness.api.log.prove_inclusion import prove_inclusion
from scalewitness.api.log.show_checkpoint import show_checkpoint
from scalewitness.api.log.show_cosigned import show_cosigned
from scalewitness.api.log.show_freshness import show_freshness
from scalewitness.api.log.show_head import show_head
from scalewitness.api.log.show_key_changes import show_key_changes
from scalewitness.api.log.show_map_key import show_map_key
from scalewitness.api.log.show_origins import show_origins
from scalewitness.api.log.show_witnesses import show_witnesses
from scalewitness.api.log.take_cosignature import take_cosignature
from scalewitness.api.log.take_met import take_met
from scalewitness.api.offers.acknowledge_disclosure import acknowledge_disclosure
from scalewitness.api.offers.answer_finding import answer_finding_as_buyer
from scalewitness.api.offers.answer_release import answer_release
from scalewitness.api.offers.answer_return import answer_return, list_returns
from scalewitness.api.offers.change_address import change_address
from scalewitness.api.offers.choose_reminders import choose_reminders
from scalewitness.api.offers.compare_arrival import compare_arrival, list_arrivals
from scalewitness.api.offers.confirm_offer import confirm_offer
from scalewitness.api.offers.download_shown_receipt import download_shown_receipt
from scalewitness.api.offers.erase_texts import erase_buyers_texts
from scalewitness.api.offers.refuse_offer import refuse_offer
from scalewitness.api.offers.report_problem import report_problem
from scalewitness.api.offers.request_check import request_check
from scalewitness.api.offers.send_code import send_code
from scalewitness.api.offers.show_disclosures import show_disclosures
from scalewitness.api.offers.show_disputes import show_buyers_disputes
from scalewitness.api.offers.show_offer import show_offer
from scalewitness.api.offers.show_offered_photo import show_offered_photo
from scalewitness.api.offers.state_as_buyer import state_as_buyer
from scalewitness.api.one_examiner.list_named import list_named
from scalewitness.api.one_examiner.object_to_naming import object_to_naming
from scalewitness.api.openapi.serving import docs, schema
from scalewitness.api.pairings.agree_to_pairing import agree_to_pairing
from scalewitness.api.pairings.drop_pairing import drop_pairing
from scalewitness.api.pairings.list_pairings import list_pairings
from scalewitness.api.pairings.note_season import note_season
from scalewitness.api.pairings.plan_pairing import plan_pairing
from scalewitness.api.pairings.show_calendar import show_calendar
from scalewitness.api.pairings.withdraw_note import withdraw_note
from scalewitness.api.photos.send_photo import send_photo
from scalewitness.api.photos.show_photo import show_photo
from scalewitness.api.practitioners.give_address import give_address
from scalewitness.api.practitioners.list_practitioners import list_practitioners
from scalewitness.api.practitioners.name_practitioner import name_practitioner
from scalewitness.api.push import push
from scalewitness.api.quoted.list_quoted import list_quoted
from scalewitness.api.quoted.quote_record import quote_record
from scalewitness.api.quoted.send_quoted_file import send_quoted_file
from scalewitness.api.quoted.show_quoted_file import show_quoted_file
from scalewitness.api.receipts.download_bundle import download_bundle
from scalewitness.api.receipts.download_receipt import download_receipt
from scalewitness.api.receipts.prove_records import prove_records
from scalewitness.api.receipts.prove_shown_records import prove_shown_records
from scalewitness.api.recovery_keys.enrol_recovery_key import enrol_recovery_key
from scalewitness.api.recovery_keys.state_by_recovery_key import state_by_recovery_key
from scalewitness.api.reports.answer_report import answer_report
from scalewitness.api.reports.confirm_document import confirm_document
from scalewitness.api.reports.list_reports import list_reports
from scalewitness.api.reports.withdraw_witness import withdraw_witness
from scalewitness.api.reports.witness_young import witness_young
from scalewitness.api.sales.ask_for_release import ask_for_release
from scalewitness.api.sales.close_sale import close_sale
from scalewitness.api.sales.correct_address import correct_address
from scalewitness.api.sales.draft_sale import draft_sale
from scalewitness.api.sales.hand_over import hand_over
from scalewitness.api.sales.list_sales import list_sales
from scalewitness.api.sales.make_offer import make_offer
from scalewitness.api.sales.record_payment import record_payment
from scalewitness.api.sales.show_sale import show_sale
from scalewitness.api.sales.withdraw_offer import withdraw_offer
from scalewitness.api.seasons.ask_for_best_plan import ask_for_best_plan
from scalewitness.api.seasons.change_season import change_season
from scalewitness.api.seasons.edit_season import edit_season
from scalewitness.api.seasons.show_season import show_season
from scalewitness.api.species import list_species
from scalewitness.api.traits.list_traits import list_traits
from scalewitness.api.traits.state_trait import state_trait
from scalewitness.api.traits.withdraw_trait import withdraw_trait
from scalewitness.api.views import resource
from scalewitness.api.visits.answer_visit import answer_visit
from scalewitness.api.visits.cancel_visit import cancel_visit
from scalewitness.api.visits.invite import invite
from scalewitness.api.visits.list_visits import list_visits
from scalewitness.api.visits.show_sheet import show_sheet
from scalewitness.api.visits.show_visit import show_visit
from scalewitness.api.vouchers.list_vouchers import list_vouchers
from scalewitness.api.vouchers.vouch import vouch

app_name = "api"

people = [
    path("keepers", resource(get=find_keeper, post=sign_up), name="keepers"),
    path("keepers/me", resource(get=show_me, patch=edit_me), name="me"),
    path("devices", resource(get=list_devices, post=enrol_device), name="devices"),
    path("devices/authorization", resource(post=begin_hand_over), name="device-authorization"),
    path("devices/token", resource(post=fetch_token), name="device-token"),
    path("devices/<uuid:id>", resource(delete=revoke_device), name="device"),
    path("devices/<uuid:id>/facts", resource(get=list_sent), name="device-facts"),
    path("devices/<uuid:id>/key", resource(post=enrol_key), name="device-key"),
    path("recovery-keys/<uuid:id>", resource(post=enrol_recovery_key), name="recovery-key"),
    path(
        "recovery-keys/<uuid:id>/facts",
        resource(post=state_by_recovery_key),
        name="recovery-facts",
    ),
    path(
        "practitioners",
        resource(get=list_practitioners, post=name_practitioner),
        name="practitioners",
    ),
    path("practitioners/<uuid:id>/address", resource(put=give_address)),
    path("grants", resource(get=list_grants, post=give_grant), name="grants"),
    path("grants/<uuid:id>/revocation", resource(post=revoke_grant)),
]
animals = [
    path("species", resource(get=list_species), name="species"),
    path("learned-numbers", resource(get=show_learned), name="learned-numbers"),
    path(
        "collections",
        resource(get=list_collections, post=create_collection),
        name="collections",
    ),
    path(
        "collections/<uuid:id>",
        resource(get=show_collection, patch=edit_collection),
        name="collection",
    ),
    path("collections/<uuid:id>/clutches", resource(get=list_clutches), name="clutches"),
    path("genetics/sex-linked-prior", resource(post=sex_linked_prior), name="linked-prior"),
    path("collections/<uuid:id>/swaps", resource(get=compare_labels), name="swaps"),
    path("collections/<uuid:id>/plan", resource(get=plan_visit), name="visit-plan"),
    path("animals", resource(get=list_animals, post=register_animal), name="animals"),
    path("animals/<uuid:id>", resource(get=show_animal, patch=edit_animal), name="animal"),
    path("animals/<uuid:id>/history", resource(get=show_history), name="history"),
    path("animals/<uuid:id>/bundle", resource(get=download_bundle), name="bundle"),
    path("animals/<uuid:id>/plan", resource(get=plan_checks), name="animal-plan"),
    path("animals/<uuid:id>/what-if", resource(post=suppose_call), name="what-if"),
    path("animals/<uuid:id>/carries", resource(get=show_carried), name="carries"),
    path("animals/<uuid:id>/prospects", resource(get=show_prospects), name="prospects"),
    path("animals/<uuid:id>/kinship", resource(get=show_kinship), name="kinship"),
    path("animals/<uuid:id>/particulars", resource(post=correct_particulars)),
    path("animals/<uuid:id>/end", resource(post=end_animal)),
    path("animals/<uuid:id>/registration-error", resource(post=state_registered_in_error)),
    path("animals/<uuid:id>/end/correction", resource(post=correct_end)),
    path("animals/<uuid:id>/linkage", resource(post=state_linkage)),
    path("animals/<uuid:id>/traits", resource(get=list_traits, post=state_trait), name="traits"),
    path("animals/<uuid:id>/quoted", resource(get=list_quoted, post=quote_record), name="quoted"),
    path(
        "quoted/<uuid:id>/file",
        resource(get=show_quoted_file, put=send_quoted_file),
        name="quoted-file",
    ),
    path("traits/<uuid:id>/withdrawal", resource(post=withdraw_trait)),
    path("animals/<uuid:id>/identifiers", resource(post=assign_identifier)),
    path("animals/<uuid:id>/identifiers/withdrawal", resource(post=withdraw_identifier)),
    path("animals/<uuid:id>/joinings", resource(get=list_joinings, post=propose_joining)),
    path("animals/<uuid:id>/joinings/answers", resource(post=answer_joining)),
    path("animals/<uuid:id>/joinings/partings", resource(post=propose_parting)),
    path("animals/<uuid:id>/husbandry", resource(post=note_husbandry)),
    path("animals/<uuid:id>/photos", resource(post=attach_photo)),
    path("animals/<uuid:id>/custody", resource(post=move_animal)),
]
calls = [
    path("animals/<uuid:id>/calls", resource(get=list_calls, post=make_call), name="calls"),
    path("animals/<uuid:id>/standing", resource(get=show_standing), name="standing"),
    path("calls/<uuid:id>", resource(get=show_call), name="call"),
    path("calls/<uuid:id>/withdrawal", resource(post=withdraw_call)),
    path("calls/<uuid:id>/refiling", resource(post=refile_call)),
    path("calls/<uuid:id>/comparison", resource(post=compare_photos)),
    path("calls/<uuid:id>/objection", resource(post=object_to_call)),
    path("calls/<uuid:id>/answer", resource(post=answer_report)),
    path("calls/<uuid:id>/document", resource(post=confirm_document)),
    path("calls/<uuid:id>/witness", resource(post=witness_young)),
    path("calls/<uuid:id>/witness/withdrawal", resource(post=withdraw_witness)),
    path("reports", resource(get=list_reports), name="reports"),
    path("vouchers", resource(get=list_vouchers), name="vouchers"),
    path("keepers/<uuid:id>/voucher", resource(post=vouch)),
    path("examiners/<uuid:id>", resource(get=show_examiner), name="examiner"),
    path("collections/<uuid:id>/agreement", resource(get=show_agreement), name="agreement"),
    path(
        "collections/<uuid:id>/seasons/<int:year>",
        resource(get=show_season, patch=edit_season),
        name="season",
    ),
    path("collections/<uuid:id>/seasons/<int:year>/best", resource(post=ask_for_best_plan)),
    path("collections/<uuid:id>/seasons/<int:year>/change", resource(post=change_season)),
    path("one-examiner", resource(get=list_named), name="one-examiner"),
    path("one-examiner/<uuid:id>/objection", resource(post=object_to_naming)),
    path("held-calls", resource(get=list_held_calls), name="held-calls"),
    path("held-calls/<uuid:id>/decision", resource(post=decide_held_call)),
    path("visits", resource(get=list_visits, post=invite), name="visits"),
    path("visits/<uuid:id>", resource(get=show_visit), name="visit"),
    path("visits/<uuid:id>/sheet", resource(get=show_sheet), name="sheet"),
    path("visits/<uuid:id>/answer", resource(post=answer_visit)),
    path("visits/<uuid:id>/cancellation", resource(post=cancel_visit)),
    path(
        "invitations",
        resource(get=list_invitations, post=invite_by_letter),
        name="invitations",
    ),
    path(
        "invitations/<uuid:id>",
        resource(get=show_invitation, delete=withdraw_invitation),
        name="invitation",
    ),
    path("invitations/<uuid:id>/answer", resource(post=answer_invitation)),
]
sales = [
    path("sales", resource(get=list_sales, post=draft_sale), name="sales"),
    path("sales/<uuid:id>", resource(get=show_sale), name="sale"),
    path("sales/<uuid:id>/address", resource(put=correct_address)),
    path("sales/<uuid:id>/offer", resource(post=make_offer)),
    path("sales/<uuid:id>/payment", resource(post=record_payment)),
    path("sales/<uuid:id>/release", resource(post=ask_for_release)),
    path("sales/<uuid:id>/handover", resource(post=hand_over)),
    path("sales/<uuid:id>/closing", resource(post=close_sale)),
    path("sales/<uuid:id>/withdrawal", resource(post=withdraw_offer)),
    path("offers/<str:token>", resource(get=show_offer), name="offer"),
    path("offers/<str:token>/code", resource(post=send_code)),
    path("offers/<str:token>/address", resource(put=change_address)),
    path("offers/<str:token>/reminders", resource(put=choose_reminders)),
    path("offers/<str:token>/dispute", resource(get=show_buyers_disputes, post=report_problem)),
    path("offers/<str:token>/statement", resource(post=state_as_buyer)),
    path("offers/<str:token>/finding-answer", resource(post=answer_finding_as_buyer)),
    path("offers/<str:token>/confirmation", resource(post=confirm_offer)),
    path("offers/<str:token>/refusal", resource(post=refuse_offer)),
    path("offers/<str:token>/check-request", resource(post=request_check)),
    path("offers/<str:token>/release", resource(post=answer_release)),
    path("offers/<str:token>/texts", resource(delete=erase_buyers_texts)),
    path(
        "offers/<str:token>/returns",
        resource(get=list_returns, post=answer_return),
        name="offer-returns",
    ),
    path(
        "offers/<str:token>/arrivals",
        resource(get=list_arrivals, post=compare_arrival),
        name="offer-arrivals",
    ),
    path(
        "offers/<str:token>/disclosure",
        resource(get=show_disclosures),
        name="offer-disclosures",
    ),
    path(
        "offers/<str:token>/photos/<uuid:id>",
        resource(get=show_offered_photo),
        name="offer-photo",
    ),
    path(
        "offers/<str:token>/proofs",
        resource(get=prove_shown_records),
        name="offer-proofs",
    ),
    path(
        "offers/<str:token>/receipts/<uuid:id>",
        resource(get=download_shown_receipt),
        name="offer-receipt",
    ),
    path("offers/<str:token>/acknowledgement", resource(post=acknowledge_disclosure)),
    path("disclosures", resource(get=list_disclosures), name="disclosures"),
    path("disclosures/<uuid:id>", resource(get=show_disclosure), name="disclosure"),
    path("disclosures/<uuid:id>/acknowledgement", resource(post=acknowledge)),
    path("pairings", resource(get=list_pairings, post=plan_pairing), name="pairings"),
    path("pairings/<uuid:id>/end", resource(post=drop_pairing)),
    path("pairings/<uuid:id>/agreement", resource(post=agree_to_pairing)),
    path("calendar", resource(get=show_calendar), name="calendar"),
    path("pairings/<uuid:id>/notes", resource(post=note_season)),
    path("season-notes/<uuid:id>/withdrawal", resource(post=withdraw_note)),
    path("disputes", resource(get=list_disputes, post=open_dispute), name="disputes"),
    path("disputes/<uuid:id>", resource(get=show_dispute), name="dispute"),
    path("disputes/<uuid:id>/statement", resource(post=make_statement)),
    path("disputes/<uuid:id>/finding", resource(post=record_finding)),
    path("disputes/<uuid:id>/finding-answer", resource(post=answer_finding)),
]
log = [
    path("facts/<uuid:id>/texts", resource(delete=erase_texts), name="texts"),
    path("photos/<uuid:id>", resource(get=show_photo, put=send_photo), name="photo"),
    path("receipts/<uuid:id>", resource(get=download_receipt), name="receipt"),
    path("proofs", resource(get=prove_records), name="proofs"),
    path("changes", resource(get=list_changes), name="changes"),
    path("push", resource(post=push), name="push"),
    path("log/head", resource(get=show_head), name="log-head"),
    path("log/checkpoint", resource(get=show_checkpoint), name="log-checkpoint"),
    path("log/inclusion", resource(get=prove_inclusion), name="log-inclusion"),
    path("log/consistency", resource(get=prove_consistency), name="log-consistency"),
    path("log/map-key", resource(get=show_map_key), name="log-map-key"),
    path("log/freshness", resource(get=show_freshness), name="log-freshness"),
    path("log/cosigned", resource(get=show_cosigned), name="log-cosigned"),
    path("log/met", resource(post=take_met), name="log-met"),
    path("log/key-changes", resource(get=show_key_changes), name="log-key-changes"),
    path(
        "log/cosignatures",
        resource(get=list_witness_keys, post=take_cosignature),
        name="log-cosignatures",
    ),
    path("log/origins", resource(get=show_origins), name="log-origins"),
    path("log/witnesses", resource(get=show_witnesses), name="log-witnesses"),
    path("schema", schema, name="schema"),
    path("docs", docs, name="docs"),
]

urlpatterns = [*people, *animals, *calls, *sales, *log]
