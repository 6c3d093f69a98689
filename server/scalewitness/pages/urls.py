"""Every page's address. Links in letters rely on those under offers, visits, sales,
animals, reports and disputes."""

from django.urls import path, re_path

from scalewitness.pages import rackside
from scalewitness.pages.accounts import (
    account,
    adding_devices,
    device,
    lost_devices,
    one_examiner,
    own_data,
    recovering,
    sign_out,
    this_browser,
    vouching,
)
from scalewitness.pages.animals import (
    animal,
    chosen,
    identifiers,
    joining,
    photos,
    placing,
    planning,
    quoting,
    slips,
    stated,
)
from scalewitness.pages.breeding import (
    calendar,
    carrying,
    clutches,
    new_clutch,
    pairings,
    prospects,
    season,
)
from scalewitness.pages.calls import call, comparing, late, refiling, texts
from scalewitness.pages.collections import agreement, collection, travelling
from scalewitness.pages.disclosures import disclosure
from scalewitness.pages.disputes import dispute
from scalewitness.pages.examiners import examiner, learned
from scalewitness.pages.home import example, home
from scalewitness.pages.importing import importing
from scalewitness.pages.offers import arrivals, offer, problems, releases, returns
from scalewitness.pages.papers import printing
from scalewitness.pages.receipts import bundle, log, proof, receipt
from scalewitness.pages.reports import report
from scalewitness.pages.sales import addresses, sale
from scalewitness.pages.visits import visit

HUSBANDRY = r"(?P<type>weight|meal|shed|health|remark)"
UUID = r"(?P<animal_id>[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12})"

