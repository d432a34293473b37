//! People and memberships.

use fillmark_domain::Faults;
use fillmark_domain::people::{Act, Membership, Person};

use crate::Managed;

impl Managed for Person {
    const MANAGED_BY: Act = Act::ManagePeople;
}

impl Managed for Membership {
    const MANAGED_BY: Act = Act::ManagePeople;

    fn faults(&self) -> Faults {
        let mut faults = Faults::default();
        let in_order = self.until.is_none_or(|until| self.from < until);
        faults.unless(in_order, "/until_at", "out_of_order", "expected an instant after from_at");
        faults
    }
}
