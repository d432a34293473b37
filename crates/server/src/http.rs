//! What all routes share.

pub mod answer;
pub mod app_data;
pub mod body;
pub mod csv;
pub mod known;
pub mod list;
pub mod once;
pub mod origin;
pub mod outer;
pub mod problem;
pub mod query;
pub mod signed_in;

pub use answer::{Created, Found, Gone, Seen};
pub use app_data::AppData;
pub use body::Json;
pub use list::ListQuery;
pub use origin::Origin;
pub use problem::{AskProblems, ReadProblems, Refused, WriteProblems};
pub use query::Query;
pub use signed_in::SignedIn;
