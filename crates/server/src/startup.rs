//! Starting and stopping: database, schema, routes, jobs.

use std::net::TcpListener;
use std::path::Path;
use std::sync::Arc;

use actix_web::middleware::{Compress, from_fn};
use actix_web::web::{Data, PathConfig};
use actix_web::{App as Web, HttpServer, dev::ServerHandle};
use fillmark_actions::first_owner::Offer;
use fillmark_actions::{App, Clock, Refusal, keys};
use fillmark_api::ProblemCode;
use fillmark_domain::people::keys::KeyPurpose;
use fillmark_migrations::MigrationError;
use fillmark_store::{Database, Store, StoreError};
use futures_util::future::LocalBoxFuture;
use utoipa_swagger_ui::{Config, SwaggerUi};

use crate::hold::{self, Hold, HoldError};
use crate::http::Refused;
use crate::http::known::KnownPaths;
use crate::http::list::CursorKey;
use crate::http::once::once;
use crate::http::origin::TrustedProxies;
use crate::http::outer::{nothing_here, outer};
use crate::jobs::Pulse;
use crate::metrics::{self, Metrics};
use crate::routes::system::{DocumentText, KeptIn, Ready};
use crate::tokens::TokenKeys;
use crate::{Settings, document, jobs, routes};

/// Why the server could not start.
#[derive(Debug, thiserror::Error)]
pub enum StartError {
    /// The database's folder cannot be had.
    #[error(transparent)]
    NoFolder(#[from] HoldError),
    /// The database cannot be opened.
    #[error("cannot open the database")]
    NoDatabase(#[from] StoreError),
    /// The schema cannot be brought up.
    #[error(transparent)]
    Schema(#[from] fillmark_migrations::MigrationError),
    /// The address cannot be listened at.
    #[error("cannot listen at {address}")]
    NoAddress {
        /// The address.
        address: String,
        /// Why.
        #[source]
        source: std::io::Error,
    },
    /// The keys that sign tokens cannot be had.
    #[error("cannot read the signing keys")]
    NoKeys(#[source] Refusal),
    /// It cannot be told whether there is an owner.
    #[error("cannot tell whether the business has an owner")]
    NoOffer(#[source] Refusal),
    /// The jobs cannot be started.
    #[error("cannot start the jobs")]
    NoJobs(#[from] jobs::JobError),
}

/// A server that runs.
pub struct Running {
    /// `http://address:port`
    pub address: String,
    /// What its routes act on.
    pub app: App,
    /// The code that makes its bearer the first owner, where nobody can sign in yet.
    pub first_owner_code: Option<String>,
    handle: ServerHandle,
    task: tokio::task::JoinHandle<std::io::Result<()>>,
    figures: Option<Figures>,
    jobs: Option<jobs::Jobs>,
    ready: Ready,
    hold: Option<Hold>,
}

/// The server that tells figures.
struct Figures {
    address: String,
    handle: ServerHandle,
}

impl Figures {
    fn serve(listener: TcpListener, app: &App, pulse: &Pulse, metrics: &Metrics) -> std::io::Result<Figures> {
        let (address, server) = metrics::serve(listener, app, pulse, metrics)?;
        let handle = server.handle();
        tokio::spawn(server);
        Ok(Figures { address, handle })
    }
}

/// Opens the database and brings its schema up.
/// # Errors
/// [`StartError`].
pub async fn open_app(settings: &Settings, clock: Arc<dyn Clock>) -> Result<App, StartError> {
    let app = open_database(&settings.where_kept(), settings.connections, clock).await?;
    Ok(app.hashing_in(settings.password_passes))
}

/// Opens a database and brings its schema up.
/// # Errors
/// [`StartError`].
pub async fn open_database(
    database: &Database,
    connections: u32,
    clock: Arc<dyn Clock>,
) -> Result<App, StartError> {
    if let Some(folder) = database.folder() {
        hold::make(folder)?;
    }
    let store = Store::open(database, connections).await?;
    // Most starts find nothing to do, which the connection that the first question about readiness comes by can tell.
    if !fillmark_migrations::is_brought_up(store.for_looking()).await? {
        fillmark_migrations::bring_up(store.for_migrations()).await?;
    }
    Ok(App::new(store, clock))
}

/// Starts the server. The future is boxed, so that the whole server is compiled here and not once more in each program that
/// starts one.
/// # Errors
/// [`StartError`].
pub fn start(settings: &Settings, clock: Arc<dyn Clock>) -> LocalBoxFuture<'_, Result<Running, StartError>> {
    Box::pin(start_all(settings, clock))
}

async fn start_all(settings: &Settings, clock: Arc<dyn Clock>) -> Result<Running, StartError> {
    // Whoever cannot listen leaves the database alone.
    let listens = Listens {
        work: listener(&settings.listen)?,
        figures: match settings.metrics_listen.as_str() {
            "" => None,
            address => Some(listener(address)?),
        },
    };
    let hold = Hold::of(&settings.where_kept())?;
    let app = match settings.migrate {
        true => open_app(settings, clock).await?,
        false => open_current(settings, clock).await?,
    };
    serve(settings, listens, app, hold).await
}

/// Where the server listens.
struct Listens {
    work: TcpListener,
    figures: Option<TcpListener>,
}

fn listener(address: &str) -> Result<TcpListener, StartError> {
    TcpListener::bind(address).map_err(|source| StartError::NoAddress { address: address.to_owned(), source })
}

/// Opens a database whose schema somebody else brings up.
async fn open_current(settings: &Settings, clock: Arc<dyn Clock>) -> Result<App, StartError> {
    let store = Store::open(&settings.where_kept(), settings.connections).await?;
    let current = fillmark_migrations::is_current(store.for_migrations()).await;
    if !current.map_err(MigrationError::Refused)? {
        return Err(MigrationError::Older.into());
    }
    Ok(App::new(store, clock).hashing_in(settings.password_passes))
}

async fn serve(
    settings: &Settings,
    listens: Listens,
    app: App,
    hold: Option<Hold>,
) -> Result<Running, StartError> {
    let (shared, first_owner_code) = Shared::of(settings, &app).await?;
    let (pulse, metrics) = (Pulse::clone(&shared.pulse), Metrics::clone(&shared.metrics));
    let ready = Ready::clone(&shared.ready);
    let no_address = |address: &str| {
        let address = address.to_owned();
        move |source| StartError::NoAddress { address, source }
    };
    let server =
        HttpServer::new(move || {
            let shared = shared.clone();
            let ui = Config::from(document::PATH).try_it_out_enabled(true);
            Web::new()
                .wrap(from_fn(once))
                .wrap(Compress::default())
                .wrap(from_fn(outer))
                .app_data(shared.app)
                .app_data(shared.offer)
                .app_data(shared.keys)
                .app_data(shared.cursors)
                .app_data(shared.known)
                .app_data(shared.text)
                .app_data(shared.ready)
                .app_data(shared.pulse)
                .app_data(shared.metrics)
                .app_data(shared.folder)
                .app_data(shared.proxies)
                .app_data(PathConfig::default().error_handler(|_, _| {
                    Refused::new(ProblemCode::NotFound, "there is no such record").into()
                }))
                .configure(routes::all)
                .service(actix_web::web::redirect("/docs", "/docs/"))
                .service(SwaggerUi::new("/docs/{_:.*}").config(ui))
                .default_service(actix_web::web::to(nothing_here))
        })
        .workers(settings.workers)
        .disable_signals()
        .shutdown_timeout(20)
        .client_request_timeout(std::time::Duration::from_secs(5))
        .listen(listens.work)
        .map_err(no_address(&settings.listen))?;
    let address = server.addrs().first().map(|address| format!("http://{address}")).unwrap_or_default();
    let server = server.run();
    let handle = server.handle();
    let task = tokio::spawn(server);
    let figures = listens.figures.map(|listener| Figures::serve(listener, &app, &pulse, &metrics));
    let figures = figures.transpose().map_err(no_address(&settings.metrics_listen))?;
    let jobs = if settings.jobs { Some(jobs::start(app.clone(), pulse).await?) } else { None };
    ready.set(true);
    Ok(Running { address, app, first_owner_code, handle, task, figures, jobs, ready, hold })
}

#[derive(Clone)]
struct Shared {
    app: Data<App>,
    offer: Data<Offer>,
    keys: Data<TokenKeys>,
    cursors: Data<CursorKey>,
    known: Data<KnownPaths>,
    text: Data<DocumentText>,
    ready: Data<Ready>,
    proxies: Data<TrustedProxies>,
    pulse: Data<Pulse>,
    metrics: Data<Metrics>,
    folder: Data<KeptIn>,
}

impl Shared {
    /// What all workers share, and the first owner's code where one is offered.
    async fn of(settings: &Settings, app: &App) -> Result<(Self, Option<String>), StartError> {
        let tokens = TokenKeys::of(app).await.map_err(StartError::NoKeys)?;
        let cursors = keys::held(app, KeyPurpose::Cursors).await.map_err(StartError::NoKeys)?;
        let cursors = cursors.into_iter().next().map(|key| key.secret.into_bytes()).unwrap_or_default();
        let (offer, first_owner_code) = Offer::make(app).await.map_err(StartError::NoOffer)?;
        let shared = Self {
            app: Data::new(app.clone()),
            offer: Data::new(offer),
            keys: Data::new(tokens),
            cursors: Data::new(CursorKey(cursors)),
            known: Data::new(KnownPaths::of(document::COMMITTED)),
            text: Data::new(DocumentText::of(document::COMMITTED)),
            ready: Data::default(),
            pulse: Data::default(),
            metrics: Data::default(),
            folder: Data::new(KeptIn(settings.where_kept().folder().map(Path::to_owned))),
            proxies: Data::new(TrustedProxies(settings.trusted_proxies.clone())),
        };
        Ok((shared, first_owner_code))
    }
}

impl Running {
    /// Where figures about the server are told, if they are: `http://address:port`.
    pub fn metrics_address(&self) -> Option<&str> {
        self.figures.as_ref().map(|figures| figures.address.as_str())
    }

    /// Stops in order: takes no new work, finishes what is under way, ends the jobs, closes the database.
    pub async fn stop(self) {
        self.ready.set(false);
        if let Some(jobs) = self.jobs {
            jobs.stop().await;
        }
        self.handle.stop(true).await;
        if let Some(figures) = self.figures {
            figures.handle.stop(true).await;
        }
        if let Err(error) = self.task.await {
            tracing::error!(%error, "the server ended out of order");
        }
        if let Err(error) = self.app.store.close().await {
            tracing::error!(error = &error as &dyn std::error::Error, "the database was not closed in order");
        }
        drop(self.hold);
    }
}
