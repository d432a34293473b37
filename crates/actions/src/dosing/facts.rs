//! What advice for a tank stands on: its plan, its water, the products of its step with their labels, and the cupboard.

use std::collections::{BTreeMap, HashMap};
use std::sync::Arc;

use chrono::{DateTime, NaiveDate, Utc};
use fillmark_advice::solution::fill::{Acid, Acidity, Part, SourceWater};
use fillmark_advice::solution::label::Dose;
use fillmark_advice::solution::prior::{self, Brings, Dosed, Teller};
use fillmark_advice::solution::reagents::strength_mol_l;
use fillmark_advice::solution::turnover::Moves;
use fillmark_domain::entries::{Advice, CHANGE_CAUTIONS, Lacking, Spot};
use fillmark_domain::growing::Step;
use fillmark_domain::places::{Tank, TankId};
use fillmark_domain::plan::SitePlan;
use fillmark_domain::stock::{FEEDS_FIRE, LabelRevision, Product, ProductId, ProductKind, Reagent};
use fillmark_domain::{Amount, Band, Base, Kept, Metric};
use fillmark_store::words::label_revisions;
use fillmark_store::{SiteScope, Tx, holdings, plan, records};

use crate::Refusal;

/// What is on record for advice about one tank.
pub(super) struct Facts {
    pub(super) tank: Kept<Tank>,
    plan: Arc<SitePlan>,
    at: DateTime<Utc>,
    products: HashMap<ProductId, Kept<Product>>,
    labels: HashMap<ProductId, LabelRevision>,
    held: HashMap<ProductId, Amount>,
    brings: BTreeMap<ProductId, Brings>,
}

impl Facts {
    pub(super) async fn load(
        tx: &Tx,
        scope: SiteScope,
        tank: TankId,
        at: DateTime<Utc>,
    ) -> Result<Facts, Refusal> {
        let plan = plan::site_plan_since(tx, scope, at).await?.ok_or(Refusal::NotFound)?;
        let tank = plan.tank(tank).cloned().ok_or(Refusal::NotFound)?;
        let products = records::all::<Product>(tx, scope.in_business()).await?;
        let mut facts = Facts {
            held: usable(tx, scope, &products, plan.day(at)).await?,
            products: products.into_iter().map(|kept| (kept.id, kept)).collect(),
            labels: label_revisions::all_in_force(tx, scope.in_business(), at).await?,
            brings: BTreeMap::new(),
            tank,
            plan,
            at,
        };
        facts.brings = facts.brought();
        Ok(facts)
    }

    fn step(&self) -> Option<&Step> {
        self.plan.led(self.tank.id, self.plan.day(self.at))?.step
    }

    /// The band of a metric in force for the tank.
    pub(super) fn band(&self, metric: Metric) -> Option<Band> {
        self.plan.band(Spot::Tank(self.tank.id), metric, self.at)
    }

    /// The band of the EC, without which nobody knows what to dose.
    pub(super) fn ec_band(&self) -> Result<Band, Refusal> {
        self.band(Metric::Ec).ok_or_else(|| {
            let lacking = "no band of EC is in force for the tank: feed it to a cycle, or give it bands";
            Refusal::Conflict(lacking.into())
        })
    }

    /// The water that the tank is filled with; where its source is not told, pure water.
    pub(super) fn water(&self) -> SourceWater {
        let source =
            self.plan.sources.iter().find(|source| Some(source.id) == self.tank.content.water_source);
        let acidity = source.and_then(|source| {
            let (ph, alkalinity_meq_l) = source.content.ph.zip(source.content.alkalinity_meq_l)?;
            Some(Acidity { ph, alkalinity_meq_l })
        });
        SourceWater { ec_ms_cm: source.map_or(0.0, |source| source.content.ec_ms_cm), acidity }
    }

    /// The products of the step in force, as they are dosed into the tank.
    pub(super) fn parts(&self) -> Result<Vec<Part>, Refusal> {
        let step = self.step().filter(|step| step.doses.iter().any(|dose| dose.per_litre > 0.0));
        let step = step.ok_or_else(|| {
            let lacking =
                "no step of a programme leads the tank today, so nothing tells what is dosed into it";
            Refusal::Conflict(lacking.into())
        })?;
        let part = |(product, per_litre): (ProductId, f64)| {
            let brings = self.brings.get(&product).cloned().unwrap_or_default();
            Part {
                product,
                mixing_rank: self.products.get(&product).map_or(0, |kept| kept.content.mixing_rank),
                per_litre,
                liquid: self.is_liquid(product),
                ec_rise: brings.ec_rise.map(|expected| expected.unlearnt()),
                phosphate_mmol: brings.phosphate_mmol,
                alkalinity_meq: brings.alkalinity_meq,
            }
        };
        Ok(doses(step).map(part).collect())
    }

