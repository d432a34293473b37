//! Every route, by subject.

pub mod additions;
pub mod alerts;
mod batch;
pub mod checks;
pub mod devices;
pub mod forecast;
pub mod growing;
pub mod harvests;
pub mod instruments;
pub mod journal;
pub mod people;
pub mod places;
pub mod readings;
pub mod records;
pub mod reports;
pub mod reviews;
pub mod rounds;
pub mod sessions;
pub mod stock;
pub mod system;
pub mod tank_changes;
pub mod work;

use utoipa_actix_web::service_config::ServiceConfig;

/// Registers what stands under `/api/v1`.
pub fn api(config: &mut ServiceConfig) {
    sessions::routes(config);
    people::routes(config);
    devices::routes(config);
    places::routes(config);
    growing::routes(config);
    instruments::routes(config);
    readings::routes(config);
    additions::routes(config);
    tank_changes::routes(config);
    harvests::routes(config);
    reports::routes(config);
    reviews::routes(config);
    alerts::routes(config);
    stock::routes(config);
    forecast::routes(config);
    work::routes(config);
    checks::routes(config);
    rounds::routes(config);
    journal::routes(config);
}
