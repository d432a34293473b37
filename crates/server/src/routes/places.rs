//! Sites, rooms, tanks, water.

use super::records::{business_records, site_records};

/// Registers them.
pub fn routes(config: &mut crate::routes::Registry) {
    sites::routes(config);
    rooms::routes(config);
    tanks::routes(config);
    tank_rooms::routes(config);
    outages::routes(config);
    closures::routes(config);
    water_sources::routes(config);
}

business_records!(sites: "places", "site", "sites", "/sites", "/sites/{site_id}", NewSite, Site, SitePatch,
    list_sites, create_site, read_site, change_site, archive_site, found_by "q");
site_records!(rooms: "places", "room", "rooms", "/sites/{site_id}/rooms", "/sites/{site_id}/rooms/{room_id}",
    NewRoom, Room, RoomPatch, list_rooms, create_room, read_room, change_room, archive_room, found_by "q");
site_records!(tanks: "places", "tank", "tanks", "/sites/{site_id}/tanks", "/sites/{site_id}/tanks/{tank_id}",
    NewTank, Tank, TankPatch, list_tanks, create_tank, read_tank, change_tank, archive_tank, found_by "q");
site_records!(tank_rooms: "places", "tank's room", "tanks' rooms", "/sites/{site_id}/tank-rooms", "/sites/{site_id}/tank-rooms/{tank_room_id}",
    NewTankRoom, TankRoom, TankRoomPatch, list_tank_rooms, create_tank_room, read_tank_room, change_tank_room, archive_tank_room, by "tank_id" "room_id");
site_records!(outages: "places", "tank's days out of use", "tanks' days out of use", "/sites/{site_id}/outages", "/sites/{site_id}/outages/{outage_id}",
    NewOutage, Outage, OutagePatch, list_outages, create_outage, read_outage, change_outage, archive_outage, by "tank_id");
site_records!(closures: "places", "closure", "closures", "/sites/{site_id}/closures", "/sites/{site_id}/closures/{closure_id}",
    NewClosure, Closure, ClosurePatch, list_closures, create_closure, read_closure, change_closure, archive_closure);
site_records!(water_sources: "places", "water source", "water sources", "/sites/{site_id}/water-sources", "/sites/{site_id}/water-sources/{water_source_id}",
    NewWaterSource, WaterSource, WaterSourcePatch, list_water_sources, create_water_source, read_water_source, change_water_source, archive_water_source, found_by "q");