    fn brought(&self) -> BTreeMap<ProductId, Brings> {
        let Some(step) = self.step() else { return BTreeMap::new() };
        let dosed = |(product, per_litre)| Dosed {
            product,
            label: self.labels.get(&product),
            dose: match self.base(product) {
                Base::Volume => Dose::MlPerL(per_litre),
                Base::Mass => Dose::GramPerL(per_litre),
            },
        };
        prior::brings(&doses(step).map(dosed).collect::<Vec<_>>(), self.water())
    }

    /// The acid of which the most is there; where none is, the first by name.
    pub(super) fn acid(&self) -> Option<Acid> {
        let adjusters = self.products.values().filter(|kept| kept.content.kind == ProductKind::PhAdjuster);
        let acids = adjusters.filter_map(|kept| {
            let label = self.labels.get(&kept.id)?;
            let reagent = label.reagent.filter(|reagent| reagent.is_acid())?;
            let acid = Acid { product: kept.id, reagent, mol_l: strength_mol_l(label)?, response: 1.0 };
            Some((self.held(kept.id), &kept.content.name, acid))
        });
        let best = acids.max_by(|(held, name, _), (other, after, _)| held.cmp(other).then(after.cmp(name)));
        best.map(|(.., acid)| acid)
    }

    fn held(&self, product: ProductId) -> Amount {
        self.held.get(&product).copied().unwrap_or(Amount::ZERO)
    }

    /// Where the products that are acids or bases move the pH.
    pub(super) fn moves(&self) -> BTreeMap<ProductId, Moves> {
        let moves = |reagent: Reagent| if reagent.is_acid() { Moves::Down } else { Moves::Up };
        self.labels.values().filter_map(|label| Some((label.product, moves(label.reagent?)))).collect()
    }

    /// Whether a product is counted in mL.
    pub(super) fn is_liquid(&self, product: ProductId) -> bool {
        self.base(product) == Base::Volume
    }

    fn base(&self, product: ProductId) -> Base {
        self.products.get(&product).map_or(Base::Volume, |kept| kept.content.base)
    }

    /// What a product is called.
    pub(super) fn name(&self, product: ProductId) -> String {
        self.products.get(&product).map(|kept| kept.content.name.clone()).unwrap_or_default()
    }

    /// Who tells what the products add to the EC.
    pub(super) fn tellers(&self) -> Vec<String> {
        let told_by = |teller: Teller| -> Vec<String> {
            let told = self
                .brings
                .iter()
                .filter(|(_, brings)| brings.ec_rise.is_some_and(|rise| rise.teller == teller));
            told.map(|(product, _)| self.name(*product)).collect()
        };
        let each = [Teller::Label, Teller::Chemistry].map(|teller| (teller, told_by(teller)));
        each.into_iter()
            .filter(|(_, names)| !names.is_empty())
            .map(|(teller, names)| teller.told(&names))
            .collect()
    }

    /// Of which products less is there than advice needs.
    pub(super) fn lacking(&self, advice: &Advice) -> Vec<Lacking> {
        let needs = advice.needs().into_iter();
        let lacking = needs.map(|needed| Lacking { needed, held: self.held(needed.product) });
        lacking.filter(|lacking| lacking.held < lacking.needed.amount).collect()
    }

    /// What to beware of with a tank, and with what goes into it.
    pub(super) fn cautions(&self, advice: &Advice) -> Vec<String> {
        let mut cautions: Vec<&str> = CHANGE_CAUTIONS.to_vec();
        let needs = advice.needs().into_iter();
        let mut needed = needs.filter_map(|needed| self.products.get(&needed.product));
        let feeds_fire = needed.any(|kept| kept.content.cautions().contains(&FEEDS_FIRE));
        cautions.extend(feeds_fire.then_some(FEEDS_FIRE));
        cautions.into_iter().map(str::to_owned).collect()
    }
}

/// Doses of a step at its strength.
fn doses(step: &Step) -> impl Iterator<Item = (ProductId, f64)> + '_ {
    step.doses.iter().map(|dose| (dose.product, dose.per_litre * step.strength))
}

/// How much of each product may be used on a day.
async fn usable(
    tx: &Tx,
    scope: SiteScope,
    products: &[Kept<Product>],
    on: NaiveDate,
) -> Result<HashMap<ProductId, Amount>, Refusal> {
    let ids: Vec<ProductId> = products.iter().map(|product| product.id).collect();
    let mut held: HashMap<ProductId, Amount> = HashMap::new();
    for holding in holdings::of_products(tx, scope, &ids).await? {
        if holding.on_hand.usable(on) {
            let sum = held.entry(holding.lot.content.product).or_insert(Amount::ZERO);
            *sum = *sum + holding.on_hand.held;
        }
    }
    Ok(held)
}
