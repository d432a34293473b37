//! What a database holds in a few figures: two that agree in them hold the same ledger and the same journals.

use sea_orm::{ConnectionTrait, EntityTrait, QuerySelect, Statement};
use uuid::Uuid;

use crate::journal::chain::{self, Head};
use crate::journal::row;
use crate::{Store, StoreError, Tx, holdings};

/// A database in a few figures.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Summary {
    /// The newest change of the schema in it.
    pub schema: String,
    /// How many balances there are: one a lot and site.
    pub balances: u64,
    /// Their sum, thousandths of mL or g.
    pub sum: i64,
    /// Where the chain of each journal stands, by the site; nil for the business.
    pub journals: Vec<(Uuid, Head)>,
}

/// Sums a database up.
/// # Errors
/// When the database fails.
pub async fn summary(tx: &Tx) -> Result<Summary, StoreError> {
    let owners = row::Entity::find().select_only().column(row::Column::SiteId).distinct();
    let mut owners: Vec<Uuid> = owners.into_tuple().all(&tx.0).await?;
    owners.sort_unstable();
    let mut journals = Vec::with_capacity(owners.len());
    for owner in owners {
        journals.push((owner, chain::head(tx, owner).await?));
    }
    let newest = "select max(version) from seaql_migrations";
    let newest = Statement::from_string(tx.0.get_database_backend(), newest);
    let schema = tx.0.query_one_raw(newest).await?.map(|row| row.try_get_by_index(0)).transpose()?;
    let balances = holdings::balances(tx).await?;
    let sum = balances.iter().map(|(_, _, balance)| balance).sum();
    Ok(Summary { schema: schema.unwrap_or_default(), balances: balances.len() as u64, sum, journals })
}

/// Writes one consistent copy of an embedded database to a file that is not there yet, while others read and write.
/// # Errors
/// When the database fails, or the disk is full; what was written of the file is of no use then.
pub async fn copy_to(store: &Store, file: &std::path::Path) -> Result<(), StoreError> {
    let connection = store.for_migrations();
    let into = Statement::from_sql_and_values(
        connection.get_database_backend(),
        "vacuum into ?",
        [file.display().to_string().into()],
    );
    connection.execute_raw(into).await?;
    Ok(())
}
