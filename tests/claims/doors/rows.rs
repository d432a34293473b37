//! What each operation of the document asks of whoever calls it. A new one without a row here fails the claim.

use fillmark_domain::people::Act;

/// What it takes to be let in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Need {
    /// Nothing.
    Open,
    /// To be signed in.
    Session,
    /// A role that may do this: at the site of the path, or for the business at some site.
    Act(Act),
    /// To manage people, with roles above those of the person it is about.
    OfPerson,
}

/// What an operation asks.
pub(super) fn need(operation: &str) -> Option<Need> {
    ROWS.iter().find(|(_, operations)| operations.contains(&operation)).map(|(need, _)| *need)
}

/// Operations whose thing may not be there for somebody who is let in.
pub(super) const MAY_HAVE_NONE: [&str; 3] = ["list_rounds", "take_in_transfer", "end_session_of_person"];

/// Operations at things that two sites share.
pub(super) const SHARED_BY_SITES: [&str; 2] = ["read_transfer", "take_in_transfer"];

#[rustfmt::skip]
const ROWS: &[(Need, &[&str])] = &[
    (Need::Open, &[
        "claim_business", "read_document", "open_session", "renew_session", "read_health", "read_problem_kind",
        "read_readiness",
    ]),
    (Need::Session, &[
        "end_session",
    ]),
    (Need::Act(Act::Read), &[
        "list_crops", "read_crop", "list_held_qualifications", "read_held_qualification",
        "list_label_revisions", "read_label_revision", "list_lots", "read_lot", "list_memberships",
        "read_membership", "list_people", "read_person", "list_products", "read_product",
        "list_programme_revisions", "read_programme_revision", "list_programmes", "read_programme",
        "list_qualifications", "read_qualification", "list_sites", "read_site", "list_absences", "read_absence",
        "list_additions", "read_addition", "list_alerts", "list_calibrations", "read_calibration",
        "list_check_plans", "read_check_plan", "list_checks", "read_check", "list_closures", "read_closure",
        "list_cycles", "read_cycle", "list_devices", "read_device", "list_feeds", "read_feed", "read_forecast",
        "list_harvests", "read_harvest", "list_meters", "read_meter", "list_movements", "list_offers",
        "read_offer", "list_orders", "read_order", "list_outages", "read_outage", "list_placements",
        "read_placement", "list_planned_changes", "read_planned_change", "read_stock", "list_readings",
        "read_reading", "list_rooms", "read_room", "read_room_report", "list_reviews", "list_rounds", "read_my_round",
        "list_check_offers", "list_handover_notes", "read_coverage", "read_fairness",
        "read_check_plan_templates",
        "print_round", "list_shifts", "read_shift", "list_shortages", "read_slip", "list_stock",
        "list_tank_changes", "list_due_changes", "read_tank_change", "list_tank_rooms", "read_tank_room",
        "list_tanks", "read_tank", "list_transfers", "read_transfer", "list_water_sources", "read_water_source",
        "list_suppliers", "read_supplier", "calculate_solution", "calculate_acid", "convert_unit", "calculate_air",
        "check_meter", "read_advice", "read_learning", "read_uptake", "read_reconciliation",
        "ask_what_if", "list_issued_forecasts", "read_issued_forecast", "read_track_record", "draw_stock_chart",
        "read_forecast_causes",
        "trace_lot", "trace_harvest", "read_order_message", "read_prices", "read_costs", "read_spares", "list_due_counts", "list_counts", "read_count",
    ]),
    (Need::Act(Act::Audit), &[
        "list_journal", "follow_journal", "list_site_journal", "follow_site_journal",
    ]),
    (Need::Act(Act::EnterReadings), &[
        "record_reading", "record_readings",
    ]),
    (Need::Act(Act::EnterWork), &[
        "reassign_checks", "offer_checks", "accept_checks", "write_handover_note",
        "see_handover_note", "record_addition", "record_additions", "close_alert", "see_alert", "create_calibration",
        "archive_calibration", "settle_check", "open_check", "record_harvest",
        "make_preparation", "issue_product", "record_tank_change", "advise_fill",
        "advise_correction",
    ]),
    (Need::Act(Act::Correct), &[
        "reverse_addition", "reverse_harvest", "correct_reading", "reverse_slip", "reverse_tank_change",
    ]),
    // Of offers staff end their own; this one is somebody else's.
    (Need::Act(Act::Manage), &["end_check_offer"]),
    (Need::Act(Act::Manage), &[
        "excuse_check", "sign_review", "make_template_plans",
        "create_absence", "archive_absence", "change_absence", "create_check_plan", "archive_check_plan",
        "change_check_plan", "create_closure", "archive_closure", "change_closure", "create_cycle",
        "archive_cycle", "change_cycle", "create_device", "archive_device", "change_device",
        "list_device_tokens", "give_device_token", "create_feed", "archive_feed", "change_feed", "create_meter",
        "archive_meter", "change_meter", "create_outage", "archive_outage", "change_outage", "create_placement",
        "archive_placement", "change_placement", "create_planned_change", "archive_planned_change",
        "change_planned_change", "create_room", "archive_room", "change_room", "publish_rounds", "create_shift",
        "archive_shift", "change_shift", "create_tank_room", "archive_tank_room", "change_tank_room",
        "create_tank", "archive_tank", "change_tank", "create_water_source", "archive_water_source",
        "change_water_source",
    ]),
    (Need::Act(Act::KeepStock), &[
        "create_lot", "archive_lot", "change_lot", "count_stock", "draft_forecast_orders", "issue_forecast", "reverse_movement",
        "create_offer", "archive_offer", "change_offer", "draft_order", "redraft_order", "cancel_order",
        "close_order", "place_order", "confirm_order", "approve_order", "receive_product", "send_transfer", "take_in_transfer", "write_off_lot",
    ]),
    (Need::Act(Act::ManageBusiness), &[
        "create_crop", "archive_crop", "change_crop", "create_label_revision", "archive_label_revision",
        "create_product", "archive_product", "change_product", "create_programme_revision",
        "archive_programme_revision", "create_programme", "archive_programme", "change_programme",
        "create_qualification", "archive_qualification", "change_qualification", "create_supplier",
        "archive_supplier", "change_supplier",
    ]),
    (Need::Act(Act::ManagePeople), &[
        "create_held_qualification", "archive_held_qualification", "change_held_qualification", "create_person",
    ]),
    (Need::OfPerson, &[
        "create_membership", "archive_membership", "change_membership", "archive_person", "change_person",
        "erase_name", "set_password", "list_sessions", "end_sessions_of_person", "end_session_of_person",
    ]),
    (Need::Act(Act::ManageSites), &[
        "create_site", "archive_site", "change_site",
    ]),
];
