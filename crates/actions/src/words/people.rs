//! People and memberships.

use fillmark_domain::people::{Act, Device, Membership, Person, PersonId};
use fillmark_domain::{Faults, Id, Kept};
use fillmark_store::{BusinessScope, Stamp, Tx, accounts, records};

use crate::{Caller, Managed, Refusal};

impl Managed for Person {
    const MANAGED_BY: Act = Act::ManagePeople;

    /// Whoever may give a person all their roles may change who they are, and with what they sign in.
    async fn within_reach(
        &self,
        tx: &Tx,
        _: BusinessScope,
        caller: &Caller,
        id: Option<Id<Person>>,
    ) -> Result<(), Refusal> {
        let Some(id) = id else { return Ok(()) };
        for membership in accounts::memberships_of(tx, &[id]).await? {
            caller.may_appoint(membership.content.role, membership.content.site)?;
        }
        Ok(())
    }

    /// Who is put away has left: their roles end, and their sessions with their password. The next beat hands on what
    /// their rounds hold.
    async fn follow(
        tx: &Tx,
        scope: BusinessScope,
        stamp: &Stamp<'_>,
        kept: &Kept<Person>,
    ) -> Result<(), Refusal> {
        if kept.archived_at.is_some() {
            end_roles(tx, scope, stamp, kept.id).await?;
            accounts::end_sessions_of(tx, kept.id, None, stamp.at).await?;
            accounts::forget_password(tx, kept.id).await?;
        }
        leave_an_owner(tx, stamp, kept).await
    }
}

impl Managed for Membership {
    const MANAGED_BY: Act = Act::ManagePeople;

    async fn within_reach(
        &self,
        _: &Tx,
        _: BusinessScope,
        caller: &Caller,
        _: Option<Id<Membership>>,
    ) -> Result<(), Refusal> {
        caller.may_appoint(self.role, self.site)
    }

    async fn follow(
        tx: &Tx,
        _: BusinessScope,
        stamp: &Stamp<'_>,
        kept: &Kept<Membership>,
    ) -> Result<(), Refusal> {
        leave_an_owner(tx, stamp, kept).await
    }

    fn faults(&self) -> Faults {
        let mut faults = Faults::default();
        let in_order = self.until.is_none_or(|until| self.from < until);
        faults.unless(in_order, "/until_at", "out_of_order", "expected an instant after from_at");
        faults
    }
}

impl Managed for Device {
    const MANAGED_BY: Act = Act::Manage;
}

async fn end_roles(
    tx: &Tx,
    scope: BusinessScope,
    stamp: &Stamp<'_>,
    person: PersonId,
) -> Result<(), Refusal> {
    for role in accounts::memberships_of(tx, &[person]).await? {
        let kept = match role.content.clone().ended(stamp.at) {
            Some(ended) if ended == role.content => continue,
            Some(ended) => records::change(tx, scope, role.id, role.version, stamp, &ended).await?,
            None => records::archive::<Membership>(tx, scope, role.id, role.version, stamp).await?,
        };
        kept.ok_or(Refusal::Stale)?;
    }
    Ok(())
}

/// Without an owner who can sign in nobody could let anybody in any more. What is new takes no owner away.
async fn leave_an_owner<R>(tx: &Tx, stamp: &Stamp<'_>, kept: &Kept<R>) -> Result<(), Refusal> {
    if kept.version == 1 {
        return Ok(());
    }
    tx.take_turn("owners").await?;
    match accounts::has_owner(tx, stamp.at).await? {
        true => Ok(()),
        false => Err(Refusal::Conflict("the business would be left without an owner of every site".into())),
    }
}
