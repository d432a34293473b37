//! What advice for a tank stands on: its plan, its water, the products of its step with their labels, and the cupboard.

mod movers;
mod told;

use std::collections::{HashMap, HashSet};
use std::sync::Arc;

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use fillmark_advice::solution::balance::Rises;
use fillmark_advice::solution::fill::{Acidity, Part, SourceWater};
use fillmark_advice::solution::label::{Dose, Label};
use fillmark_advice::solution::learn::{
    EcPrior, EcRises, Pair, PhResponse, ec_rises, pairs_in_water, ph_response,
};
use fillmark_advice::solution::learnt::Learnt;
use fillmark_advice::solution::prior::{Adjuster, Dosed, Priors};
use fillmark_advice::solution::reconcile::{Called, InForceSince};
use fillmark_advice::solution::record::{Litres, TankRecord};
use fillmark_advice::solution::stock_tank::{Salt, soluble};
use fillmark_advice::solution::targets::{self, Target};
use fillmark_domain::entries::Spot;
use fillmark_domain::growing::{Crop, Step};
use fillmark_domain::places::{Tank, TankId, TankMode, WaterSource};
use fillmark_domain::plan::SitePlan;
use fillmark_domain::stock::{LabelRevision, Product, ProductId};
use fillmark_domain::{Amount, Band, Base, Kept, Metric};
use fillmark_store::words::label_revisions;
use fillmark_store::{SiteScope, Tx, holdings, plan, records};

use super::priors::Expected;
use super::{history, meters};
use crate::{App, Refusal};

/// What is on record for advice about one tank.
pub(super) struct Facts {
    pub(super) tank: Kept<Tank>,
    pub(super) plan: Arc<SitePlan>,
    pub(super) at: DateTime<Utc>,
    products: HashMap<ProductId, Kept<Product>>,
    labels: HashMap<ProductId, LabelRevision>,
    /// Since when the label in force is, of products that had another one before.
    revised: InForceSince,
    held: HashMap<ProductId, Amount>,
    priors: Arc<Priors>,
    /// What was entered of it, as far as it tells anything.
    pub(super) record: TankRecord,
    rises: EcRises,
    ph: Vec<Pair>,
    /// Bands that stand in for those that nobody has set.
    published: Vec<Target>,
    /// Whether neighbours had to help out.
    with_neighbours: bool,
}

/// Records older than this teach nothing that newer ones do not.
pub(super) const MEMORY: TimeDelta = TimeDelta::days(120);

/// With fewer additions of its own to learn from, a tank learns from those that are filled with the same water too.
pub(super) const ENOUGH: usize = 5;

impl Facts {
    pub(super) async fn load(
        app: &App,
        tx: &Tx,
        scope: SiteScope,
        tank: TankId,
        at: DateTime<Utc>,
    ) -> Result<Facts, Refusal> {
        Self::load_since(app, tx, scope, tank, (at, at)).await
    }

    /// The same, with plan and records of the tank back to an instant.
    pub(super) async fn load_since(
        app: &App,
        tx: &Tx,
        scope: SiteScope,
        tank: TankId,
        (since, at): (DateTime<Utc>, DateTime<Utc>),
    ) -> Result<Facts, Refusal> {
        let plan = plan::site_plan_since(tx, scope, since).await?.ok_or(Refusal::NotFound)?;
        let tank = plan.tank(tank).cloned().ok_or(Refusal::NotFound)?;
        let products = records::all::<Product>(tx, scope.in_business()).await?;
        let record = match since < at {
            true => history::record(tx, scope, &tank, (since.min(at - MEMORY), at)).await?,
            false => history::telling(tx, scope, &tank, (at - MEMORY, at)).await?,
        };
        let (labels, revised) = label_revisions::all_in_force(tx, scope.in_business(), at).await?;
        let mut facts = Facts {
            held: usable(tx, scope, &products, plan.day(at)).await?,
            products: products.into_iter().map(|kept| (kept.id, kept)).collect(),
            labels,
            revised,
            priors: Arc::default(),
            rises: ec_rises(&[], 0.0, &[]),
            ph: Vec::new(),
            published: Vec::new(),
            with_neighbours: false,
            record,
            tank,
            plan,
            at,
        };
        facts.published = facts.published(tx, scope).await?;
        facts.priors = facts.expected(&app.shared().priors);
        facts.learn(tx, scope).await?;
        Ok(facts)
    }

