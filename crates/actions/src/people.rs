//! The first owner, and the passwords of everybody.

use fillmark_domain::Kept;
use fillmark_domain::people::{Act, Membership, Person, PersonId, Role};
use fillmark_store::{Tx, accounts, journal, records};

use crate::{App, Caller, Managed, Refusal, passwords};

/// Makes somebody an owner of every site, with a password: the beginning of a business, done at the machine itself.
/// # Errors
/// When the name is in use or the password too short.
pub async fn make_owner(app: &App, person: Person, password: String) -> Result<Kept<Person>, Refusal> {
    let hash = passwords::hashed(app, password).await?;

    let tx = app.store.begin().await?;
    let kept = keep_owner(app, &tx, person, &hash).await?;
    tx.commit().await?;

    Ok(kept)
}

/// Keeps an owner of every site with the hash of a password.
pub(crate) async fn keep_owner(
    app: &App,
    tx: &Tx,
    person: Person,
    password_hash: &str,
) -> Result<Kept<Person>, Refusal> {
    let scope = Caller::job().may_in_business(Act::ManagePeople)?;
    let stamp = app.unsigned();
    let kept = records::create(tx, scope, &stamp, &person).await?;
    let owner = Membership { person: kept.id, site: None, role: Role::Owner, from: stamp.at, until: None };
    records::create(tx, scope, &stamp, &owner).await?;
    accounts::set_password(tx, kept.id, password_hash, &stamp).await?;
    Ok(kept)
}

/// Sets a person's password: one's own, or that of anybody whose roles lie within one's own. All other sessions of the
/// person end, since a new password is often the answer to a stolen one.
/// # Errors
/// When the caller may not, the person is not there, or the password is too short.
pub async fn set_password(
    app: &App,
    caller: &Caller,
    person: PersonId,
    password: String,
) -> Result<(), Refusal> {
    let act = if caller.person() == Some(person) { Act::Read } else { Act::ManagePeople };
    let scope = caller.may_in_business(act)?;
    let hash = passwords::hashed(app, password).await?;

    let stamp = app.stamp(caller);
    let tx = app.store.begin().await?;
    let found = records::find::<Person>(&tx, scope, person).await?.ok_or(Refusal::NotFound)?;
    if act == Act::ManagePeople {
        found.content.within_reach(&tx, scope, caller, Some(person)).await?;
    }
    accounts::set_password(&tx, person, &hash, &stamp).await?;
    accounts::end_sessions_of(&tx, person, caller.session(), stamp.at).await?;
    journal::note(&tx, scope, &stamp, "password set", "person", person.uuid()).await?;
    tx.commit().await?;

    Ok(())
}
