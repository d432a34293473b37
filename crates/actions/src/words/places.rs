//! Sites and rooms.

use fillmark_domain::people::Act;
use fillmark_domain::places::{Room, Site};

use crate::Managed;

impl Managed for Site {
    const MANAGED_BY: Act = Act::ManageSites;
}

impl Managed for Room {
    const MANAGED_BY: Act = Act::Manage;
}
