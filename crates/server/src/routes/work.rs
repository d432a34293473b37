//! Qualifications, shifts, absences, check plans.

use super::records::{business_records, site_records};

/// Registers them.
pub fn routes(config: &mut crate::routes::Registry) {
    qualifications::routes(config);
    held_qualifications::routes(config);
    shifts::routes(config);
    absences::routes(config);
    check_plans::routes(config);
}

business_records!(qualifications: "people", "qualification", "qualifications", "/qualifications", "/qualifications/{qualification_id}",
    NewQualification, Qualification, QualificationPatch,
    list_qualifications, create_qualification, read_qualification, change_qualification, archive_qualification, found_by "q");
business_records!(held_qualifications: "people", "held qualification", "held qualifications", "/held-qualifications", "/held-qualifications/{held_qualification_id}",
    NewHeldQualification, HeldQualification, HeldQualificationPatch,
    list_held_qualifications, create_held_qualification, read_held_qualification, change_held_qualification, archive_held_qualification, by "person_id" "qualification_id");
site_records!(shifts: "people", "shift", "shifts", "/sites/{site_id}/shifts", "/sites/{site_id}/shifts/{shift_id}",
    NewShift, Shift, ShiftPatch, list_shifts, create_shift, read_shift, change_shift, archive_shift, by "person_id");
site_records!(absences: "people", "absence", "absences", "/sites/{site_id}/absences", "/sites/{site_id}/absences/{absence_id}",
    NewAbsence, Absence, AbsencePatch, list_absences, create_absence, read_absence, change_absence, archive_absence, by "person_id");
site_records!(check_plans: "work", "check plan", "check plans", "/sites/{site_id}/check-plans", "/sites/{site_id}/check-plans/{check_plan_id}",
    NewCheckPlan, CheckPlan, CheckPlanPatch, list_check_plans, create_check_plan, read_check_plan, change_check_plan, archive_check_plan, by "tank_id" "room_id", found_by "q");
