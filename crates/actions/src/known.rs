//! Whether what an entry names is there.

use std::collections::HashMap;

use fillmark_domain::Faults;
use fillmark_store::{Reference, SiteScope, Tx, records};
use uuid::Uuid;

use crate::Refusal;

/// What was looked for, and whether it was there: a batch names the same tank five hundred times.
#[derive(Debug, Default)]
pub(crate) struct Known(HashMap<(&'static str, Uuid), bool>);

impl Known {
    /// Adds a fault for each that is not there or archived.
    pub(crate) async fn look_up(
        &mut self,
        tx: &Tx,
        scope: SiteScope,
        named: impl IntoIterator<Item = Reference>,
        faults: &mut Faults,
    ) -> Result<(), Refusal> {
        for reference in named {
            let key = (reference.table, reference.id);
            let there = match self.0.get(&key) {
                Some(there) => *there,
                None => records::exists(tx, scope, reference).await?,
            };
            self.0.insert(key, there);
            refuse_unknown(faults, reference.pointer, there);
        }
        Ok(())
    }
}

/// Adds a fault for a field whose record is not there.
pub(crate) fn refuse_unknown(faults: &mut Faults, pointer: &str, there: bool) {
    faults.unless(there, pointer, "unknown_id", "expected the id of a record that is there and not archived");
}
