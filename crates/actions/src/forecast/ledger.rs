//! What the forecast learns from: what was poured, changed, read and lost.

use std::collections::{BTreeMap, HashMap};

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use fillmark_advice::supply::{
    Addition as Taught, EcRises, PartialChange, Reason, TakenOut, TankAsked, TankMode, Unplanned, UsedByDay,
    fed_days, litres_fed, unplanned_use, without_step_on,
};
use fillmark_domain::entries::{Addition, AdditionReason, ChangePlanKind, Poured, TankChange};
use fillmark_domain::places::{Tank, TankId};
use fillmark_domain::plan::SitePlan;
use fillmark_domain::stock::{Lot, LotId, Movement, ProductId};
use fillmark_domain::{Amount, Days, Kept};
use fillmark_store::{SiteScope, Tx, entries, movements, readings, records};

use crate::Refusal;

/// Records older than this teach nothing any more.
pub(super) const MEMORY: TimeDelta = TimeDelta::days(400);

/// Days beyond the horizon that are looked at: what grows there tells whether a change near its end is worth making.
const BEYOND: TimeDelta = TimeDelta::days(14);

/// The records of the last year and a month.
pub(super) struct Ledger {
    additions: Vec<Addition>,
    changes: Vec<TankChange>,
    visits: Vec<(TankId, DateTime<Utc>)>,
    counters: Vec<(TankId, DateTime<Utc>, f64)>,
    losses: Vec<Movement>,
    pub(super) taken: TakenOut,
    expiries: HashMap<LotId, NaiveDate>,
}

impl Ledger {
    pub(super) async fn load(tx: &Tx, scope: SiteScope, now: DateTime<Utc>) -> Result<Ledger, Refusal> {
        let from = now - MEMORY;
        let changes = entries::standing::<TankChange>(tx, scope, from, now).await?;
        let additions = entries::standing::<Addition>(tx, scope, from, now).await?;
        let losses = movements::losses_since(tx, scope, from).await?;
        Ok(Ledger {
            taken: TakenOut::new(movements::taken_out_since(tx, scope, from).await?),
            additions: additions.into_iter().map(|(_, addition)| addition).collect(),
            changes: changes.into_iter().map(|(_, change)| change).collect(),
            visits: readings::visits(tx, scope, from).await?,
            counters: readings::counters(tx, scope, from, now).await?,
            expiries: expiries(tx, scope, &losses).await?,
            losses,
        })
    }

    /// A tank with its plan and its records.
    pub(super) fn tank(
        &self,
        plan: &SitePlan,
        tank: &Kept<Tank>,
        today: NaiveDate,
        horizon_days: u16,
        rises: &EcRises,
    ) -> TankAsked {
        let days =
            Days { from: today - MEMORY, until: today + TimeDelta::days(horizon_days.into()) + BEYOND };
        let coming = today.iter_days().take(horizon_days.into());
        let full = self.changes.iter().filter(|change| change.tank == tank.id && change.is_full());
        let partial = self.changes.iter().filter(|change| change.tank == tank.id && !change.is_full());
        let partial =
            partial.map(|change| PartialChange { on: plan.day(change.recorded_at), share: change.fraction });
        let planned = |kind: ChangePlanKind| {
            let of_tank = plan.change_plans.iter().filter(move |set| set.tank == tank.id && set.kind == kind);
            of_tank.map(|set| set.on).collect()
        };
        let visited = self.visits.iter().filter(|(visited, _)| *visited == tank.id);
        let mut visits: Vec<NaiveDate> = visited.map(|(_, at)| plan.day(*at)).collect();
        visits.dedup();
        let counted = self.counters.iter().filter(|(counted, ..)| *counted == tank.id);
        let looks: Vec<(NaiveDate, f64)> = counted.map(|(_, at, shown)| (plan.day(*at), *shown)).collect();
        TankAsked {
            working_volume_l: tank.content.fill_mark_l,
            mode: if tank.content.mode.is_changed() { TankMode::Changed } else { TankMode::Fed },
            fed: fed_days(plan, tank, days, rises),
            planned_changes: planned(ChangePlanKind::On),
            skipped_changes: planned(ChangePlanKind::Skipped),
            partial_changes: partial.collect(),
            changes_done: full.map(|change| plan.day(change.recorded_at)).collect(),
            visits,
            additions: self
                .additions
                .iter()
                .filter(|one| one.tank == tank.id)
                .filter_map(|one| poured(plan, one))
                .collect(),
            litres_fed: litres_fed(&looks),
            without_step_on: without_step_on(plan, tank, coming),
        }
    }

