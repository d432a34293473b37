//! Rows by the hundred, written by few statements that a database has read and planned before.

use std::collections::BTreeMap;

use sea_orm::{
    ActiveModelBehavior, ActiveModelTrait, ActiveValue, ConnectionTrait, DbBackend, EntityName, EntityTrait,
    IdenStatic, Iterable, Statement, Value,
};

use crate::{StoreError, Tx};

/// So many rows are written by one statement at most: below the number of variables that either database takes.
const AT_ONCE: usize = 512;

/// Writes new rows. Those of one form keep their order.
pub(crate) async fn insert<M>(tx: &Tx, rows: &[M]) -> Result<(), StoreError>
where
    M: ActiveModelTrait + ActiveModelBehavior + Send,
{
    if tx.is_postgres() {
        return insert_columns(tx, rows).await;
    }
    for portion in in_steps(rows) {
        M::Entity::insert_many(portion.iter().cloned()).exec_without_returning(&tx.0).await?;
    }
    Ok(())
}

/// To PostgreSQL each column goes as one array, so that there is one statement for whatever number of rows. An array here
/// holds no nulls: rows go with those that have the same columns.
async fn insert_columns<M: ActiveModelTrait>(tx: &Tx, rows: &[M]) -> Result<(), StoreError> {
    let table = M::Entity::default();
    for (columns, values) in by_form(rows) {
        let places: Vec<String> = (1..=columns.len()).map(|place| format!("${place}")).collect();
        let insert = format!(
            "insert into \"{}\" (\"{}\") select * from unnest({})",
            table.table_name(),
            columns.join("\", \""),
            places.join(", ")
        );
        tx.0.execute_raw(Statement::from_sql_and_values(DbBackend::Postgres, insert, arrays(values))).await?;
    }
    Ok(())
}

/// The values of each column, by the columns that rows have.
fn by_form<M: ActiveModelTrait>(rows: &[M]) -> BTreeMap<Vec<&'static str>, Vec<Vec<Value>>> {
    let mut forms: BTreeMap<Vec<&'static str>, Vec<Vec<Value>>> = BTreeMap::new();
    for row in rows {
        let (mut columns, mut values) = (Vec::new(), Vec::new());
        for column in <M::Entity as EntityTrait>::Column::iter() {
            if let ActiveValue::Set(value) = row.get(column)
                && value != value.as_null()
            {
                columns.push(column.as_str());
                values.push(value);
            }
        }
        let form = forms.entry(columns).or_insert_with(|| vec![Vec::new(); values.len()]);
        form.iter_mut().zip(values).for_each(|(column, value)| column.push(value));
    }
    forms
}

/// Arrays of values that are of one type each.
pub(crate) fn arrays(columns: Vec<Vec<Value>>) -> impl Iterator<Item = Value> {
    columns.into_iter().filter_map(|column| {
        let kind = column.first()?.array_type();
        Some(Value::Array(kind, Some(Box::new(column))))
    })
}

/// Rows in portions of which each is a power of two. Every number of rows is a statement of its own, which SQLite has to
/// read and plan before it can do it again: there are ten of these, not five hundred.
fn in_steps<T>(mut rows: &[T]) -> impl Iterator<Item = &[T]> {
    std::iter::from_fn(move || {
        let most = rows.len().min(AT_ONCE);
        let (portion, rest) = rows.split_at(1 << most.checked_ilog2()?);
        rows = rest;
        Some(portion)
    })
}

#[cfg(test)]
mod tests {
    use sea_orm::Set;

    use super::*;
    use crate::words::tanks::row::ActiveModel;

    #[test]
    fn rows_are_written_in_powers_of_two_and_none_is_left_out() {
        let sizes = |count| in_steps(&vec![(); count]).map(<[()]>::len).collect::<Vec<_>>();
        assert_eq!(sizes(500), [256, 128, 64, 32, 16, 4]);
        assert_eq!(sizes(1_025), [512, 512, 1]);
        assert_eq!(sizes(0), [0; 0]);
        let rows: Vec<u32> = (0..77).collect();
        assert_eq!(in_steps(&rows).flatten().copied().collect::<Vec<_>>(), rows);
    }

    #[test]
    fn rows_go_with_those_that_have_the_same_columns() {
        let row = |version, archived| ActiveModel {
            version: Set(version),
            archived_at: Set(archived),
            ..Default::default()
        };
        let at = "2026-11-24T06:00:00Z".parse().ok();
        let forms: Vec<_> = by_form(&[row(1, None), row(2, at), row(3, None)]).into_iter().collect();
        let whole = |numbers: &[i64]| numbers.iter().map(|number| Value::from(*number)).collect::<Vec<_>>();
        assert_eq!(forms[0].1, [whole(&[1, 3])]);
        assert_eq!(forms[1].0, ["version", "archived_at"]);
        assert_eq!(forms[1].1[0], whole(&[2]));
    }
}
