"""Every page's address. Links in letters rely on those under offers, visits, sales,
animals and disputes."""

from django.urls import path, re_path

from scalewitness.pages import (
    agreement,
    animals,
    calls,
    clutches,
    collections,
    disclosures,
    disputes,
    examiners,
    home,
    log,
    offers,
    people,
    planning,
    rackside,
    receipts,
    sales,
    texts,
    travelling,
    visits,
)

HUSBANDRY = r"(?P<type>weight|meal|shed|health)"
UUID = r"(?P<animal_id>[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12})"

urlpatterns = [
    path("", home.home, name="home"),
    path("about", home.about, name="about"),
    path("log", log.show_log, name="log"),
    path("rackside", rackside.enter),
    path("rackside/<path:path>", rackside.serve, name="rackside"),
    path("rackside/", rackside.serve, {"path": ""}, name="rackside"),
    path("account", people.show_account, name="account"),
    path("devices/<uuid:device_id>/revocation", people.revoke, name="revoke_device"),
    path("grants/<uuid:grant_id>/revocation", people.end_grant, name="end_grant"),
    # --- collections and animals
    path("animals", collections.show_animals, name="animals"),
    path("collections/new", collections.new_collection, name="new_collection"),
    path("collections/<uuid:collection_id>", collections.show_collection, name="collection"),
    path(
        "collections/<uuid:collection_id>/name",
        collections.rename_collection,
        name="rename_collection",
    ),
    path("collections/<uuid:collection_id>/animals/new", animals.register, name="register"),
    path("collections/<uuid:collection_id>/visits/new", visits.invite, name="invite"),
    path("collections/<uuid:collection_id>/sales/new", sales.draft, name="draft_sale"),
    path("collections/<uuid:collection_id>/clutches", clutches.show_clutches, name="clutches"),
    path(
        "collections/<uuid:collection_id>/clutches/<uuid:animal_id>/<slug:method>",
        clutches.log_clutch,
        name="log_clutch",
    ),
    path(
        "collections/<uuid:collection_id>/agreement",
        agreement.show_agreement,
        name="agreement",
    ),
    path("collections/<uuid:collection_id>/swaps", travelling.compare, name="compare_labels"),
    path("collections/<uuid:collection_id>/grants/new", people.let_in, name="let_in"),
    path("collections/<uuid:collection_id>/plan", planning.plan_a_visit, name="plan_visit"),
    path("animals/<uuid:animal_id>", animals.show_animal, name="animal"),
    path("animals/<uuid:animal_id>/record", animals.edit_record, name="edit_record"),
    path("animals/<uuid:animal_id>/particulars", animals.correct_particulars, name="particulars"),
    path("animals/<uuid:animal_id>/identifiers/new", animals.add_identifier, name="identifier"),
    path("animals/<uuid:animal_id>/linkage", animals.state_linkage, name="linkage"),
    re_path(rf"^animals/{UUID}/husbandry/{HUSBANDRY}$", animals.note_husbandry, name="husbandry"),
    path("animals/<uuid:animal_id>/plan", planning.plan_checks, name="plan_checks"),
    path("animals/<uuid:animal_id>/what-if", planning.what_if, name="what_if"),
    path("animals/<uuid:animal_id>/history", animals.show_history, name="history"),
    path("animals/<uuid:animal_id>/custody", sales.move, name="custody"),
    path("animals/<uuid:animal_id>/disputes/new", disputes.open_dispute, name="open_dispute"),
    # --- calls
    path("animals/<uuid:animal_id>/calls/new", calls.choose_method, name="choose_method"),
    path("animals/<uuid:animal_id>/calls/new/<slug:method>", calls.make_call, name="make_call"),
    path("calls/<uuid:call_id>", calls.show_accepted, name="accepted"),
    path("calls/<uuid:call_id>/withdrawal", calls.withdraw, name="withdraw_call"),
    path("calls/<uuid:call_id>/objection", calls.object_to, name="object_to_call"),
    path("examiners/<uuid:examiner_id>", examiners.show_examiner, name="examiner"),
    path("held-calls", calls.show_held, name="held_calls"),
    path("held-calls/<uuid:held_id>/decision", calls.decide, name="decide_held"),
    path("texts/<uuid:fact_id>/erasure", texts.erase, name="erase_text"),
    # --- visits
    path("visits", visits.show_visits, name="visits"),
    path("visits/<uuid:visit_id>", visits.show_visit, name="visit"),
    path("visits/<uuid:visit_id>/sheet", visits.show_sheet, name="sheet"),
    path("visits/<uuid:visit_id>/<slug:what>", visits.answer, name="answer_visit"),
    # --- sales
    path("sales", sales.show_sales, name="sales"),
    path("sales/<uuid:sale_id>", sales.show_sale, name="sale"),
    path("sales/<uuid:sale_id>/offer", sales.offer, name="make_offer"),
    path("sales/<uuid:sale_id>/<slug:what>", sales.take_step, name="sale_step"),
    # --- disclosures and disputes
    path("disclosures", disclosures.show_disclosures, name="disclosures"),
    path("disclosures/<uuid:disclosure_id>", disclosures.show_disclosure, name="disclosure"),
    path(
        "disclosures/<uuid:disclosure_id>/acknowledgement",
        disclosures.acknowledge,
        name="acknowledge_disclosure",
    ),
    path("disputes", disputes.show_disputes, name="disputes"),
    path("disputes/<uuid:dispute_id>", disputes.show_dispute, name="dispute"),
    path("disputes/<uuid:dispute_id>/finding", disputes.find, name="record_finding"),
    # --- receipts
    path("receipts/<uuid:fact_id>", receipts.show_receipt, name="receipt"),
    path("receipts/<uuid:fact_id>/file", receipts.download, name="receipt_file"),
    # --- the buyer's own way in
    path("offers/<str:token>", offers.show_offer, name="offer"),
    path("offers/<str:token>/confirmation", offers.confirm, name="confirm_offer"),
    path("offers/<str:token>/refusal", offers.decline, name="decline_offer"),
    path("offers/<str:token>/check-request", offers.ask_for_check, name="ask_for_check"),
    path(
        "offers/<str:token>/receipts/<uuid:fact_id>",
        receipts.show_by_link,
        name="offer_receipt",
    ),
    path(
        "offers/<str:token>/receipts/<uuid:fact_id>/file",
        receipts.download_by_link,
        name="offer_receipt_file",
    ),
    path(
        "offers/<str:token>/acknowledgement/<uuid:disclosure_id>",
        offers.acknowledge,
        name="acknowledge_by_link",
    ),
]
