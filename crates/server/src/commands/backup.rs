//! A copy of the embedded database that can be trusted, and its way back.

use std::fs::{DirBuilder, File, OpenOptions};
use std::io::{Read, Write};
use std::os::unix::fs::{DirBuilderExt, OpenOptionsExt};
use std::path::{Path, PathBuf};
use std::time::Instant;

use chrono::{DateTime, SecondsFormat, Utc};
use fillmark_store::journal::chain::Head;
use fillmark_store::summary::{self, Summary};
use fillmark_store::{Database, Store, StoreError, verify};
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use uuid::Uuid;

use crate::hold::{Hold, HoldError};

const DATABASE: &str = "fillmark.sqlite";
const MANIFEST: &str = "manifest.json";

/// What a backup is, beside its file.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Manifest {
    /// When it was made.
    made_at: String,
    /// By which version.
    version: String,
    /// The newest change of the schema in it.
    schema: String,
    /// Name of the database's file.
    file: String,
    /// Its length.
    bytes: u64,
    /// Its SHA-256 (FIPS 180-4), in hex.
    sha256: String,
    /// How many balances of lots it holds.
    balances: u64,
    /// Their sum, thousandths of mL or g.
    balance_sum: i64,
    /// Where each journal stands.
    journals: Vec<JournalHead>,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct JournalHead {
    /// The site; nil for the business.
    owner: Uuid,
    /// The number of its last sealed entry.
    seq: i64,
    /// That entry's hash.
    hash: String,
}