    /// What was lost or found of a product.
    pub(super) fn unplanned(&self, plan: &SitePlan, product: ProductId) -> Vec<Unplanned> {
        let losses = self.losses.iter().filter(|loss| loss.product == product);
        unplanned_use(losses, &self.expiries, &self.short(product), |at| plan.day(at))
    }

    /// What was taken out of a product for other uses than tanks and preparations.
    pub(super) fn taken(&self, plan: &SitePlan, product: ProductId) -> Vec<Unplanned> {
        self.taken.of(product, |at| plan.day(at))
    }

    /// What was taken out of a product for preparations, by what was made.
    pub(super) fn prepared(
        &self,
        plan: &SitePlan,
        product: ProductId,
    ) -> BTreeMap<ProductId, Vec<Unplanned>> {
        self.taken.prepared(product, |at| plan.day(at))
    }

    /// What was used of products day by day: poured, taken out, or lost without a plan.
    pub(super) fn used(&self, plan: &SitePlan, products: impl Iterator<Item = ProductId>) -> UsedByDay {
        let mut used = UsedByDay::new();
        for taught in self.additions.iter().filter_map(|one| poured(plan, one)) {
            *used.entry((taught.product, taught.on)).or_default() += taught.amount.base_units();
        }
        for product in products {
            let prepared = self.prepared(plan, product).into_values().flatten();
            let taken = self.taken(plan, product).into_iter().chain(prepared);
            for lost in self.unplanned(plan, product).into_iter().chain(taken) {
                *used.entry((product, lost.on)).or_default() += lost.amount.base_units();
            }
        }
        used
    }

    /// What of a product was poured beyond the record, and when.
    fn short(&self, product: ProductId) -> Vec<(DateTime<Utc>, Amount)> {
        let short = |one: &Addition| match &one.poured {
            Poured::Product { product: poured, shortage, .. } if *poured == product => {
                shortage.is_positive().then_some((one.recorded_at, *shortage))
            }
            Poured::Product { .. } | Poured::Water { .. } => None,
        };
        self.additions.iter().filter_map(short).collect()
    }
}

/// The last days of the lots that something was lost of, whether any of them is left or not.
async fn expiries(
    tx: &Tx,
    scope: SiteScope,
    losses: &[Movement],
) -> Result<HashMap<LotId, NaiveDate>, Refusal> {
    let mut lots: Vec<LotId> = losses.iter().map(|loss| loss.lot).collect();
    lots.sort_unstable();
    lots.dedup();
    let ids = lots.into_iter().map(|lot| lot.uuid().into()).collect();
    let lots = records::find_many::<Lot>(tx, scope.in_business(), "id", ids).await?;
    Ok(lots.into_iter().filter_map(|lot| Some((lot.id, lot.content.expiry?))).collect())
}

fn poured(plan: &SitePlan, addition: &Addition) -> Option<Taught> {
    let Poured::Product { product, amount, .. } = &addition.poured else { return None };
    let reason = match addition.reason {
        AdditionReason::Change => Reason::Change,
        AdditionReason::TopUp => Reason::TopUp,
        AdditionReason::Ph => Reason::Ph,
        AdditionReason::Strength => Reason::Strength,
    };
    Some(Taught { product: *product, on: plan.day(addition.recorded_at), amount: *amount, reason })
}
