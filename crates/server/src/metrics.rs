//! Figures about the server for whoever watches it, in the OpenMetrics text format, at an address of their own.
//!
//! To add one: a field here, registered in [`Metrics::new`]. Labels come from closed lists: an address or an id among them
//! would make a new series for each.

use std::fmt;
use std::net::TcpListener;
use std::sync::Arc;
use std::sync::atomic::AtomicU64;
use std::time::Duration;

use actix_web::dev::{Server, ServiceResponse};
use actix_web::http::{Method, StatusCode};
use actix_web::web::Data;
use actix_web::{App as Web, HttpResponse, HttpServer, get};
use fillmark_actions::{App, journal};
use prometheus_client::encoding::EncodeLabelSet;
use prometheus_client::encoding::text::encode;
use prometheus_client::metrics::counter::Counter;
use prometheus_client::metrics::family::Family;
use prometheus_client::metrics::gauge::Gauge;
use prometheus_client::metrics::histogram::Histogram;
use prometheus_client::metrics::info::Info;
use prometheus_client::registry::{Registry, Unit};

use crate::jobs::Pulse;

/// Upper ends of the histogram's classes, s: from a read of one row to a report that is too slow.
const CLASSES_S: [f64; 9] = [0.001, 0.0025, 0.005, 0.01, 0.025, 0.1, 0.5, 2.0, 10.0];

type Durations = Family<OfMethod, Histogram, fn() -> Histogram>;

/// The figures of one server.
#[derive(Clone)]
pub struct Metrics {
    requests: Family<Answered, Counter>,
    durations: Durations,
    sign_ins: Family<SignIns, Counter>,
    connections: Family<Connections, Gauge>,
    unsealed: Gauge,
    beat_age: Gauge<f64, AtomicU64>,
    registry: Arc<Registry>,
}

#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
struct Answered {
    method: &'static str,
    route: String,
    status: &'static str,
}

#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
struct OfMethod {
    method: &'static str,
}

#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
struct SignIns {
    outcome: &'static str,
}

#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
struct Connections {
    state: &'static str,
}

impl Default for Metrics {
    fn default() -> Self {
        Self::new()
    }
}

impl Metrics {
    /// Figures that begin at nothing.
    pub fn new() -> Self {
        let mut all = Registry::with_prefix("fillmark");
        let requests = Family::default();
        all.register("requests", "Requests answered, by route and class of status", requests.clone());
        let durations: Durations = Family::new_with_constructor(|| Histogram::new(CLASSES_S));
        all.register_with_unit(
            "request_duration",
            "Until the answer began",
            Unit::Seconds,
            durations.clone(),
        );
        let sign_ins = Family::default();
        all.register("sign_ins", "Sign-ins tried, by what became of them", sign_ins.clone());
        let connections = Family::default();
        all.register(
            "database_connections",
            "Connections to the database, in use and idle",
            connections.clone(),
        );
        let unsealed = Gauge::default();
        all.register("journal_unsealed", "Entries of journals that are not sealed yet", unsealed.clone());
        let beat_age = Gauge::<f64, AtomicU64>::default();
        all.register_with_unit("beat_age", "Since the jobs beat last", Unit::Seconds, beat_age.clone());
        let build = Info::new(vec![("version", env!("CARGO_PKG_VERSION"))]);
        all.register("build", "The binary", build);
        let registry = Arc::new(all);
        Self { requests, durations, sign_ins, connections, unsealed, beat_age, registry }
    }

    /// Counts an answer.
    pub fn answered<B>(&self, response: &ServiceResponse<B>, took: Duration) {
        let method = method(response.request().method());
        let route = response.request().match_pattern().unwrap_or_else(|| "none".to_owned());
        let status = class(response.status());
        self.requests.get_or_create(&Answered { method, route, status }).inc();
        self.durations.get_or_create(&OfMethod { method }).observe(took.as_secs_f64());
    }

    /// Counts a sign-in.
    pub fn signed_in(&self, outcome: &'static str) {
        self.sign_ins.get_or_create(&SignIns { outcome }).inc();
    }

    /// All figures as text, as they are now.
    /// # Errors
    /// Never in practice: it writes to memory.
    pub async fn told(&self, app: &App, pulse: &Pulse) -> Result<String, fmt::Error> {
        let (held, idle) = app.store.connections();
        let whole = |count: usize| i64::try_from(count).unwrap_or(i64::MAX);
        let in_use = whole((held as usize).saturating_sub(idle));
        self.connections.get_or_create(&Connections { state: "in_use" }).set(in_use);
        self.connections.get_or_create(&Connections { state: "idle" }).set(whole(idle));
        // Where the database is silent, the last figure stands; readiness says what is wrong.
        if let Ok(unsealed) = journal::unsealed_count(app).await {
            self.unsealed.set(i64::try_from(unsealed).unwrap_or(i64::MAX));
        }
        if let Some(age) = pulse.age(app.now()) {
            self.beat_age.set(age.as_seconds_f64());
        }
        let mut text = String::new();
        encode(&mut text, &self.registry)?;
        Ok(text)
    }
}

/// Serves the figures at an address of their own.
/// # Errors
/// When the address cannot be listened at.
pub fn serve(
    listener: TcpListener,
    app: &App,
    pulse: &Pulse,
    metrics: &Metrics,
) -> std::io::Result<(String, Server)> {
    let shared = (Data::new(app.clone()), Data::new(pulse.clone()), Data::new(metrics.clone()));
    let server = HttpServer::new(move || {
        let (app, pulse, metrics) = shared.clone();
        Web::new().app_data(app).app_data(pulse).app_data(metrics).service(read_metrics)
    });
    let server = server.workers(1).disable_signals().listen(listener)?;
    let address = server.addrs().first().map(|address| format!("http://{address}")).unwrap_or_default();
    Ok((address, server.run()))
}

#[get("/metrics")]
async fn read_metrics(app: Data<App>, pulse: Data<Pulse>, metrics: Data<Metrics>) -> HttpResponse {
    match metrics.told(&app, &pulse).await {
        Ok(text) => HttpResponse::Ok()
            .content_type("application/openmetrics-text; version=1.0.0; charset=utf-8")
            .body(text),
        Err(_) => HttpResponse::InternalServerError().finish(),
    }
}

fn method(method: &Method) -> &'static str {
    match *method {
        Method::GET => "GET",
        Method::POST => "POST",
        Method::PATCH => "PATCH",
        Method::PUT => "PUT",
        Method::DELETE => "DELETE",
        _ => "other",
    }
}

fn class(status: StatusCode) -> &'static str {
    match status.as_u16() / 100 {
        2 => "2xx",
        3 => "3xx",
        4 => "4xx",
        5 => "5xx",
        _ => "other",
    }
}
