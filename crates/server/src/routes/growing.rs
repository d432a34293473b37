//! Crops, programmes, cycles, where they stand and what they drink from.

use super::records::{business_facts, business_records, site_records};

/// Registers them.
pub fn routes(config: &mut crate::routes::Registry) {
    crops::routes(config);
    programmes::routes(config);
    programme_revisions::routes(config);
    cycles::routes(config);
    placements::routes(config);
    feeds::routes(config);
}

business_records!(crops: "growing", "crop", "crops", "/crops", "/crops/{crop_id}",
    NewCrop, Crop, CropPatch, list_crops, create_crop, read_crop, change_crop, archive_crop, found_by "q");
business_records!(programmes: "growing", "feeding programme", "feeding programmes", "/programmes", "/programmes/{programme_id}",
    NewProgramme, Programme, ProgrammePatch, list_programmes, create_programme, read_programme, change_programme, archive_programme, by "crop_id", found_by "q");
business_facts!(programme_revisions: "growing", "programme revision", "programme revisions", "/programme-revisions", "/programme-revisions/{programme_revision_id}",
    NewProgrammeRevision, ProgrammeRevision, list_programme_revisions, create_programme_revision, read_programme_revision, archive_programme_revision, by "programme_id");
site_records!(cycles: "growing", "cycle", "cycles", "/sites/{site_id}/cycles", "/sites/{site_id}/cycles/{cycle_id}",
    NewCycle, Cycle, CyclePatch, list_cycles, create_cycle, read_cycle, change_cycle, archive_cycle, by "crop_id" "programme_id", found_by "q");
site_records!(placements: "growing", "placement", "placements", "/sites/{site_id}/placements", "/sites/{site_id}/placements/{placement_id}",
    NewPlacement, Placement, PlacementPatch, list_placements, create_placement, read_placement, change_placement, archive_placement, by "cycle_id" "room_id");
site_records!(feeds: "growing", "feed", "feeds", "/sites/{site_id}/feeds", "/sites/{site_id}/feeds/{feed_id}",
    NewFeed, Feed, FeedPatch, list_feeds, create_feed, read_feed, change_feed, archive_feed, by "tank_id" "cycle_id");
