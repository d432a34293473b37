//! Every route, by subject.

pub mod additions;
pub mod alerts;
pub mod balances;
mod batch;
pub mod calculators;
pub mod checks;
pub mod devices;
pub mod dosing;
pub mod forecast;
pub mod growing;
pub mod handing;
pub mod harvests;
pub mod instruments;
pub mod journal;
pub mod outlook;
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
pub mod templates;
pub mod work;

use actix_web::dev::HttpServiceFactory;
use actix_web::guard::fn_guard;
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

    /// Registers routes whose paths are about one of these words, and no others are. A request is held against patterns one
    /// after the other, which takes longer than many an answer: those about other words are passed over at once.
    fn about(&mut self, words: &'static [&'static str], routes: fn(&mut Registry)) {
        match self {
            Registry::Served(config) => {
                let about = fn_guard(move |request| words.contains(&word_of(request.head().uri.path())));
                let group = web::scope("").guard(about);
                config.service(group.configure(|config| routes(&mut Registry::Served(config))));
            }
            written @ Registry::Written(_) => routes(written),
        }
    }
}

/// What a path beneath [`API`] is about: the word after the site's id, or the first where it is of no site.
fn word_of(path: &str) -> &str {
    let mut words = path.strip_prefix(API).unwrap_or(path).split('/').skip(1);
    match words.next() {
        Some("sites") => words.nth(1).unwrap_or("sites"),
        word => word.unwrap_or_default(),
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

/// Registers what stands under [`API`]: in groups that share no word, the rest at the end.
fn api(config: &mut Registry) {
    config.about(&["readings"], readings::routes);
    config.about(&["checks"], checks::routes);
    config.about(&["rounds", "check-offers", "handover-notes"], |config| {
        rounds::routes(config);
        handing::routes(config);
        outlook::routes(config);
    });
    config.about(&["additions"], additions::routes);
    config.about(&["tank-changes"], tank_changes::routes);
    config.about(&["harvests"], harvests::routes);
    config.about(&["alerts"], alerts::routes);
    config.about(&["reviews"], reviews::routes);
    config.about(&["forecast", "forecasts"], forecast::routes);
    config.about(&["advice"], dosing::routes);
    config.about(&["journal"], journal::routes);
    config.about(&["devices"], devices::routes);
    config.about(&["sessions", "people", "memberships", "first-owner"], |config| {
        sessions::routes(config);
        people::routes(config);
    });
    config.about(
        &["sites", "rooms", "tanks", "tank-rooms", "outages", "closures", "water-sources"],
        |config| {
            reports::routes(config);
            balances::routes(config);
            places::routes(config);
        },
    );
    config.about(
        &["crops", "programmes", "programme-revisions", "cycles", "placements", "feeds"],
        growing::routes,
    );
    config.about(&["meters", "calibrations", "planned-changes"], instruments::routes);
    config
        .about(&["shifts", "absences", "check-plans", "qualifications", "held-qualifications"], work::routes);
    config.about(&["check-plan-templates"], templates::routes);
    config.about(&["calculators"], calculators::routes);
    stock::routes(config);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_path_is_about_the_word_after_its_site() {
        for (path, word) in [
            ("/api/v1/sites/7/readings/batch", "readings"),
            ("/api/v1/sites/7", "sites"),
            ("/api/v1/sites", "sites"),
            ("/api/v1/people/7/sessions", "people"),
            ("/api/v1", ""),
            ("/healthz", "healthz"),
        ] {
            assert_eq!(word_of(path), word, "{path}");
        }
    }
}
