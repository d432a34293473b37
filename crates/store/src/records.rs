//! Records with the common life: created, found, listed, changed under their version, archived.

mod life;
mod page;

pub(crate) use life::all_since;
pub use life::{all, all_ever, archive, change, create, exists, find, find_many, hold, is_held, lock};
pub use page::{Filter, Page, PageQuery, SortKey, SortValue, page, page_of};
pub(crate) use page::{cut, rows_of};

use fillmark_domain::Kept;
use sea_orm::{ActiveModelTrait, EntityTrait, FromQueryResult, IntoActiveModel, ModelTrait};
use uuid::Uuid;

use crate::{BrokenRow, Scope};

/// A word whose table has `id`, `version`, `created_at`, `updated_at` and `archived_at` beside its content, and
/// `site_id` first when it belongs to a site.
pub trait Record: Clone + Send + Sync + Sized + 'static {
    /// Whose rows these are.
    type Scope: Scope;
    /// The table.
    type Entity: EntityTrait<Model = Self::Row, ActiveModel = Self::Change>;
    /// A row of it.
    type Row: ModelTrait<Entity = Self::Entity>
        + FromQueryResult
        + IntoActiveModel<Self::Change>
        + Send
        + Sync;
    /// A change of a row.
    type Change: ActiveModelTrait<Entity = Self::Entity> + sea_orm::ActiveModelBehavior + Send;

    /// What the journal and error texts call it.
    const WORD: &'static str;
    /// Columns that a list may be ordered by; none of them is ever null.
    const ORDERED_BY: &'static [&'static str] = &["created_at"];
    /// Columns of ids that a list may be narrowed by.
    const NARROWED_BY: &'static [&'static str] = &[];

    /// Columns that the journal leaves out: names of people, which can be erased while the journal stays whole.
    const UNTOLD: &'static [&'static str] = &[];

    /// Whether who may do what follows from it, so that those who were looked up before a change are looked up again.
    const TELLS_WHO_MAY: bool = false;

    /// The content's columns, set; those of the common life are left alone.
    fn columns(&self) -> Self::Change;

    /// The record in a row.
    /// # Errors
    /// When the row breaks a rule of the domain.
    fn read(row: Self::Row) -> Result<Kept<Self>, BrokenRow>;

    /// The other records this one names, and by which field.
    fn references(&self) -> Vec<Reference> {
        Vec::new()
    }
}

/// A record named by another.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Reference {
    /// The field that names it, as a JSON pointer.
    pub pointer: &'static str,
    /// Its table.
    pub table: &'static str,
    /// Whether that table belongs to sites.
    pub of_site: bool,
    /// Its id.
    pub id: Uuid,
}

impl Reference {
    /// A record of the same site.
    pub fn of_site(pointer: &'static str, table: &'static str, id: impl Into<Uuid>) -> Self {
        Self { pointer, table, of_site: true, id: id.into() }
    }

    /// A record of the business.
    pub fn of_business(pointer: &'static str, table: &'static str, id: impl Into<Uuid>) -> Self {
        Self { pointer, table, of_site: false, id: id.into() }
    }
}

/// A table whose rows keep the records they name from being archived.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Holder {
    /// What its records are called.
    pub word: &'static str,
    /// The table.
    pub table: &'static str,
    /// The column that names the record.
    pub column: &'static str,
}
