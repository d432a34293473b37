//! The first owner, and the passwords of everybody.

use fillmark_domain::people::{Act, Membership, Person, PersonId, Role, password};
use fillmark_domain::places::Site;
use fillmark_domain::{Faults, Kept};
use fillmark_store::{Tx, accounts, answers, journal, records};

use crate::passwords::{Fit, Turn};
use crate::tries::Tried;
use crate::{App, Caller, Refusal, sessions};

/// Makes somebody an owner of every site, with a password: the beginning of a business, done at the machine itself.
/// # Errors
/// When the name is in use or the password too short.
pub async fn make_owner(app: &App, person: Person, password: String) -> Result<Kept<Person>, Refusal> {
    password_faults(&person, &[], &password).or(Some(()))?;
    let hash = app.shared().hashing.hash(password).await?;

    let tx = app.store.begin().await?;
    let kept = keep_owner(app, &tx, person, &hash).await?;
    tx.commit().await?;

    Ok(kept)
}

/// What is wrong with the password that a person is to have, who works at these sites.
pub(crate) fn password_faults(person: &Person, sites: &[Kept<Site>], wanted: &str) -> Faults {
    let own = [person.name.as_str(), person.sign_in.as_deref().unwrap_or_default()];
    let sites = sites.iter().map(|site| site.content.name.as_str());
    password::faults(wanted, &own.into_iter().chain(sites).collect::<Vec<&str>>())
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
/// person end, since a new password is often the answer to a stolen one. One's own needs the present one too.
/// # Errors
/// When the caller may not, the person is not there, the password is too easy, or the present one is wrong;
/// [`Refusal::TooSoon`] when too many were wrong before.
pub async fn set_password(
    app: &App,
    caller: &Caller,
    person: PersonId,
    password: String,
    present: Option<String>,
) -> Result<(), Refusal> {
    let tx = app.store.look().await?;
    let scope = sessions::reach(&tx, caller, person).await?;
    let found = records::find::<Person>(&tx, scope, person).await?.ok_or(Refusal::NotFound)?;
    let sites = records::all::<Site>(&tx, scope).await?;
    let own_name = found.content.sign_in.as_deref().filter(|_| caller.person() == Some(person));
    let own = match own_name {
        Some(name) => accounts::find_by_sign_in(&tx, name).await?.map(|(_, hash)| hash),
        None => None,
    };
    drop(tx);
    password_faults(&found.content, &sites, &password).or(Some(()))?;
    let turn = app.shared().hashing.turn().await?;
    let turn = match caller.person() == Some(person) {
        true => fitting(app, turn, own_name.unwrap_or_default(), own.clone(), present).await?,
        false => turn,
    };
    let (_, hash) = turn.hash(password).await?;

    let stamp = app.stamp(caller);
    let tx = app.store.begin().await?;
    sessions::reach(&tx, caller, person).await?;
    let found = records::lock::<Person>(&tx, scope, person).await?.ok_or(Refusal::NotFound)?;
    if found.archived_at.is_some() {
        return Err(Refusal::Conflict("the person has left".to_owned()));
    }
    if own.is_some() && accounts::lock_password(&tx, person).await? != own {
        return Err(Refusal::Conflict("the password was set meanwhile: sign in anew".to_owned()));
    }
    accounts::set_password(&tx, person, &hash, &stamp).await?;
    accounts::end_sessions_of(&tx, person, caller.session(), stamp.at).await?;
    journal::note(&tx, scope, &stamp, "password set", "person", person.uuid()).await?;
    tx.commit().await?;

    Ok(())
}

/// The turn back, if the present password is right. One that is wrong counts as a sign-in that failed: who found a phone
/// unlocked shall not guess on it.
async fn fitting(
    app: &App,
    turn: Turn,
    sign_in: &str,
    hash: Option<String>,
    present: Option<String>,
) -> Result<Turn, Refusal> {
    let wrong = |code, expected| {
        let mut faults = Faults::default();
        faults.add("/present_password", code, expected);
        Refusal::Invalid(faults)
    };
    let present = present.ok_or_else(|| wrong("needed", "expected the password until now"))?;
    let tried = Tried::at(sign_in);
    tried.refuse_too_soon(app).await?;
    let (turn, fit) = turn.fits(present, hash).await?;
    if fit == Fit::No {
        tried.failed(app).await?;
        return Err(wrong("wrong_password", "expected the password until now; this is another"));
    }
    Ok(turn)
}

/// Erases the name of somebody who has left, with all else that tells who they were. What they did stays, signed by the
/// same id, and the journal stays whole: it never held a name.
/// # Errors
/// When the caller may not, or the person has not left.
pub async fn erase_name(app: &App, caller: &Caller, person: PersonId) -> Result<(), Refusal> {
    let stamp = app.stamp(caller);
    let tx = app.store.begin().await?;
    let scope = sessions::reach(&tx, caller, person).await?;
    let found = records::lock::<Person>(&tx, scope, person).await?.ok_or(Refusal::NotFound)?;
    if found.archived_at.is_none() {
        return Err(Refusal::Conflict("archive the person first: only who has left is erased".to_owned()));
    }
    accounts::rename(&tx, person, &Person::nameless(person), stamp.at).await?;
    accounts::forget_device_names(&tx, person).await?;
    answers::forget_about(&tx, "/api/v1/people", person.uuid()).await?;
    answers::forget_of(&tx, person.uuid()).await?;
    journal::note(&tx, scope, &stamp, "name erased", "person", person.uuid()).await?;
    tx.commit().await?;
    Ok(())
}