    /// What products do, from the tank's own records, and from its neighbours' where it has few.
    async fn learn(&mut self, tx: &Tx, scope: SiteScope) -> Result<(), Refusal> {
        let doubtful = meters::not_to_be_learnt(tx, scope, &self.plan, &self.record).await?;
        let telling = self.record.without(&doubtful);
        self.ph = self.taught_by(&telling, Metric::Ph);
        let mut ec = self.taught_by(&telling, Metric::Ec);
        let few = [(Metric::Ec, ec.len() < ENOUGH), (Metric::Ph, self.ph.len() < ENOUGH)];
        let of_few = few.into_iter().filter(|(_, few)| *few).map(|(metric, _)| metric).collect::<Vec<_>>();
        let neighbours = if of_few.is_empty() { Vec::new() } else { self.neighbours() };
        for neighbour in neighbours {
            let record = history::telling(tx, scope, &neighbour, (self.at - MEMORY, self.at)).await?;
            let doubtful = meters::not_to_be_learnt(tx, scope, &self.plan, &record).await?;
            let record = record.without(&doubtful);
            for metric in &of_few {
                let others = self.taught_by(&record, *metric);
                self.with_neighbours |= !others.is_empty();
                if *metric == Metric::Ec { ec.extend(others) } else { self.ph.extend(others) }
            }
        }
        let prior = |label: &LabelRevision| {
            let brings = self.priors.brings.get(&label.product).and_then(|brings| brings.ec_rise);
            let stated = brings.map(|expected| expected.value).or(label.ec_rise_per_unit_per_l);
            let by_reagent = || self.adjuster(label.product)?.ec_rise;
            (label.product, stated.or_else(by_reagent).map(EcPrior::of_label))
        };
        let priors: Vec<_> = self.labels.values().map(prior).collect();
        self.rises = ec_rises(&ec, self.water().ec_ms_cm, &priors);
        Ok(())
    }

    /// What a record teaches of the labels in force: what was poured under an earlier one tells of another product.
    fn taught_by(&self, record: &TankRecord, metric: Metric) -> Vec<Pair> {
        let oldest = self.at - MEMORY;
        let in_force = |product: &ProductId| self.revised.get(product).copied().unwrap_or(oldest);
        let mut pairs = pairs_in_water(record, metric, self.water_ec_ms_cm());
        pairs.retain(|pair| pair.before.at >= oldest);
        pairs.retain(|pair| pair.poured.iter().all(|dose| in_force(&dose.product) <= dose.at));
        pairs
    }

    /// Tanks that are filled with the same water and drunk from.
    fn neighbours(&self) -> Vec<Kept<Tank>> {
        let Some(source) = self.tank.content.water_source else { return Vec::new() };
        let alike = |tank: &&Kept<Tank>| {
            let stock = matches!(tank.content.mode, TankMode::StockTank { .. });
            tank.id != self.tank.id && tank.content.water_source == Some(source) && !stock
        };
        self.plan.tanks.iter().filter(alike).cloned().collect()
    }

    fn step(&self) -> Option<&Step> {
        self.plan.led_at(self.tank.id, self.at)?.step
    }

    /// How much stands in the tank, as far as its records tell.
    pub(super) fn litres(&self) -> Litres {
        self.record.litres_before(self.at)
    }

    /// The band of a metric in force for the tank.
    pub(super) fn band(&self, metric: Metric) -> Option<Band> {
        let published = || self.published.iter().map(|target| target.band).find(|band| band.metric == metric);
        self.plan.band(Spot::Tank(self.tank.id), metric, self.at).or_else(published)
    }

    /// What is published of the crop that leads the tank, where nobody has set bands.
    async fn published(&self, tx: &Tx, scope: SiteScope) -> Result<Vec<Target>, Refusal> {
        let mut lacking = vec![Metric::Ec, Metric::Ph];
        lacking.retain(|metric| self.band(*metric).is_none());
        let led = self.plan.led_at(self.tank.id, self.at);
        let Some(led) = led.filter(|_| !lacking.is_empty()) else { return Ok(Vec::new()) };
        let crop = records::find::<Crop>(tx, scope.in_business(), led.cycle.content.crop).await?;
        let of_crop = |metric| targets::of_crop(&crop.as_ref()?.content.name, metric);
        Ok(lacking.into_iter().filter_map(of_crop).collect())
    }

    fn source(&self) -> Option<&WaterSource> {
        let source =
            self.plan.sources.iter().find(|source| Some(source.id) == self.tank.content.water_source);
        source.map(|source| &source.content)
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
        let source = self.source();
        let acidity = source.and_then(|source| {
            let (ph, alkalinity_meq_l) = source.ph.zip(source.alkalinity_meq_l)?;
            Some(Acidity { ph, alkalinity_meq_l })
        });
        SourceWater { ec_ms_cm: source.map_or(0.0, |source| source.ec_ms_cm), acidity }
    }

    /// The EC of that water, mS/cm; none where its source is not told.
    pub(super) fn water_ec_ms_cm(&self) -> Option<f64> {
        self.source().map(|source| source.ec_ms_cm)
    }

