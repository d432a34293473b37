//! Every route, by subject.

pub mod alerts;
mod batch;
pub mod growing;
pub mod instruments;
pub mod people;
pub mod places;
pub mod readings;
pub mod records;
pub mod sessions;
pub mod stock;
pub mod system;

use utoipa_actix_web::service_config::ServiceConfig;

/// Registers what stands under `/api/v1`.
pub fn api(config: &mut ServiceConfig) {
    sessions::routes(config);
    people::routes(config);
    places::routes(config);
    growing::routes(config);
    instruments::routes(config);
    readings::routes(config);
    alerts::routes(config);
    stock::routes(config);
}
