//! People, what they are at which site, and what each role may do.

pub mod keys;
pub mod password;
pub mod tries;

use std::ops::Range;

use chrono::{DateTime, TimeDelta, Utc};

use crate::Id;
use crate::code::coded;
use crate::places::SiteId;

/// The id of a person.
pub type PersonId = Id<Person>;

/// Somebody who works with the business. The only table that holds names.
#[derive(Debug, Clone, PartialEq)]
pub struct Person {
    /// As colleagues call them; unique in the business.
    pub name: String,
    /// What they sign in with, lower case; none for people who have no account.
    pub sign_in: Option<String>,
}

impl Person {
    /// Who is left when a name is erased: told apart from others who left, and known by nobody.
    pub fn nameless(id: PersonId) -> Person {
        let digits = id.uuid().simple().to_string();
        Person { name: format!("Former colleague {}", &digits[digits.len() - 8..]), sign_in: None }
    }
}

coded! {
    /// What a person is at a site.
    Role {
        /// Runs the business.
        Owner = "owner",
        /// Runs a site.
        Manager = "manager",
        /// Does the work.
        Staff = "staff",
        /// Reads everything, changes nothing.
        Auditor = "auditor",
    }
}

/// A role at a site, or at every site, for a time.
#[derive(Debug, Clone, PartialEq)]
pub struct Membership {
    /// Who.
    pub person: PersonId,
    /// Where; nothing means every site, those to come included.
    pub site: Option<SiteId>,
    /// As what.
    pub role: Role,
    /// From when.
    pub from: DateTime<Utc>,
    /// Until when (exclusive); open when unknown.
    pub until: Option<DateTime<Utc>>,
}

impl Membership {
    /// Whether it is in force at an instant.
    pub fn holds(&self, at: DateTime<Utc>) -> bool {
        self.from <= at && self.until.is_none_or(|until| at < until)
    }

    /// Whether it reaches a site.
    pub fn reaches(&self, site: SiteId) -> bool {
        self.site.is_none_or(|own| own == site)
    }

    /// Whether whoever has it does work at a site in a span of time, if only for a part of it.
    pub fn works(&self, site: SiteId, within: &Range<DateTime<Utc>>) -> bool {
        let overlaps = self.from < within.end && self.until.is_none_or(|until| within.start < until);
        self.reaches(site) && overlaps && self.role.may(Act::EnterWork)
    }

    /// The same, over at an instant; nothing when it had not begun by then.
    pub fn ended(self, at: DateTime<Utc>) -> Option<Membership> {
        let until = self.until.map_or(at, |until| until.min(at));
        (self.from < until).then_some(Membership { until: Some(until), ..self })
    }
}

/// Something that sends readings by itself: of one site, and for a time. It does nothing else, and reads nothing but what it
/// sent itself.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Device {
    /// As people call it; unique at its site.
    pub name: String,
    /// Until when (exclusive) what it sends is taken.
    pub until: DateTime<Utc>,
}

impl Device {
    /// Whether a device may do this at its site.
    pub fn may(act: Act) -> bool {
        act == Act::EnterReadings
    }

    /// Whether what it sends is taken at an instant.
    pub fn holds(&self, at: DateTime<Utc>) -> bool {
        at < self.until
    }
}

/// What can be done, as far as rights go.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Act {
    /// See what a site keeps.
    Read,
    /// See who did what: the journal.
    Audit,
    /// Enter readings.
    EnterReadings,
    /// Enter additions, changes, harvests; settle checks; issue stock.
    EnterWork,
    /// Correct what anybody entered, whenever.
    Correct,
    /// Set up rooms, tanks, cycles, feeds, plans, meters; plan work; excuse checks.
    Manage,
    /// Order, receive, count, transfer, write off.
    KeepStock,
    /// Change crops, programmes, products, suppliers.
    ManageBusiness,
    /// Change people and what they are where.
    ManagePeople,
    /// Open and change sites.
    ManageSites,
}

impl Role {
    /// Whether a person with this role may do this at their site.
    pub fn may(self, act: Act) -> bool {
        match self {
            Role::Owner => true,
            Role::Manager => !matches!(act, Act::ManageSites),
            Role::Staff => matches!(act, Act::Read | Act::EnterReadings | Act::EnterWork),
            Role::Auditor => matches!(act, Act::Read | Act::Audit),
        }
    }

    /// Whether a person with this role may give another role at their site, or take it: nobody makes somebody
    /// greater than themselves.
    pub fn may_appoint(self, role: Role) -> bool {
        match self {
            Role::Owner => true,
            Role::Manager => role != Role::Owner,
            Role::Staff | Role::Auditor => false,
        }
    }
}

/// So long after the server got it, whoever entered something may correct it: a slip is noticed on the same round or the
/// next day's, and later others have built on it; common practice, no source.
pub const OWN_FOR: TimeDelta = TimeDelta::hours(24);

/// Whose entries somebody may correct.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Corrects {
    /// Everybody's.
    All,
    /// Their own, for [`OWN_FOR`].
    Own(PersonId),
}

