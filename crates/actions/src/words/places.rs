//! Sites, rooms, tanks, water.

use fillmark_domain::people::Act;
use fillmark_domain::places::{
    Closure, OutOfUse, Room, Site, Tank, TankMode, TankRoom, WaterSource, over_shared,
};
use fillmark_domain::{Faults, Id, Kept};
use fillmark_store::words::orders;
use fillmark_store::{BusinessScope, Filter, Holder, SiteScope, Stamp, Tx, holdings, records, transfers};

use super::{keepable, span};
use crate::work::planning;
use crate::{Caller, Managed, Refusal};

const fn holder(word: &'static str, table: &'static str, column: &'static str) -> Holder {
    Holder { word, table, column }
}

impl Managed for Site {
    const MANAGED_BY: Act = Act::ManageSites;
    const HELD_BY: &'static [Holder] = &[
        holder("cycle", "cycles", "site_id"),
        holder("tank", "tanks", "site_id"),
        holder("room", "rooms", "site_id"),
    ];

    fn faults(&self) -> Faults {
        let mut faults = Faults::default();
        faults.unless(
            !self.working_week.is_empty(),
            "/working_week",
            "empty",
            "expected at least one weekday",
        );
        faults
    }

    /// Outside their sites there is none for anybody.
    fn is_seen_by(caller: &Caller, id: Id<Site>) -> bool {
        caller.sites().is_none_or(|sites| sites.contains(&id))
    }

    fn narrowed(caller: &Caller) -> Option<Filter> {
        let sites = caller.sites()?;
        Some(Filter::OneOf("id", sites.into_iter().map(|site| site.uuid().into()).collect()))
    }

    async fn within_reach(
        &self,
        _: &Tx,
        _: BusinessScope,
        caller: &Caller,
        id: Option<Id<Site>>,
    ) -> Result<(), Refusal> {
        id.map_or(Ok(()), |id| caller.may(Act::ManageSites, id).map(drop))
    }

    async fn needed_by(tx: &Tx, scope: BusinessScope, id: Id<Site>) -> Result<Option<&'static str>, Refusal> {
        if holdings::any_at(tx, scope, id).await? {
            return Ok(Some("stock"));
        }
        if transfers::any_in_transit(tx, scope, id).await? {
            return Ok(Some("a transfer under way"));
        }
        Ok(orders::any_at(tx, scope, id).await?.then_some("an open order"))
    }

    /// A change of the clock moves the checks to come.
    async fn follow(tx: &Tx, _: BusinessScope, stamp: &Stamp<'_>, kept: &Kept<Site>) -> Result<(), Refusal> {
        let here = Caller::job().may(Act::Manage, kept.id)?;
        planning::remake_all(tx, here, stamp).await
    }
}

impl Managed for Room {
    const MANAGED_BY: Act = Act::Manage;
    const HELD_BY: &'static [Holder] = &[
        holder("placement", "placements", "room_id"),
        holder("tank's room", "tank_rooms", "room_id"),
        holder("check plan", "check_plans", "room_id"),
    ];
}

impl Managed for Tank {
    const MANAGED_BY: Act = Act::Manage;
    const HELD_BY: &'static [Holder] =
        &[holder("feed", "feeds", "tank_id"), holder("check plan", "check_plans", "tank_id")];

    fn faults(&self) -> Faults {
        let mut faults = Faults::default();
        faults.range("/fill_mark", self.fill_mark_l, 0.1, 1e6);
        if let TankMode::StockTank { ratio } = self.mode {
            faults.range("/stock_ratio", ratio, 1.0, 10_000.0);
        }
        faults
    }
}

impl Managed for TankRoom {
    const MANAGED_BY: Act = Act::Manage;

    fn faults(&self) -> Faults {
        let mut faults = Faults::default();
        span(self.from, self.until, &mut faults);
        faults.range("/share", self.share, 0.0, 1.0);
        faults
    }

    async fn faults_beside(
        &self,
        tx: &Tx,
        scope: SiteScope,
        id: Option<Id<TankRoom>>,
    ) -> Result<Faults, Refusal> {
        let mut faults = Faults::default();
        let tank = self.tank.uuid();
        tx.take_turn(&format!("rooms of {tank}")).await?;
        let others = records::find_many::<TankRoom>(tx, scope, "tank_id", vec![tank.into()]).await?;
        let others = others.into_iter().filter(|kept| kept.archived_at.is_none() && Some(kept.id) != id);
        let others: Vec<TankRoom> = others.map(|kept| kept.content).collect();
        if let Some(day) = over_shared(self, &others) {
            let told = format!("expected shares that make 1 at most, found more from {day} on");
            faults.add("/share", "over_shared", told);
        }
        Ok(faults)
    }
}

impl Managed for OutOfUse {
    const MANAGED_BY: Act = Act::Manage;

    fn faults(&self) -> Faults {
        let mut faults = Faults::default();
        span(self.from, self.until, &mut faults);
        faults
    }
}

impl Managed for Closure {
    const MANAGED_BY: Act = Act::Manage;

    fn faults(&self) -> Faults {
        let mut faults = Faults::default();
        span(self.days.from, Some(self.days.until), &mut faults);
        faults
    }
}

impl Managed for WaterSource {
    const MANAGED_BY: Act = Act::Manage;
    const HELD_BY: &'static [Holder] = &[holder("tank", "tanks", "water_source_id")];

    fn faults(&self) -> Faults {
        let mut faults = Faults::default();
        keepable(self.analysed_on, "/analysed_on", &mut faults);
        faults
    }
}
