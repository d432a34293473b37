//! Whether what an entry names is there.

use std::collections::HashMap;

use fillmark_domain::Faults;
use fillmark_domain::people::PersonId;
use fillmark_store::{Reference, SiteScope, Tx, accounts, records};
use uuid::Uuid;

use crate::Refusal;

/// What was looked for, and whether it was there: a batch names the same tank five hundred times.
#[derive(Debug, Default)]
pub(crate) struct Known {
    there: HashMap<(&'static str, Uuid), bool>,
    strangers: HashMap<PersonId, bool>,
}

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
            let there = match self.there.get(&key) {
                Some(there) => *there,
                None => records::exists(tx, scope, reference).await?,
            };
            self.there.insert(key, there);
            refuse_unknown(faults, reference.pointer, there);
        }
        Ok(())
    }

    /// Adds a fault for somebody who is not there, or whose roles are all at other sites. When the roles were is not asked:
    /// they are often given after the first day of work. Nor is one wanted at all: who only picks has none.
    pub(crate) async fn look_up_doer(
        &mut self,
        tx: &Tx,
        scope: SiteScope,
        pointer: &'static str,
        person: Option<PersonId>,
        faults: &mut Faults,
    ) -> Result<(), Refusal> {
        let Some(person) = person else { return Ok(()) };
        let named = [Reference::of_business(pointer, "people", person.uuid())];
        self.look_up(tx, scope, named, faults).await?;
        let stranger = match self.strangers.get(&person) {
            Some(stranger) => *stranger,
            None => {
                let roles = accounts::memberships_of(tx, &[person]).await?;
                !roles.is_empty() && !roles.iter().any(|role| role.content.reaches(scope.id()))
            }
        };
        self.strangers.insert(person, stranger);
        let detail = "expected somebody with a role at this site; their roles are at others";
        faults.unless(!stranger, pointer, "no_role", detail);
        Ok(())
    }
}

/// Adds a fault for a field whose record is not there.
pub(crate) fn refuse_unknown(faults: &mut Faults, pointer: &str, there: bool) {
    faults.unless(there, pointer, "unknown_id", "expected the id of a record that is there and not archived");
}
