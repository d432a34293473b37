//! Fresh databases: one a test, copied from one that was migrated once.

use std::sync::atomic::{AtomicU32, Ordering};

use fillmark_server::Settings;
use fillmark_store::{Database, Store};
use sea_orm_migration::sea_orm::{ConnectionTrait, Database as Connect, DatabaseConnection};
use tempfile::TempDir;
use tokio::sync::OnceCell;

/// Which database a claim is made on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// The embedded one.
    Sqlite,
    /// A PostgreSQL server, named by `FILLMARK_TEST_POSTGRES`.
    Postgres,
}

/// Settings of a server on a fresh database, and the folder that goes with it.
pub struct Fresh {
    /// For the server.
    pub settings: Settings,
    /// Removed when dropped.
    pub folder: TempDir,
}

impl Fresh {
    /// A fresh, migrated database.
    pub async fn new(kind: Kind) -> Fresh {
        let folder = folder();
        let database = match kind {
            Kind::Sqlite => {
                std::fs::write(folder.path().join("fillmark.sqlite"), migrated_file().await)
                    .expect("a database file");
                folder.path().display().to_string()
            }
            Kind::Postgres => copied_database().await,
        };
        Fresh { settings: settings(database), folder }
    }

    /// The database at an address.
    pub fn at(database: String) -> Fresh {
        Fresh { settings: settings(database), folder: folder() }
    }

    /// A database without a schema.
    pub async fn empty(kind: Kind) -> Fresh {
        let folder = folder();
        let database = match kind {
            Kind::Sqlite => folder.path().display().to_string(),
            Kind::Postgres => new_database("template1").await,
        };
        Fresh { settings: settings(database), folder }
    }
}

fn folder() -> TempDir {
    TempDir::new().expect("a folder for the test")
}

fn settings(database: String) -> Settings {
    Settings {
        listen: "127.0.0.1:0".into(),
        database,
        // Enough for all that a claim sends at once: an unoptimised server on a busy machine is slow to give one back.
        connections: 32,
        workers: 1,
        jobs: false,
        password_passes: 1,
        ..Settings::default()
    }
}

async fn migrated_file() -> &'static [u8] {
    static FILE: OnceCell<Vec<u8>> = OnceCell::const_new();
    FILE.get_or_init(|| async {
        let folder = TempDir::new().expect("a folder for the template");
        let path = folder.path().join("fillmark.sqlite");
        let store = Store::open(&Database::Sqlite { path: path.clone() }, 1).await.expect("a database");
        fillmark_migrations::bring_up(store.for_migrations()).await.expect("the schema");
        store.close().await.expect("a closed database");
        std::fs::read(path).expect("the database file")
    })
    .await
}

fn server_url() -> String {
    std::env::var("FILLMARK_TEST_POSTGRES")
        .expect("FILLMARK_TEST_POSTGRES names a PostgreSQL server; tests/run starts one")
}

async fn administrator() -> DatabaseConnection {
    Connect::connect(format!("{}/postgres", server_url())).await.expect("the PostgreSQL server")
}

async fn copied_database() -> String {
    static TEMPLATE: OnceCell<String> = OnceCell::const_new();
    let template = TEMPLATE
        .get_or_init(|| async {
            let name = format!("fillmark_template_{}", std::process::id());
            let administrator = administrator().await;
            administrator.execute_unprepared(&format!("create database {name}")).await.expect("a template");
            let url = format!("{}/{name}", server_url());
            let store = Store::open(&Database::Postgres { url }, 1).await.expect("the template");
            fillmark_migrations::bring_up(store.for_migrations()).await.expect("the schema");
            store.close().await.expect("a closed template");
            name
        })
        .await;
    new_database(template).await
}

async fn new_database(template: &str) -> String {
    static NEXT: AtomicU32 = AtomicU32::new(0);
    let name = format!("fillmark_test_{}_{}", std::process::id(), NEXT.fetch_add(1, Ordering::SeqCst));
    let administrator = administrator().await;
    administrator
        .execute_unprepared(&format!("create database {name} template {template}"))
        .await
        .expect("a copy");
    format!("{}/{name}", server_url())
}
