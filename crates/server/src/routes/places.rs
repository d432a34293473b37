//! Sites, rooms, tanks, water.

use utoipa_actix_web::service_config::ServiceConfig;

use super::records::{business_records, site_records};

/// Registers them.
pub fn routes(config: &mut ServiceConfig) {
    sites::routes(config);
    rooms::routes(config);
}

business_records!(sites: "places", "site", "sites", "/sites", "/sites/{site_id}", NewSite, Site, SitePatch,
    list_sites, create_site, read_site, change_site, archive_site);
site_records!(rooms: "places", "room", "rooms", "/sites/{site_id}/rooms", "/sites/{site_id}/rooms/{room_id}",
    NewRoom, Room, RoomPatch, list_rooms, create_room, read_room, change_room, archive_room);
