//! Who calls, and what they may do where.

use chrono::{DateTime, Utc};
use fillmark_domain::Id;
use fillmark_domain::people::{Act, Corrects, Device, PersonId, Role};
use fillmark_domain::places::SiteId;
use fillmark_store::{BusinessScope, Scope, SiteScope};
use uuid::Uuid;

use crate::Refusal;

/// A person who is signed in, with the roles that are in force now; a device with a good token; or a job of the server.
#[derive(Debug, Clone)]
pub struct Caller(Kind);

#[derive(Debug, Clone)]
enum Kind {
    Person { person: PersonId, session: Uuid, roles: Vec<(Option<SiteId>, Role)>, there: Option<Vec<SiteId>> },
    Device { device: Id<Device>, site: SiteId },
    Job,
}

/// Leave to correct entries of a site.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Correcting {
    pub(crate) scope: SiteScope,
    whose: Corrects,
}

impl Correcting {
    /// Refuses an entry that is not the caller's to correct now.
    pub(crate) fn refuse_others(
        self,
        entered_by: Option<PersonId>,
        received_at: DateTime<Utc>,
        now: DateTime<Utc>,
    ) -> Result<(), Refusal> {
        match self.whose.allows(entered_by, received_at, now) {
            true => Ok(()),
            false => Err(Refusal::NotAllowed(Act::Correct)),
        }
    }

    /// Refuses a correction that somebody else made before under the same client id; one's own is told again, however
    /// late it is sent again.
    pub(crate) fn refuse_anothers(self, made_by: Option<PersonId>) -> Result<(), Refusal> {
        let no_time = DateTime::UNIX_EPOCH;
        self.refuse_others(made_by, no_time, no_time)
    }
}

/// A scope that is opened by a caller's rights.
pub trait Door: Scope {
    /// What it takes to say which: the site, or nothing for the business.
    type At: Copy + Send;

    /// The scope, when the caller may do this there.
    /// # Errors
    /// [`Refusal::NotFound`] outside the caller's sites, [`Refusal::NotAllowed`] inside them.
    fn open(caller: &Caller, act: Act, at: Self::At) -> Result<Self, Refusal>;

    /// The site, where it is one.
    fn site(at: Self::At) -> Option<SiteId>;
}

impl Caller {
    /// A person with these roles; no site means every site.
    pub fn person_with(person: PersonId, session: Uuid, roles: Vec<(Option<SiteId>, Role)>) -> Self {
        Caller(Kind::Person { person, session, roles, there: None })
    }

    /// The same person where these are all the sites there are: a role at every site opens no other.
    #[must_use]
    pub fn among(mut self, sites: Vec<SiteId>) -> Self {
        if let Kind::Person { there, .. } = &mut self.0 {
            *there = Some(sites);
        }
        self
    }

    /// A device of a site.
    pub fn device(device: Id<Device>, site: SiteId) -> Self {
        Caller(Kind::Device { device, site })
    }

    /// The server's own jobs and its command line at the machine itself.
    pub fn job() -> Self {
        Caller(Kind::Job)
    }

    /// Who signs for what is done.
    pub fn person(&self) -> Option<PersonId> {
        match self.0 {
            Kind::Person { person, .. } => Some(person),
            Kind::Device { .. } | Kind::Job => None,
        }
    }

    /// The device that calls.
    pub fn sent_with(&self) -> Option<Id<Device>> {
        match self.0 {
            Kind::Device { device, .. } => Some(device),
            Kind::Person { .. } | Kind::Job => None,
        }
    }

    /// Who calls, as an id.
    pub fn id(&self) -> Option<Uuid> {
        self.person().map(Id::uuid).or(self.sent_with().map(Id::uuid))
    }

    /// The session the caller is signed in with.
    pub fn session(&self) -> Option<Uuid> {
        match self.0 {
            Kind::Person { session, .. } => Some(session),
            Kind::Device { .. } | Kind::Job => None,
        }
    }

    /// The sites the caller has a role at; nothing means every site.
    pub fn sites(&self) -> Option<Vec<SiteId>> {
        match &self.0 {
            Kind::Person { roles, .. } => roles.iter().map(|(site, _)| *site).collect(),
            Kind::Device { site, .. } => Some(vec![*site]),
            Kind::Job => None,
        }
    }

    /// Leave to touch a site's rows.
    /// # Errors
    /// [`Refusal::NotFound`] outside the caller's sites, [`Refusal::NotAllowed`] inside them.
    pub fn may(&self, act: Act, site: SiteId) -> Result<SiteScope, Refusal> {
        let is_there = match &self.0 {
            Kind::Person { there, .. } => there.as_ref().is_none_or(|sites| sites.contains(&site)),
            Kind::Device { .. } | Kind::Job => true,
        };
        self.allowed(act, |role_site| role_site.map_or(is_there, |role_site| role_site == site))?;
        Ok(SiteScope::granted(site))
    }

    /// Leave to correct a site's entries, and whose: everybody's, or for a time one's own.
    /// # Errors
    /// [`Refusal::NotFound`] outside the caller's sites, [`Refusal::NotAllowed`] for those who enter none.
    pub(crate) fn may_correct(&self, site: SiteId) -> Result<Correcting, Refusal> {
        let (scope, whose) = match self.may(Act::Correct, site) {
            Err(Refusal::NotAllowed(act)) => {
                let person = self.person().ok_or(Refusal::NotAllowed(act))?;
                (self.may(Act::EnterWork, site)?, Corrects::Own(person))
            }
            anybodys => (anybodys?, Corrects::All),
        };
        Ok(Correcting { scope, whose })
    }

