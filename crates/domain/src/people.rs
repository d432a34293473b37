//! People, what they are at which site, and what each role may do.

use chrono::{DateTime, Utc};

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
}

/// What can be done, as far as rights go.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Act {
    /// See what a site keeps.
    Read,
    /// See who did what: the journal.
    Audit,
    /// Enter readings, additions, changes, harvests; settle checks; issue stock.
    EnterWork,
    /// Correct what was entered.
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
            Role::Staff => matches!(act, Act::Read | Act::EnterWork),
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_auditor_changes_nothing() {
        for act in [
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
    fn nobody_makes_somebody_greater_than_themselves() {
        assert!(Role::Owner.may_appoint(Role::Owner));
        assert!(Role::Manager.may_appoint(Role::Manager));
        assert!(!Role::Manager.may_appoint(Role::Owner));
        for role in [Role::Staff, Role::Auditor] {
            assert!(!role.may_appoint(Role::Staff), "{role:?}");
        }
    }

    #[test]
    fn staff_enter_work_and_manage_nothing() {
        assert!(Role::Staff.may(Act::EnterWork));
        assert!(!Role::Staff.may(Act::Correct));
        assert!(!Role::Staff.may(Act::ManagePeople));
        assert!(!Role::Staff.may(Act::Audit));
    }
}