urlpatterns = [
    path("", home.home, name="home"),
    path("about", home.about, name="about"),
    path("example", example.show_example, name="example"),
    path("kept", own_data.show_kept, name="kept"),
    path("log", log.show_log, name="log"),
    path("rackside", rackside.enter),
    path("rackside/<path:path>", rackside.serve, name="rackside"),
    path("rackside/", rackside.serve, {"path": ""}, name="rackside"),
    path("account", account.show_account, name="account"),
    path("account/own-data", own_data.download, name="own_data"),
    path("account/habits", account.choose_habits, name="choose_habits"),
    path("account/time-zone", account.take_browsers_zone, name="take_browsers_zone"),
    path("account/vouching", vouching.vouch, name="vouching"),
    path("account/lost-devices", lost_devices.give_notice, name="lost_devices"),
    path("account/recovery-key", recovering.make, name="recovery_key"),
    path("account/recovery", recovering.use, name="recover"),
    path("account/one-examiner", one_examiner.show_named, name="one_examiner"),
    path("account/digest", account.choose_digest, name="choose_digest"),
    path("sign-out/<str:token>", sign_out.sign_out, name="sign_out"),
    path("devices/this-browser", this_browser.show_this_browser, name="this_browser"),
    path("devices/new", adding_devices.add_device, name="add_device"),
    path("devices/<uuid:device_id>", device.show_device, name="device"),
    path("devices/<uuid:device_id>/revocation", account.revoke, name="revoke_device"),
    path("grants/<uuid:grant_id>/revocation", account.end_grant, name="end_grant"),
    # --- collections and animals
    path("animals", collection.show_animals, name="animals"),
    path("animals/chosen", chosen.with_chosen, name="with_chosen"),
    path("import", importing.bring_list, name="import_animals"),
    path("imports/<uuid:upload_id>", importing.look_at_list, name="look_at_list"),
    path("imports/<uuid:upload_id>/storing", importing.store_list, name="store_import"),
    path("imports/<uuid:upload_id>/refused", importing.download_refused, name="refused_lines"),
    path("imports/<uuid:upload_id>/deletion", importing.forget_list, name="forget_list"),
    path("animals/place", placing.place, name="place"),
    path("collections/new", collection.new_collection, name="new_collection"),
    path("collections/<uuid:collection_id>", collection.show_collection, name="collection"),
    path(
        "collections/<uuid:collection_id>/name",
        collection.rename_collection,
        name="rename_collection",
    ),
    path("collections/<uuid:collection_id>/animals/new", animal.register, name="register"),
    path("collections/<uuid:collection_id>/visits/new", visit.invite, name="invite"),
    path("collections/<uuid:collection_id>/sales/new", sale.draft, name="draft_sale"),
    path("collections/<uuid:collection_id>/clutches", clutches.show_clutches, name="clutches"),
    path(
        "collections/<uuid:collection_id>/clutches/new",
        new_clutch.register_clutch,
        name="register_clutch",
    ),
    path(
        "collections/<uuid:collection_id>/clutches/<uuid:animal_id>/labels",
        clutches.print_clutch_labels,
        name="clutch_labels",
    ),
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
    path("collections/<uuid:collection_id>/grants/new", account.give_access, name="give_access"),
    path("collections/<uuid:collection_id>/plan", planning.plan_a_visit, name="plan_visit"),
    path("animals/<uuid:animal_id>", animal.show_animal, name="animal"),
    path("animals/<uuid:animal_id>/record.pdf", printing.print_record, name="print_record"),
    path("animals/<uuid:animal_id>/bundle", bundle.download, name="bundle"),
    path("animals/<uuid:animal_id>/quoted/new", quoting.quote, name="quote_record"),
    path("quoted/<uuid:quote_id>/file", quoting.download, name="quoted_file"),
    path("animals/<uuid:animal_id>/proof", proof.prove_record, name="proof"),
    path("animals/<uuid:animal_id>/record", animal.edit_record, name="edit_record"),
    path("animals/<uuid:animal_id>/particulars", animal.correct_particulars, name="particulars"),
    path("animals/<uuid:animal_id>/identifiers/new", identifiers.add_identifier, name="identifier"),
    path("animals/<uuid:animal_id>/joining", joining.join_records, name="join_records"),
    path(
        "animals/<uuid:animal_id>/identifiers/withdraw",
        identifiers.withdraw_identifier,
        name="withdraw_identifier",
    ),
    path("animals/<uuid:animal_id>/end", animal.end, name="end"),
    path(
        "animals/<uuid:animal_id>/registration-error",
        slips.state_slip,
        name="registered_in_error",
    ),
    path("animals/<uuid:animal_id>/linkage", animal.state_linkage, name="linkage"),
    path("animals/<uuid:animal_id>/traits", stated.show_traits, name="traits"),
    path("animals/<uuid:animal_id>/traits/new", stated.state_trait, name="state_trait"),
    path("traits/<uuid:statement_id>/withdrawal", stated.withdraw_trait, name="withdraw_trait"),
    re_path(rf"^animals/{UUID}/husbandry/{HUSBANDRY}$", animal.note_husbandry, name="husbandry"),
    path("animals/<uuid:animal_id>/photos/new", photos.attach, name="attach_photo"),
    path("photos/<uuid:photo_id>", photos.show_photo, name="photo"),
    path("animals/<uuid:animal_id>/plan", planning.plan_checks, name="plan_checks"),
    path("animals/<uuid:animal_id>/what-if", planning.what_if, name="what_if"),
    path("animals/<uuid:animal_id>/history", animal.show_history, name="history"),
    path("animals/<uuid:animal_id>/custody", sale.move, name="custody"),
    path("animals/<uuid:animal_id>/disputes/new", dispute.open_dispute, name="open_dispute"),
    path("animals/<uuid:animal_id>/pairings/new", pairings.plan_pairing, name="plan_pairing"),
    path("animals/<uuid:animal_id>/carries", carrying.show_carried, name="carries"),
    path("animals/<uuid:animal_id>/prospects", prospects.show_prospects, name="prospects"),
    path("pairings", pairings.show_pairings, name="pairings"),
    path("pairings/<uuid:pairing_id>/end", pairings.drop_pairing, name="drop_pairing"),
    path("collections/<uuid:collection_id>/seasons/<int:year>", season.show_season, name="season"),
    path(
        "collections/<uuid:collection_id>/seasons/<int:year>/wants",
        season.edit_wants,
        name="edit_wants",
    ),
    path(
        "collections/<uuid:collection_id>/seasons/<int:year>/change",
        season.accept_change,
        name="accept_change",
    ),
    path(
        "collections/<uuid:collection_id>/seasons/<int:year>/best",
        season.ask_best,
        name="ask_best",
    ),
    path(
        "pairings/<uuid:pairing_id>/agreement", pairings.agree_to_pairing, name="agree_to_pairing"
    ),
    path("calendar", calendar.show_calendar, name="calendar"),
    path("calendar/link", calendar.change_link, name="calendar_link"),
    path("calendar/by-link/<str:token>.ics", calendar.by_link, name="calendar_by_link"),
    path("pairings/<uuid:pairing_id>/season", calendar.show_season, name="pairing_season"),
    path("pairings/<uuid:pairing_id>/notes/new", calendar.note, name="note_season"),
    path(
        "pairings/<uuid:pairing_id>/notes/<uuid:note_id>/withdrawal",
        calendar.withdraw,
        name="withdraw_note",
    ),
    # --- calls
    path("animals/<uuid:animal_id>/calls/new", call.choose_method, name="choose_method"),
    path("animals/<uuid:animal_id>/calls/new/<slug:method>", call.make_call, name="make_call"),
    path("calls/<uuid:call_id>", call.show_accepted, name="accepted"),
    path("calls/<uuid:call_id>/withdrawal", call.withdraw, name="withdraw_call"),
    path("calls/<uuid:call_id>/refiling", refiling.refile, name="refile_call"),
    path("calls/<uuid:call_id>/comparison", comparing.compare, name="compare_photos"),
    path("calls/<uuid:call_id>/objection", call.object_to, name="object_to_call"),
    path("calls/<uuid:call_id>/document", report.read_document, name="read_document"),
    path("calls/<uuid:call_id>/witness", report.state_witness, name="state_witness"),
    path("calls/<uuid:call_id>/witness/withdraw", report.withdraw_witness, name="withdraw_witness"),
    path("reports", report.show_reports, name="reports"),
    path("reports/<uuid:call_id>", report.answer_report, name="answer_report"),
    path("reports/by-link/<str:token>", report.show_by_link, name="reports_by_link"),
    path(
        "reports/by-link/<str:token>/<uuid:call_id>",
        report.answer_by_link,
        name="answer_by_link",
    ),
    path("examiners/<uuid:examiner_id>", examiner.show_examiner, name="examiner"),
    path("learned", learned.show_learned, name="learned"),
    path("held-calls", late.show_held, name="held_calls"),
    path("held-calls/<uuid:held_id>/decision", late.decide, name="decide_held"),
    path("texts/<uuid:fact_id>/erasure", texts.erase, name="erase_text"),
    # --- visits
    path("visits", visit.show_visits, name="visits"),
    path("visits/by-letter/<uuid:invitation_id>", visit.show_by_letter, name="by_letter"),
    path(
        "visits/by-letter/<uuid:invitation_id>/<slug:what>",
        visit.answer_by_letter,
        name="answer_by_letter",
    ),
    path("visits/<uuid:visit_id>", visit.show_visit, name="visit"),
    path("visits/<uuid:visit_id>/sheet", visit.show_sheet, name="sheet"),
    path("visits/<uuid:visit_id>/<slug:what>", visit.answer, name="answer_visit"),
    # --- sales
    path("sales", sale.show_sales, name="sales"),
    path("sales/<uuid:sale_id>", sale.show_sale, name="sale"),
    path("sales/<uuid:sale_id>/offer", sale.offer, name="make_offer"),
    path("sales/<uuid:sale_id>/address", addresses.correct, name="correct_address"),
    path("sales/<uuid:sale_id>/animals/<uuid:animal_id>/arrival", arrivals.answer, name="arrival"),
    path("sales/<uuid:sale_id>/<slug:what>", sale.take_step, name="sale_step"),
    # --- disclosures and disputes
    path("disclosures", disclosure.show_disclosures, name="disclosures"),
    path("disclosures/<uuid:disclosure_id>", disclosure.show_disclosure, name="disclosure"),
    path(
        "disclosures/<uuid:disclosure_id>/letter",
        disclosure.show_letter,
        name="disclosure_letter",
    ),
    path(
        "disclosures/<uuid:disclosure_id>/acknowledgement",
        disclosure.acknowledge,
        name="acknowledge_disclosure",
    ),
    path("disputes", dispute.show_disputes, name="disputes"),
    path("disputes/<uuid:dispute_id>", dispute.show_dispute, name="dispute"),
    path("disputes/<uuid:dispute_id>/dossier.pdf", printing.print_dispute, name="print_dispute"),
    path("disputes/<uuid:dispute_id>/dossier.zip", printing.fetch_folder, name="dispute_folder"),
    path("disputes/<uuid:dispute_id>/statement", dispute.state, name="make_statement"),
    path("disputes/<uuid:dispute_id>/finding", dispute.find, name="record_finding"),
    path("disputes/<uuid:dispute_id>/answer", dispute.answer, name="answer_finding"),
    # --- receipts
    path("receipts/<uuid:fact_id>", receipt.show_receipt, name="receipt"),
    path("receipts/<uuid:fact_id>/file", receipt.download, name="receipt_file"),
    # --- the buyer's own way in
    path("offers/<str:token>", offer.show_offer, name="offer"),
    path("offers/<str:token>/address", addresses.change_by_link, name="offer_address"),
    path("offers/<str:token>/reminders", addresses.remind, name="offer_reminders"),
    path("offers/<str:token>/code", offer.send_code, name="send_code"),
    path("offers/<str:token>/confirmation", offer.confirm, name="confirm_offer"),
    path("offers/<str:token>/refusal", offer.decline, name="decline_offer"),
    path("offers/<str:token>/check-request", offer.ask_for_check, name="ask_for_check"),
    path("offers/<str:token>/return", returns.answer, name="offer_return"),
    path("offers/<str:token>/release", releases.answer, name="offer_release"),
    path(
        "offers/<str:token>/animals/<uuid:animal_id>/problem",
        problems.report_problem,
        name="report_problem",
    ),
    path(
        "offers/<str:token>/animals/<uuid:animal_id>/arrival",
        arrivals.answer_by_link,
        name="offer_arrival",
    ),
    path(
        "offers/<str:token>/disputes/<uuid:dispute_id>/answer",
        problems.answer_finding,
        name="answer_by_buyer",
    ),
    path(
        "offers/<str:token>/animals/<uuid:animal_id>/record.pdf",
        printing.print_by_link,
        name="offer_record",
    ),
    path("offers/<str:token>/photos/<uuid:photo_id>", photos.show_by_link, name="offer_photo"),
    path(
        "offers/<str:token>/receipts/<uuid:fact_id>",
        receipt.show_by_link,
        name="offer_receipt",
    ),
    path(
        "offers/<str:token>/receipts/<uuid:fact_id>/file",
        receipt.download_by_link,
        name="offer_receipt_file",
    ),
    path(
        "offers/<str:token>/acknowledgement/<uuid:disclosure_id>",
        offer.acknowledge,
        name="acknowledge_by_link",
    ),
]
