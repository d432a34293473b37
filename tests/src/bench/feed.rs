//! What a fill is advised from and what is learnt of it, without server and database.

use chrono::{DateTime, Utc};
use fillmark_advice::solution::fill::{Acid, FillAsked, Part, Step, fill};
use fillmark_advice::solution::label::Dose;
use fillmark_advice::solution::learn::{EcPrior, ec_rises, pairs, ph_response};
use fillmark_advice::solution::prior::{Brings, Dosed, Priors, priors};
use fillmark_advice::solution::record::{Event, TankRecord, What};
use fillmark_domain::Base;
use fillmark_domain::entries::{AdditionReason, SamplePoint};
use fillmark_domain::stock::{AcidStrength, Analysis, Basis, Declared, LabelRevision, ProductId};
use fillmark_domain::{Id, Metric};
use uuid::Uuid;

use super::tended::{ACID, ACID_MOL_L, Bottle, Done, LABELS, MARK_L, WATER, tended};

/// Dose of each concentrate, mL/L.
const DOSE_ML_L: f64 = 2.0;

/// The concentrates and the acid by their labels.
pub struct Shelf {
    feeds: Vec<LabelRevision>,
    acid: LabelRevision,
    /// What chemistry makes of the labels: a server remembers it.
    known: Priors,
}

impl Shelf {
    /// Those of [`super::tended`].
    pub fn stocked() -> Shelf {
        let analysed = |(at, declared): (usize, &&[(Declared, f64)])| {
            let analysis = Analysis { basis: Basis::WeightPerVolume, declared: declared.to_vec() };
            LabelRevision { analysis: Some(analysis), ..unlabelled(product(Bottle::Feed(at))) }
        };
        let strength = Some(AcidStrength::MolPerLitre(ACID_MOL_L));
        let acid = LabelRevision { reagent: Some(ACID), strength, ..unlabelled(product(Bottle::Acid)) };
        let feeds: Vec<LabelRevision> = LABELS.iter().enumerate().map(analysed).collect();
        let known = told(&feeds, &acid);
        Shelf { feeds, acid, known }
    }

    /// Advises a fill from the labels, of which nothing is remembered: mL of all that is dosed.
    /// # Panics
    /// When chemistry cannot tell of the labels.
    pub fn fill_ml(&self) -> f64 {
        let known = told(&self.feeds, &self.acid);
        let rises = ec_rises(&[], WATER.ec_ms_cm, &expected(&known));
        let parts: Vec<Part> = self.feeds.iter().map(|label| part(label, &known)).collect();
        let amounts: Vec<_> = parts.iter().map(|part| (part.product, part.per_litre)).collect();
        let asked = FillAsked {
            litres: MARK_L,
            water: WATER,
            ec_aim_ms_cm: 1.4,
            ph_aim: Some(6.0),
            parts,
            rise: Ok(rises.of_mixture(&amounts).expect("labels tell")),
            acid: Some(Acid {
                product: self.acid.product,
                reagent: ACID,
                mmol_per_unit: ACID_MOL_L,
                base: Base::Volume,
                response: 1.0,
                spread: None,
                ec_rise: 0.0,
            }),
            temperature_c: 20.0,
        };
        let ml = |step: &Step| match step {
            Step::Dose(dose) => dose.amount,
            Step::Acid(acid) => acid.expected,
            Step::Water(_) | Step::MeasureEc | Step::MeasurePh => 0.0,
        };
        fill(&asked).steps.iter().map(ml).sum()
    }

    /// Learns anew from a record what the feeds add, together at their doses, mS/cm.
    /// # Panics
    /// When the record teaches little.
    pub fn refit(&self, record: &TankRecord) -> f64 {
        let acid = &self.known.adjusters[&self.acid.product];
        let rises = ec_rises(&pairs(record, Metric::Ec), WATER.ec_ms_cm, &expected(&self.known));
        let amounts: Vec<_> = self.feeds.iter().map(|label| (label.product, DOSE_ML_L)).collect();
        let together = rises.of_mixture(&amounts).expect("records tell");
        let predicted = |from: f64, to: f64| acid.units_l(from, to);
        let response = ph_response(&pairs(record, Metric::Ph), self.acid.product, Some(&predicted));
        let of_ph = response.map_or(0, |response| response.figure.records.len());
        let enough = record.events.len() / 15;
        assert!(together.records.len() > enough && of_ph > enough, "{together:?}, {of_ph}");
        together.value
    }

    /// What was done at the tank, as it is learnt from.
    pub fn record(&self, days: i64, until: DateTime<Utc>) -> TankRecord {
        let events = tended(days, until).into_iter().zip(1..).map(|((at, done), id)| {
            let id = Uuid::from_u128(id);
            let what = match done {
                Done::Read(metric, value) => {
                    What::Read { id: Id::new(id), metric, point: SamplePoint::Tank, value, meter: None }
                }
                Done::Poured(bottle, amount) => What::Poured {
                    id: Id::new(id),
                    product: product(bottle),
                    amount,
                    liquid: true,
                    reason: match bottle {
                        Bottle::Feed(_) => AdditionReason::Strength,
                        Bottle::Acid => AdditionReason::Ph,
                    },
                },
                Done::ToppedUp(litres) => {
                    What::Watered { id: Id::new(id), litres, reason: AdditionReason::TopUp }
                }
            };
            Event { at, what }
        });
        TankRecord { fill_mark_l: MARK_L, events: events.collect() }
    }
}

fn told(feeds: &[LabelRevision], acid: &LabelRevision) -> Priors {
    let dosed = feeds.iter().map(|label| Dosed {
        product: label.product,
        label: Some(label),
        dose: Dose::MlPerL(DOSE_ML_L),
    });
    priors(&dosed.collect::<Vec<_>>(), std::iter::once((acid, Base::Volume)), WATER)
}

fn expected(known: &Priors) -> Vec<(ProductId, Option<EcPrior>)> {
    let prior = |(product, brings): (&ProductId, &Brings)| {
        (*product, brings.ec_rise.map(|rise| EcPrior::of_label(rise.value)))
    };
    known.brings.iter().map(prior).collect()
}

fn part(label: &LabelRevision, known: &Priors) -> Part {
    let brings = &known.brings[&label.product];
    Part {
        product: label.product,
        mixing_rank: 20,
        per_litre: DOSE_ML_L,
        liquid: true,
        phosphate_mmol: brings.phosphate_mmol,
        alkalinity_meq: brings.alkalinity_meq,
    }
}

fn product(bottle: Bottle) -> ProductId {
    let number = match bottle {
        Bottle::Feed(at) => at as u128 + 1,
        Bottle::Acid => 99,
    };
    Id::new(Uuid::from_u128(number))
}

fn unlabelled(product: ProductId) -> LabelRevision {
    LabelRevision {
        product,
        effective_at: DateTime::UNIX_EPOCH,
        analysis: None,
        density_kg_per_l: None,
        reagent: None,
        strength: None,
        full_strength_per_l: None,
        ec_rise_per_unit_per_l: None,
    }
}
