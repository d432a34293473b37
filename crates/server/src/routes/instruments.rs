//! Meters, calibrations, planned tank changes.

use super::records::{site_facts, site_records};

/// Registers them.
pub fn routes(config: &mut crate::routes::Registry) {
    meters::routes(config);
    calibrations::routes(config);
    planned_changes::routes(config);
}

site_records!(meters: "entries", "meter", "meters", "/sites/{site_id}/meters", "/sites/{site_id}/meters/{meter_id}",
    NewMeter, Meter, MeterPatch, list_meters, create_meter, read_meter, change_meter, archive_meter, found_by "q");
site_facts!(calibrations: "entries", "calibration", "calibrations", "/sites/{site_id}/calibrations", "/sites/{site_id}/calibrations/{calibration_id}",
    NewCalibration, Calibration, list_calibrations, create_calibration, read_calibration, archive_calibration, by "meter_id");
site_records!(planned_changes: "entries", "planned tank change", "planned tank changes", "/sites/{site_id}/planned-changes", "/sites/{site_id}/planned-changes/{planned_change_id}",
    NewPlannedChange, PlannedChange, PlannedChangePatch, list_planned_changes, create_planned_change, read_planned_change, change_planned_change, archive_planned_change, by "tank_id");
