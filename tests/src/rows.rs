//! Looking into a database past the API: at what no answer tells.

use fillmark_store::Store;
use sea_orm_migration::sea_orm::{ConnectionTrait, Statement};

/// The only number that a query finds.
/// # Panics
/// When it finds none.
pub async fn number(store: &Store, query: &str) -> i64 {
    let connection = store.for_migrations();
    let row =
        connection.query_one_raw(Statement::from_string(connection.get_database_backend(), query)).await;
    row.expect("a row").expect("a number").try_get_by_index(0).expect("a whole number")
}