    /// The products of the step in force, as they are dosed into the tank.
    pub(super) fn parts(&self) -> Result<Vec<Part>, Refusal> {
        let step = self.step().filter(|step| step.doses.iter().any(|dose| dose.per_litre > 0.0));
        let step = step.ok_or_else(|| {
            let lacking =
                "no step with doses leads the tank today, so nothing tells what goes in: feed it to a cycle whose step has some";
            Refusal::Conflict(lacking.into())
        })?;
        let part = |(product, per_litre): (ProductId, f64)| {
            let brings = self.priors.brings.get(&product);
            Part {
                product,
                mixing_rank: self.products.get(&product).map_or(0, |kept| kept.content.mixing_rank),
                per_litre,
                liquid: self.is_liquid(product),
                phosphate_mmol: brings.map_or(0.0, |brings| brings.phosphate_mmol),
                alkalinity_meq: brings.map_or(0.0, |brings| brings.alkalinity_meq),
            }
        };
        Ok(doses(step).map(part).collect())
    }

    /// What parts add to the EC of a litre together, or the first of them of which nothing tells.
    pub(super) fn rise(&self, parts: &[Part]) -> Result<Learnt, ProductId> {
        let unknown = parts.iter().find(|part| self.rises.of(part.product).is_none());
        match unknown {
            Some(part) => Err(part.product),
            None => {
                let amounts: Vec<_> = parts.iter().map(|part| (part.product, part.per_litre)).collect();
                let nothing =
                    Learnt { value: 0.0, low: 0.0, high: 0.0, prior_share: 1.0, records: Vec::new() };
                Ok(self.rises.of_mixture(&amounts).unwrap_or(nothing))
            }
        }
    }

    /// What is learnt or expected of each product, mS/cm, where anything tells it.
    pub(super) fn rises(&self) -> Rises {
        self.products.keys().filter_map(|product| Some((*product, self.rises.of(*product)?))).collect()
    }

    /// The same of the products that are on the shelf or were poured into this tank: nobody pours another by mistake.
    pub(super) fn rises_at_hand(&self) -> Rises {
        let poured: HashSet<ProductId> = self.record.poured().collect();
        let mut rises = self.rises();
        rises.retain(|product, _| self.held(*product).is_positive() || poured.contains(product));
        rises
    }

    /// Since when the labels in force are, of products that had others before.
    pub(super) fn revised(&self) -> &InForceSince {
        &self.revised
    }

    /// How the pH answers to an acid or alkali, as far as records or chemistry tell.
    pub(super) fn response(&self, product: ProductId) -> Option<PhResponse> {
        let adjuster = self.priors.adjusters.get(&product).filter(|adjuster| adjuster.titration.is_some());
        match adjuster {
            Some(adjuster) => ph_response(&self.ph, product, Some(&|from, to| adjuster.units_l(from, to))),
            None => ph_response(&self.ph, product, None),
        }
    }

    /// What chemistry tells of an acid or alkali.
    pub(super) fn adjuster(&self, product: ProductId) -> Option<&Adjuster> {
        self.priors.adjusters.get(&product)
    }

    fn expected(&self, known: &Expected) -> Arc<Priors> {
        let dosed = |(product, per_litre)| Dosed {
            product,
            label: self.labels.get(&product),
            dose: match self.base(product) {
                Base::Volume => Dose::MlPerL(per_litre),
                Base::Mass => Dose::GramPerL(per_litre),
            },
        };
        let dosed: Vec<Dosed<'_>> =
            self.step().map(|step| doses(step).map(dosed).collect()).unwrap_or_default();
        known.of(&dosed, &self.labels, |product| self.base(product), self.water())
    }

    fn held(&self, product: ProductId) -> Amount {
        self.held.get(&product).copied().unwrap_or(Amount::ZERO)
    }

    /// The salt that a product is by its label.
    pub(super) fn salt(&self, product: ProductId) -> Option<Salt> {
        soluble::salt_of(&Label::of(self.labels.get(&product)?)?)
    }

    /// How the programme's strength of a top-up stands to that of its step.
    pub(super) fn top_up_share(&self) -> f64 {
        self.step().map_or(0.0, Step::top_up_share)
    }

    /// Whether a product is counted in mL.
    pub(super) fn is_liquid(&self, product: ProductId) -> bool {
        self.base(product) == Base::Volume
    }

    pub(super) fn base(&self, product: ProductId) -> Base {
        self.products.get(&product).map_or(Base::Volume, |kept| kept.content.base)
    }

    /// What a product is called, and what it is counted in.
    pub(super) fn called(&self, product: ProductId) -> Called {
        Called { name: self.name(product), base: self.base(product) }
    }
}

/// Doses of a step at its strength.
fn doses(step: &Step) -> impl Iterator<Item = (ProductId, f64)> + '_ {
    let doses = step.doses.iter().map(|dose| (dose.product, dose.per_litre * step.strength));
    doses.filter(|(_, per_litre)| *per_litre > 0.0)
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
