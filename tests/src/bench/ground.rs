//! Databases to measure on: files of SQLite, or a PostgreSQL server that waits for the disk.

use sea_orm_migration::sea_orm::{ConnectionTrait, Database};
use tempfile::TempDir;

use crate::cluster::Cluster;
use crate::fresh::{Fresh, Kind};
use crate::yard::Yard;

/// Connections of a server that has a setting for them: as where nothing is configured.
const CONNECTIONS: u32 = 8;

/// Where the databases of a measurement are, removed when dropped.
pub struct Ground {
    /// Which database.
    pub kind: Kind,
    folder: TempDir,
    cluster: Option<Cluster>,
}

impl Ground {
    /// An empty one.
    /// # Panics
    /// When PostgreSQL is not installed.
    pub fn make(kind: Kind) -> Ground {
        let cluster = (kind == Kind::Postgres).then(Cluster::start);
        Ground { kind, folder: TempDir::new().expect("a folder"), cluster }
    }

    /// Our database with the small site. PostgreSQL has room for one.
    pub async fn yard(&self) -> Yard {
        let fresh = match &self.cluster {
            Some(cluster) => Fresh::at(cluster.url("postgres")),
            None => Fresh::new(Kind::Sqlite).await,
        };
        let mut yard = Yard::on(fresh, self.kind).await;
        yard.fresh.settings.connections = CONNECTIONS;
        yard
    }

    /// Gives PostgreSQL the figures it plans by, as its own housekeeping does within a minute: a table that was just made
    /// is taken to be spread over many sites, and found by the site alone.
    /// # Panics
    /// When it refuses.
    pub async fn settle(&self) {
        let Some(cluster) = &self.cluster else { return };
        let connection = Database::connect(cluster.url("postgres")).await.expect("the PostgreSQL server");
        connection.execute_unprepared("analyze").await.expect("figures for the planner");
        connection.close().await.expect("a closed connection");
    }

    /// The database of the bare server.
    /// # Panics
    /// When it cannot be made.
    pub async fn bare(&self) -> String {
        let Some(cluster) = &self.cluster else {
            return self.folder.path().join("bare.sqlite").display().to_string();
        };
        let administrator = Database::connect(cluster.url("postgres")).await.expect("the PostgreSQL server");
        administrator.execute_unprepared("create database bare").await.expect("a database");
        administrator.close().await.expect("a closed connection");
        cluster.url("bare")
    }
}
