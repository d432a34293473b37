//! Whose rows a function may touch.

use fillmark_domain::places::SiteId;
use uuid::Uuid;

/// Where a record's rows stand: at a site or in the business.
pub trait Scope: Copy + Send + Sync {
    /// Whether it is a site, and not the business.
    const OF_SITE: bool;

    /// The site, unless it is the business.
    fn site(self) -> Option<SiteId>;
}

/// Leave to touch the rows of one site. Only the rights of a caller make one; a test looks that nobody else does.
#[derive(Debug, Clone, Copy)]
pub struct SiteScope(SiteId);

/// Leave to touch the rows of the business.
#[derive(Debug, Clone, Copy)]
pub struct BusinessScope(());

impl SiteScope {
    /// For the one place that has looked at the caller's rights.
    pub fn granted(site: SiteId) -> Self {
        Self(site)
    }

    /// The site.
    pub fn id(self) -> SiteId {
        self.0
    }

    /// Leave to touch the rows of the business: whoever may do something at one site may do it there.
    pub fn in_business(self) -> BusinessScope {
        BusinessScope(())
    }

    pub(crate) fn uuid(self) -> Uuid {
        self.0.uuid()
    }
}

impl BusinessScope {
    /// For the one place that has looked at the caller's rights.
    pub fn granted() -> Self {
        Self(())
    }
}

impl Scope for SiteScope {
    const OF_SITE: bool = true;

    fn site(self) -> Option<SiteId> {
        Some(self.0)
    }
}

impl Scope for BusinessScope {
    const OF_SITE: bool = false;

    fn site(self) -> Option<SiteId> {
        None
    }
}
