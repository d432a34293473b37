//! Whether what an entry names is there.

use std::collections::HashMap;

use fillmark_domain::entries::Advice;
use fillmark_domain::people::PersonId;
use fillmark_domain::places::TankId;
use fillmark_domain::{Faults, Id};
use fillmark_store::{Reference, SiteScope, Tx, accounts, advice, records};
use uuid::Uuid;

use crate::Refusal;

/// What was looked for, and whether it was there: a batch names the same tank five hundred times.
#[derive(Debug, Default)]
pub(crate) struct Known {
    there: HashMap<(&'static str, Uuid), bool>,
    strangers: HashMap<PersonId, bool>,
    advised: HashMap<Id<Advice>, Option<TankId>>,
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

    /// Adds a fault for advice that is not there, or was given for another tank.
    pub(crate) async fn look_up_advice(
        &mut self,
        tx: &Tx,
        scope: SiteScope,
        named: Option<Id<Advice>>,
        tank: TankId,
        faults: &mut Faults,
    ) -> Result<(), Refusal> {
        let Some(id) = named else { return Ok(()) };
        let given_for = match self.advised.get(&id) {
            Some(given_for) => *given_for,
            None => advice::find(tx, scope, id).await?.map(|advice| advice.tank),
        };
        self.advised.insert(id, given_for);
        let detail = "expected the id of advice that was given for this tank";
        faults.unless(given_for == Some(tank), "/advice_id", "unknown_id", detail);
        Ok(())
    }
}

/// Adds a fault for a field whose record is not there.
pub(crate) fn refuse_unknown(faults: &mut Faults, pointer: &str, there: bool) {
    faults.unless(there, pointer, "unknown_id", "expected the id of a record that is there and not archived");
}
