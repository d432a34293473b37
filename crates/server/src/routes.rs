//! Every route, by subject.

pub mod additions;
pub mod alerts;
mod batch;
pub mod calculators;
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

use actix_web::dev::HttpServiceFactory;
use actix_web::web;
use utoipa_actix_web::service_config::ServiceConfig;
use utoipa_actix_web::{OpenApiFactory, scope};

/// Where routes are registered: to be served, or to be served and written down. What is written down takes many times
/// as long to make, and a server that starts has the document already.
pub enum Registry<'a, 's> {
    /// To be served.
    Served(&'a mut web::ServiceConfig),
    /// To be written down.
    Written(&'a mut ServiceConfig<'s>),
}

impl Registry<'_, '_> {
    /// Registers a route.
    pub fn service<F: HttpServiceFactory + OpenApiFactory + 'static>(&mut self, route: F) -> &mut Self {
        match self {
            Registry::Served(config) => drop(config.service(route)),
            Registry::Written(config) => drop(config.service(route)),
        }
        self
    }
}

/// Registers all routes.
pub fn all(config: &mut web::ServiceConfig) {
    top(&mut Registry::Served(config));
    config.service(web::scope(API).configure(|config| api(&mut Registry::Served(config))));
}

/// Registers all routes to be written down.
pub fn all_written(config: &mut ServiceConfig) {
    top(&mut Registry::Written(config));
    config.service(scope::scope(API).configure(|config| api(&mut Registry::Written(config))));
}

/// Where the API stands.
const API: &str = "/api/v1";

fn top(config: &mut Registry) {
    config.service(system::read_health).service(system::read_readiness);
    config.service(system::read_problem_kind).service(system::read_document);
}

/// Registers what stands under [`API`]. A request is held against the routes in this order, each a pattern to be tried: what
/// is asked for all day comes before what is set up once.
fn api(config: &mut Registry) {
    readings::routes(config);
    checks::routes(config);
    rounds::routes(config);
    additions::routes(config);
    tank_changes::routes(config);
    harvests::routes(config);
    alerts::routes(config);
    reports::routes(config);
    reviews::routes(config);
    forecast::routes(config);
    calculators::routes(config);
    sessions::routes(config);
    stock::routes(config);
    journal::routes(config);
    work::routes(config);
    instruments::routes(config);
    growing::routes(config);
    people::routes(config);
    devices::routes(config);
    places::routes(config);
}