/// Why there is no backup, or why it was not restored.
#[derive(Debug, thiserror::Error)]
pub enum BackupError {
    /// PostgreSQL has its own tools.
    #[error("this copies the embedded database; PostgreSQL is copied by pg_dump, as the README shows")]
    Postgres,
    /// There is nothing to copy.
    #[error("there is no database at {path}")]
    Nothing {
        /// Where it was looked for.
        path: PathBuf,
    },
    /// Something is there already.
    #[error("{path} is there already, and nothing is written over")]
    There {
        /// What is there.
        path: PathBuf,
    },
    /// A file or folder cannot be read or written.
    #[error("cannot read or write {path}")]
    Files {
        /// The file or folder.
        path: PathBuf,
        /// Why.
        #[source]
        source: std::io::Error,
    },
    /// The manifest is none.
    #[error("{path} is no manifest of a backup")]
    NoManifest {
        /// The file.
        path: PathBuf,
        /// Why.
        #[source]
        source: serde_json::Error,
    },
    /// A newer version made it.
    #[error("the backup was made by a newer version of Fillmark (it has {schema}); update this binary")]
    Newer {
        /// The change of the schema that this one does not know.
        schema: String,
    },
    /// The backup is not what its manifest says.
    #[error("the backup is damaged: {what} is not what its manifest says; nothing was restored")]
    Damaged {
        /// What differs.
        what: &'static str,
    },
    /// Records of the backup are not what was written.
    #[error("{count} not as written; nothing was restored:\n{broken}")]
    Broken {
        /// How many.
        count: usize,
        /// Each on a line.
        broken: String,
    },
    /// The folder is in use.
    #[error(transparent)]
    Held(#[from] HoldError),
    /// A database cannot be read or written.
    #[error("the database cannot be read or written")]
    Store(#[from] StoreError),
}

/// Copies an embedded database, in use or not, into a folder of its own within another, and says where.
/// # Errors
/// [`BackupError`]; what is not complete never has a backup's name.
pub async fn backup(database: &Database, within: &Path, now: DateTime<Utc>) -> Result<String, BackupError> {
    let began = Instant::now();
    let Database::Sqlite { path } = database else { return Err(BackupError::Postgres) };
    if !path.exists() {
        return Err(BackupError::Nothing { path: path.clone() });
    }
    let folder = within.join(format!("fillmark-{}", now.format("%Y%m%dT%H%M%SZ")));
    let unfinished = folder.with_extension("unfinished");
    for folder in [&folder, &unfinished] {
        refuse_what_is_there(folder)?;
    }
    let failed = |source| BackupError::Files { path: unfinished.clone(), source };
    DirBuilder::new().recursive(true).mode(0o700).create(&unfinished).map_err(failed)?;

    let file = unfinished.join(DATABASE);
    private(&file).map_err(failed)?;
    let store = Store::open(database, 1).await?;
    summary::copy_to(&store, &file).await?;
    store.close().await?;
    let manifest = Manifest::of(&file, summary_of(&file).await?, now).map_err(failed)?;
    let mut text = private(&unfinished.join(MANIFEST)).map_err(failed)?;
    serde_json::to_writer_pretty(&mut text, &manifest).map_err(|error| failed(error.into()))?;
    text.sync_all().map_err(failed)?;
    std::fs::rename(&unfinished, &folder).map_err(failed)?;
    File::open(within).and_then(|within| within.sync_all()).map_err(failed)?;
    let (megabytes, seconds) = (manifest.bytes as f64 / 1e6, began.elapsed().as_secs_f64());
    Ok(format!("{}\n{megabytes:.1} MB, {seconds:.1} s\n", folder.display()))
}

/// Puts a backup in the place of an embedded database where there is none, and says what it holds. Looks at all of
/// its records when asked to.
/// # Errors
/// [`BackupError`]; then nothing is put in place.
pub async fn restore(from: &Path, database: &Database, look: bool) -> Result<String, BackupError> {
    let (Database::Sqlite { path }, Some(folder)) = (database, database.folder()) else {
        return Err(BackupError::Postgres);
    };
    let manifest = Manifest::read(&from.join(MANIFEST))?;
    if !fillmark_migrations::known().contains(&manifest.schema) {
        return Err(BackupError::Newer { schema: manifest.schema });
    }
    let _hold = Hold::take(folder)?;
    refuse_what_is_there(path)?;
    let arriving = path.with_extension("arriving");
    let restored = arrive(&manifest, from, &arriving, look).await;
    if restored.is_ok() {
        std::fs::rename(&arriving, path)
            .and_then(|()| File::open(folder)?.sync_all())
            .map_err(|source| BackupError::Files { path: path.clone(), source })?;
    } else {
        // What arrived is of no use; that it cannot be removed changes nothing about that.
        drop(std::fs::remove_file(&arriving));
    }
    restored
}

/// Where each journal stood when a backup was made, by its manifest or the folder that holds it.
pub(super) fn heads_in(manifest: &Path) -> Result<Vec<(Uuid, Head)>, BackupError> {
    let file = if manifest.is_dir() { manifest.join(MANIFEST) } else { manifest.to_owned() };
    let head = |JournalHead { owner, seq, hash }| (owner, Head { seq, hash });
    Ok(Manifest::read(&file)?.journals.into_iter().map(head).collect())
}

async fn arrive(manifest: &Manifest, from: &Path, to: &Path, look: bool) -> Result<String, BackupError> {
    let failed = |source| BackupError::Files { path: to.to_owned(), source };
    let source = from.join(&manifest.file);
    let (bytes, sha256) = copied(&source, to).map_err(failed)?;
    if (bytes, &sha256) != (manifest.bytes, &manifest.sha256) {
        return Err(BackupError::Damaged { what: "the file" });
    }
    let found = summary_of(to).await?;
    if found.schema != manifest.schema {
        return Err(BackupError::Damaged { what: "the schema" });
    }
    if found.journals.iter().map(JournalHead::of).ne(manifest.journals.iter().cloned()) {
        return Err(BackupError::Damaged { what: "a journal" });
    }
    if (found.balances, found.sum) != (manifest.balances, manifest.balance_sum) {
        return Err(BackupError::Damaged { what: "the sum of balances" });
    }
    let mut told = format!("restored what was copied at {}\n", manifest.made_at);
    if look {
        told.push_str(&looked_at(to).await?);
    }
    Ok(told)
}

async fn looked_at(file: &Path) -> Result<String, BackupError> {
    let store = Store::open(&Database::Sqlite { path: file.to_owned() }, 1).await?;
    let found = verify::all(&store.look().await?).await;
    store.close().await?;
    let found = found?;
    if found.broken.is_empty() {
        return Ok(super::verify::told(&found));
    }
    let broken = found.broken.iter().map(|broken| format!("{broken}\n")).collect();
    Err(BackupError::Broken { count: found.broken.len(), broken })
}

async fn summary_of(file: &Path) -> Result<Summary, StoreError> {
    let store = Store::open(&Database::Sqlite { path: file.to_owned() }, 1).await?;
    let summary = summary::summary(&store.look().await?).await;
    store.close().await?;
    summary
}

impl Manifest {
    fn of(file: &Path, summary: Summary, now: DateTime<Utc>) -> Result<Manifest, std::io::Error> {
        let (bytes, sha256) = hashed(File::open(file)?, std::io::sink())?;
        File::open(file)?.sync_all()?;
        Ok(Manifest {
            made_at: now.to_rfc3339_opts(SecondsFormat::Millis, true),
            version: env!("CARGO_PKG_VERSION").to_owned(),
            schema: summary.schema,
            file: DATABASE.to_owned(),
            bytes,
            sha256,
            balances: summary.balances,
            balance_sum: summary.sum,
            journals: summary.journals.iter().map(JournalHead::of).collect(),
        })
    }

    fn read(path: &Path) -> Result<Manifest, BackupError> {
        let failed = |source| BackupError::Files { path: path.to_owned(), source };
        let text = std::fs::read_to_string(path).map_err(failed)?;
        let none = |source| BackupError::NoManifest { path: path.to_owned(), source };
        let manifest: Manifest = serde_json::from_str(&text).map_err(none)?;
        match manifest.file.as_str() {
            DATABASE => Ok(manifest),
            _ => Err(BackupError::Damaged { what: "the name of the file" }),
        }
    }
}

impl JournalHead {
    fn of((owner, head): &(Uuid, Head)) -> JournalHead {
        JournalHead { owner: *owner, seq: head.seq, hash: head.hash.clone() }
    }
}

fn refuse_what_is_there(path: &Path) -> Result<(), BackupError> {
    if path.exists() { Err(BackupError::There { path: path.to_owned() }) } else { Ok(()) }
}

/// A new file that only its owner reads: it holds password hashes and signing keys.
fn private(path: &Path) -> Result<File, std::io::Error> {
    OpenOptions::new().write(true).create_new(true).mode(0o600).open(path)
}

fn copied(from: &Path, to: &Path) -> Result<(u64, String), std::io::Error> {
    let to = private(to)?;
    let found = hashed(File::open(from)?, &to)?;
    to.sync_all()?;
    Ok(found)
}

/// Length and SHA-256 of what is read, all of it written on.
fn hashed(mut from: impl Read, mut to: impl Write) -> Result<(u64, String), std::io::Error> {
    let (mut digest, mut bytes, mut part) = (Sha256::new(), 0, vec![0; 1 << 16]);
    loop {
        let read = from.read(&mut part)?;
        if read == 0 {
            return Ok((bytes, format!("{:x}", digest.finalize())));
        }
        digest.update(&part[..read]);
        to.write_all(&part[..read])?;
        bytes += read as u64;
    }
}