    /// Leave to touch the business's rows: whoever may do this at some site.
    /// # Errors
    /// [`Refusal::NotFound`] without any role, [`Refusal::NotAllowed`] with none that allows it.
    pub fn may_in_business(&self, act: Act) -> Result<BusinessScope, Refusal> {
        self.allowed(act, |_| true)?;
        Ok(BusinessScope::granted())
    }

    /// Leave to give or take a role at a site, or at every site: only what lies within one's own.
    /// # Errors
    /// [`Refusal::NotAllowed`].
    pub fn may_appoint(&self, role: Role, site: Option<SiteId>) -> Result<(), Refusal> {
        let roles = match &self.0 {
            Kind::Person { roles, .. } => roles.as_slice(),
            Kind::Device { .. } => &[],
            Kind::Job => return Ok(()),
        };
        let covers = |own: &Option<SiteId>| own.is_none() || *own == site;
        let may = roles.iter().any(|(own_site, own)| covers(own_site) && own.may_appoint(role));
        if may { Ok(()) } else { Err(Refusal::NotAllowed(Act::ManagePeople)) }
    }

    fn allowed(&self, act: Act, here: impl Fn(Option<SiteId>) -> bool) -> Result<(), Refusal> {
        let roles = match &self.0 {
            Kind::Person { roles, .. } => roles,
            Kind::Device { site, .. } if !here(Some(*site)) => return Err(Refusal::NotFound),
            Kind::Device { .. } if Device::may(act) => return Ok(()),
            Kind::Device { .. } => return Err(Refusal::NotAllowed(act)),
            Kind::Job => return Ok(()),
        };
        let mut roles = roles.iter().filter(|(site, _)| here(*site)).peekable();
        if roles.peek().is_none() {
            return Err(Refusal::NotFound);
        }
        if roles.any(|(_, role)| role.may(act)) { Ok(()) } else { Err(Refusal::NotAllowed(act)) }
    }
}

impl Door for SiteScope {
    type At = SiteId;

    fn open(caller: &Caller, act: Act, at: SiteId) -> Result<Self, Refusal> {
        caller.may(act, at)
    }

    fn site(at: SiteId) -> Option<SiteId> {
        Some(at)
    }
}

impl Door for BusinessScope {
    type At = ();

    fn open(caller: &Caller, act: Act, (): ()) -> Result<Self, Refusal> {
        caller.may_in_business(act)
    }

    fn site((): ()) -> Option<SiteId> {
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn site(n: u128) -> SiteId {
        SiteId::new(Uuid::from_u128(n))
    }

    fn caller(roles: &[(Option<SiteId>, Role)]) -> Caller {
        Caller::person_with(PersonId::new(Uuid::from_u128(9)), Uuid::nil(), roles.to_vec())
    }

    #[test]
    fn a_site_without_a_role_is_not_there() {
        let staff = caller(&[(Some(site(1)), Role::Staff)]);
        assert!(staff.may(Act::Read, site(1)).is_ok());
        assert!(matches!(staff.may(Act::Read, site(2)), Err(Refusal::NotFound)));
        assert!(matches!(staff.may(Act::Manage, site(1)), Err(Refusal::NotAllowed(Act::Manage))));
    }

    #[test]
    fn a_device_sends_readings_of_its_own_site_and_nothing_else() {
        let device = Caller::device(Id::new(Uuid::from_u128(5)), site(1));
        assert!(device.may(Act::EnterReadings, site(1)).is_ok());
        assert!(matches!(device.may(Act::EnterReadings, site(2)), Err(Refusal::NotFound)));
        assert!(matches!(device.may(Act::Read, site(1)), Err(Refusal::NotAllowed(_))));
        assert!(matches!(device.may_correct(site(1)), Err(Refusal::NotAllowed(_))));
        assert!(matches!(device.may_in_business(Act::Read), Err(Refusal::NotAllowed(_))));
        assert!(matches!(device.may_appoint(Role::Staff, Some(site(1))), Err(Refusal::NotAllowed(_))));
    }

    #[test]
    fn a_role_at_every_site_reaches_sites_to_come() {
        let owner = caller(&[(None, Role::Owner)]);
        assert!(owner.may(Act::ManageSites, site(77)).is_ok());
        assert_eq!(owner.sites(), None);
    }

    #[test]
    fn a_role_at_every_site_opens_none_that_is_not_there() {
        let owner = caller(&[(None, Role::Owner)]).among(vec![site(1)]);
        assert!(owner.may(Act::Read, site(1)).is_ok());
        assert!(matches!(owner.may(Act::Read, site(2)), Err(Refusal::NotFound)));
    }

    #[test]
    fn roles_are_given_within_ones_own_sites_and_rank() {
        let manager = caller(&[(Some(site(1)), Role::Manager)]);
        assert!(manager.may_appoint(Role::Manager, Some(site(1))).is_ok());
        for (role, at) in [(Role::Owner, Some(site(1))), (Role::Staff, Some(site(2))), (Role::Staff, None)] {
            assert!(matches!(manager.may_appoint(role, at), Err(Refusal::NotAllowed(_))), "{role:?} {at:?}");
        }
        let owner = caller(&[(Some(site(1)), Role::Owner)]);
        assert!(owner.may_appoint(Role::Owner, Some(site(1))).is_ok());
        assert!(owner.may_appoint(Role::Staff, None).is_err());
        assert!(caller(&[(None, Role::Owner)]).may_appoint(Role::Owner, None).is_ok());
    }

    #[test]
    fn the_better_of_two_roles_counts() {
        let both = caller(&[(None, Role::Auditor), (Some(site(1)), Role::Manager)]);
        assert!(both.may(Act::Manage, site(1)).is_ok());
        assert!(matches!(both.may(Act::Manage, site(2)), Err(Refusal::NotAllowed(_))));
    }
}
