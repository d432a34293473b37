//! Starting and stopping: database, schema, routes, jobs.

use std::sync::Arc;

use actix_web::middleware::{Compress, from_fn};
use actix_web::web::{Data, PathConfig};
use actix_web::{App as Web, HttpServer, dev::ServerHandle};
use fillmark_actions::first_owner::Offer;
use fillmark_actions::{App, Clock, Refusal, sessions};
use fillmark_api::ProblemCode;
use fillmark_store::{Database, Store, StoreError};
use sha2::{Digest, Sha256};
use utoipa_swagger_ui::{Config, SwaggerUi};

use crate::hold::{self, Hold, HoldError};
use crate::http::Refused;
use crate::http::known::KnownPaths;
use crate::http::list::CursorKey;
use crate::http::once::once;
use crate::http::outer::{nothing_here, outer};
use crate::routes::system::{DocumentText, Ready};
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
    jobs: Option<jobs::Jobs>,
    ready: Ready,
    hold: Option<Hold>,
}

/// Opens the database and brings its schema up.
/// # Errors
/// [`StartError`].
pub async fn open_app(settings: &Settings, clock: Arc<dyn Clock>) -> Result<App, StartError> {
    open_database(&settings.where_kept(), settings.connections, clock).await
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
    fillmark_migrations::bring_up(store.for_migrations()).await?;
    Ok(App::new(store, clock))
}

/// Starts the server.
/// # Errors
/// [`StartError`].
pub async fn start(settings: &Settings, clock: Arc<dyn Clock>) -> Result<Running, StartError> {
    let hold = Hold::of(&settings.where_kept())?;
    let app = open_app(settings, clock).await?;
    serve(settings, app, hold).await
}

async fn serve(settings: &Settings, app: App, hold: Option<Hold>) -> Result<Running, StartError> {
    let keys = sessions::signing_keys(&app).await.map_err(StartError::NoKeys)?;
    let cursors = keys.first().map(|(_, secret)| Sha256::digest(secret).to_vec()).unwrap_or_default();
    let ready = Ready::default();
    let (offer, first_owner_code) = Offer::make(&app).await.map_err(StartError::NoOffer)?;
    let shared = Shared {
        app: Data::new(app.clone()),
        offer: Data::new(offer),
        keys: Data::new(TokenKeys::new(&keys)),
        cursors: Data::new(CursorKey(cursors)),
        known: Data::new(KnownPaths::of(document::COMMITTED)),
        text: Data::new(DocumentText::of(document::COMMITTED)),
        ready: Data::new(ready.clone()),
    };
    let no_address = |source| StartError::NoAddress { address: settings.listen.clone(), source };
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
                .app_data(PathConfig::default().error_handler(|_, _| {
                    Refused::new(ProblemCode::NotFound, "there is no such record").into()
                }))
                .configure(routes::all)
                .service(SwaggerUi::new("/docs/{_:.*}").config(ui))
                .default_service(actix_web::web::to(nothing_here))
        })
        .workers(settings.workers)
        .disable_signals()
        .shutdown_timeout(20)
        .client_request_timeout(std::time::Duration::from_secs(5))
        .bind(&settings.listen)
        .map_err(no_address)?;
    let address = server.addrs().first().map(|address| format!("http://{address}")).unwrap_or_default();
    let server = server.run();
    let handle = server.handle();
    let task = tokio::spawn(server);
    let jobs = if settings.jobs { Some(jobs::start(app.clone()).await?) } else { None };
    ready.set(true);
    Ok(Running { address, app, first_owner_code, handle, task, jobs, ready, hold })
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
}

impl Running {
    /// Stops in order: takes no new work, finishes what is under way, ends the jobs, closes the database.
    pub async fn stop(self) {
        self.ready.set(false);
        if let Some(jobs) = self.jobs {
            jobs.stop().await;
        }
        self.handle.stop(true).await;
        if let Err(error) = self.task.await {
            tracing::error!(%error, "the server ended out of order");
        }
        if let Err(error) = self.app.store.close().await {
            tracing::error!(error = &error as &dyn std::error::Error, "the database was not closed in order");
        }
        drop(self.hold);
    }
}