impl Corrects {
    /// Whether an entry may be corrected now.
    pub fn allows(
        self,
        entered_by: Option<PersonId>,
        received_at: DateTime<Utc>,
        now: DateTime<Utc>,
    ) -> bool {
        match self {
            Corrects::All => true,
            Corrects::Own(person) => entered_by == Some(person) && now - received_at <= OWN_FOR,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_auditor_changes_nothing() {
        for act in [
            Act::EnterReadings,
            Act::EnterWork,
            Act::Correct,
            Act::Manage,
            Act::KeepStock,
            Act::ManageBusiness,
            Act::ManagePeople,
        ] {
            assert!(!Role::Auditor.may(act), "{act:?}");
        }
        assert!(Role::Auditor.may(Act::Read));
        assert!(Role::Auditor.may(Act::Audit));
    }

    #[test]
    fn a_device_enters_readings_until_its_time_is_over() {
        let until: DateTime<Utc> = "2027-05-01T00:00:00Z".parse().unwrap();
        let device = Device { name: "Quay probe".into(), until };
        assert!(device.holds(until - TimeDelta::milliseconds(1)) && !device.holds(until));
        assert!(Device::may(Act::EnterReadings));
        for act in [Act::Read, Act::EnterWork, Act::Correct, Act::Manage, Act::ManagePeople] {
            assert!(!Device::may(act), "{act:?}");
        }
    }

    #[test]
    fn a_membership_that_had_not_begun_leaves_nothing_when_it_ends() {
        let at = |text: &str| text.parse::<DateTime<Utc>>().unwrap();
        let (from, now) = (at("2026-11-01T00:00:00Z"), at("2026-11-24T06:00:00Z"));
        let role = |from, until| Membership {
            person: PersonId::new(uuid::Uuid::from_u128(1)),
            site: None,
            role: Role::Staff,
            from,
            until,
        };
        assert_eq!(role(from, None).ended(now), Some(role(from, Some(now))));
        let past = Some(at("2026-11-03T00:00:00Z"));
        assert_eq!(role(from, past).ended(now), Some(role(from, past)));
        assert_eq!(role(at("2026-12-01T00:00:00Z"), None).ended(now), None);
    }

    #[test]
    fn work_is_done_where_a_role_reaches_while_it_lasts() {
        let at = |text: &str| text.parse::<DateTime<Utc>>().unwrap();
        let [here, there] = [1, 2].map(|number| SiteId::new(uuid::Uuid::from_u128(number)));
        let day = at("2026-11-24T00:00:00Z")..at("2026-11-25T00:00:00Z");
        let check = |site, role, from: &str, until: Option<&str>, works| {
            let person = PersonId::new(uuid::Uuid::from_u128(3));
            let held = Membership { person, site, role, from: at(from), until: until.map(at) };
            assert_eq!(held.works(here, &day), works, "{held:?}");
        };
        check(Some(here), Role::Staff, "2026-11-24T06:00:00Z", None, true);
        check(None, Role::Owner, "2026-11-01T00:00:00Z", Some("2026-11-24T06:00:00Z"), true);
        check(Some(there), Role::Staff, "2026-11-01T00:00:00Z", None, false);
        check(Some(here), Role::Auditor, "2026-11-01T00:00:00Z", None, false);
        check(Some(here), Role::Staff, "2026-11-25T00:00:00Z", None, false);
        check(Some(here), Role::Staff, "2026-11-01T00:00:00Z", Some("2026-11-24T00:00:00Z"), false);
    }

    #[test]
    fn nobody_makes_somebody_greater_than_themselves() {
        assert!(Role::Owner.may_appoint(Role::Owner));
        assert!(Role::Manager.may_appoint(Role::Manager));
        assert!(!Role::Manager.may_appoint(Role::Owner));
        for role in [Role::Staff, Role::Auditor] {
            assert!(!role.may_appoint(Role::Staff), "{role:?}");
        }
    }

    #[test]
    fn what_one_entered_may_be_corrected_for_a_day() {
        let [sam, kim] = [1, 2].map(|number| PersonId::new(uuid::Uuid::from_u128(number)));
        let at = |text: &str| text.parse::<DateTime<Utc>>().unwrap();
        let received = at("2026-11-24T06:00:00Z");
        let (in_time, late) = (at("2026-11-25T06:00:00Z"), at("2026-11-25T06:00:01Z"));
        assert!(Corrects::Own(sam).allows(Some(sam), received, in_time));
        assert!(!Corrects::Own(sam).allows(Some(sam), received, late));
        assert!(!Corrects::Own(sam).allows(Some(kim), received, in_time));
        assert!(!Corrects::Own(sam).allows(None, received, in_time));
        assert!(Corrects::All.allows(Some(kim), received, late));
    }

    #[test]
    fn staff_enter_work_and_manage_nothing() {
        assert!(Role::Staff.may(Act::EnterWork));
        assert!(!Role::Staff.may(Act::Correct));
        assert!(!Role::Staff.may(Act::ManagePeople));
        assert!(!Role::Staff.may(Act::Audit));
    }
}
