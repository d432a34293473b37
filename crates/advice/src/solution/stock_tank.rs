//! The stock tank behind a doser: what goes into it, so that the feed comes out as wanted.

pub mod soluble;
mod told;

use fillmark_domain::entries::Expectation;
use fillmark_domain::stock::ProductId;

use super::fill::{self, ACID_FIRST_PH, Acid, AcidDose, FillAsked, IntoTank, Part, SourceWater, Step};
use super::learnt::Learnt;
pub use soluble::Salt;

/// Stock tanks to be filled behind a doser.
#[derive(Debug, Clone, PartialEq)]
pub struct StockAsked {
    /// Feed made of one part of stock: 1:100 makes 100 L from one litre, as in [`super::label::stock_g`].
    pub ratio: f64,
    /// Litres that each stock tank is filled to.
    pub stock_l: f64,
    /// The water that the feed is made with.
    pub water: SourceWater,
    /// What its pH is lowered with, where one of known kind and strength is at hand.
    pub acid: Option<Acid>,
    /// The pH that the feed should have.
    pub ph_aim: Option<f64>,
    /// EC of the feed that is wanted, the water's included; none for the programme's strength as it stands.
    pub feed_ec_ms_cm: Option<f64>,
    /// The products of the step.
    pub parts: Vec<StockPart>,
    /// EC that they add to a litre of feed together, mS/cm; else the first of them of which nothing tells.
    pub rise: Result<Learnt, ProductId>,
}

/// A product in a stock tank.
#[derive(Debug, Clone, PartialEq)]
pub struct StockPart {
    /// The product, per litre of feed.
    pub part: Part,
    /// The salt it is by its label, where a published figure says how much of it dissolves.
    pub salt: Option<Salt>,
}

/// Stock tanks as advised.
#[derive(Debug, Clone, PartialEq)]
pub struct Stock {
    /// What goes in, in the order of mixing.
    pub doses: Vec<StockDose>,
    /// EC of the feed to expect, mS/cm; none where a product does not say what it adds.
    pub feed_ec: Option<Expectation>,
    /// Acid that the feed takes besides, where its water is hard.
    pub acid: Option<FeedAcid>,
    /// What stands against it.
    pub cautions: Vec<StockCaution>,
    /// Why the strength is as it is.
    pub reasons: Vec<fill::Reason>,
}

/// Acid for a feed of hard water. It never goes into the tank of a product.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum FeedAcid {
    /// For each 100 L of feed.
    Takes(AcidDose),
    /// None of known kind and strength is at hand, or the pH is out of its reach; for so much alkalinity, meq/L.
    NoneFor(f64),
}

/// So much of a product in a stock tank.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StockDose {
    /// Which product.
    pub product: ProductId,
    /// mL or g for each litre of stock.
    pub per_litre: f64,
    /// mL or g for the tank.
    pub amount: f64,
}

/// What stands against a stock solution.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum StockCaution {
    /// More than a litre of water dissolves.
    NotSoluble {
        /// Which product.
        product: ProductId,
        /// g for each litre of stock.
        per_litre: f64,
        /// The salt it is.
        salt: Salt,
    },
    /// So near to what dissolves that other salts and a cold night may bring it out.
    NearlySaturated {
        /// Which product.
        product: ProductId,
        /// The salt it is.
        salt: Salt,
    },
    /// Nothing tells how much of it dissolves.
    SolubilityUnknown {
        /// Which product.
        product: ProductId,
        /// g for each litre of stock.
        per_litre: f64,
    },
    /// The liquid alone is more than the tank.
    Overfull {
        /// Which product.
        product: ProductId,
        /// L of it for each litre of stock.
        liquid: f64,
    },
}

impl StockCaution {
    /// Which product it is about.
    pub const fn product(&self) -> ProductId {
        match self {
            StockCaution::NotSoluble { product, .. }
            | StockCaution::NearlySaturated { product, .. }
            | StockCaution::SolubilityUnknown { product, .. }
            | StockCaution::Overfull { product, .. } => *product,
        }
    }
}

/// Of tap water that has stood in a room, °C (common practice, no source).
const WATER_C: f64 = 20.0;

/// From this part of what dissolves on, a stock is nearly saturated (our own judgement).
const NEARLY: f64 = 0.8;

impl Stock {
    /// What of it goes into the tank of one product.
    #[must_use]
    pub fn of(mut self, product: ProductId) -> Stock {
        self.doses.retain(|dose| dose.product == product);
        self.cautions.retain(|caution| caution.product() == product);
        self
    }
}

/// Advises what goes into stock tanks. The feed is a fill of as many litres as a tank of stock makes.
pub fn stock(asked: &StockAsked) -> Stock {
    let litres = asked.ratio * asked.stock_l;
    let Strength { times, feed_ec, reasons } = strength(asked, litres);
    let mut parts: Vec<&StockPart> = asked.parts.iter().filter(|one| one.part.per_litre > 0.0).collect();
    parts.sort_by_key(|one| one.part.mixing_rank);
    let dose = |one: &StockPart| {
        let amount = times * one.part.per_litre * litres;
        let per_litre = amount / asked.stock_l;
        StockDose { product: one.part.product, per_litre, amount }
    };
    let doses: Vec<StockDose> =
        if times > 0.0 { parts.iter().map(|one| dose(one)).collect() } else { Vec::new() };
    let cautions = cautions(&parts, &doses);
    Stock { doses, feed_ec, acid: acid(asked), cautions, reasons }
}

/// The litres of feed that acid is told for.
const TOLD_FOR_L: f64 = 100.0;

fn acid(asked: &StockAsked) -> Option<FeedAcid> {
    let acidity = asked.water.acidity.filter(|acidity| acidity.is_hard())?;
    let into = IntoTank {
        water_l: TOLD_FOR_L,
        temperature_c: WATER_C,
        tank_l: TOLD_FOR_L,
        tank_takes_mmol: 0.0,
        to_ph: asked.ph_aim.unwrap_or(ACID_FIRST_PH),
    };
    match asked.acid.and_then(|acid| acid.with_water(acidity, &into).ok()) {
        Some(dose) => dose.pourable().map(FeedAcid::Takes),
        None => Some(FeedAcid::NoneFor(acidity.alkalinity_meq_l)),
    }
}

/// How many times the programme's strength, and what comes of it.
struct Strength {
    times: f64,
    feed_ec: Option<Expectation>,
    reasons: Vec<fill::Reason>,
}

fn strength(asked: &StockAsked, litres: f64) -> Strength {
    let parts: Vec<Part> = asked.parts.iter().map(|one| one.part.clone()).collect();
    let Some(ec_aim_ms_cm) = asked.feed_ec_ms_cm else {
        let liquid = parts.iter().filter(|part| part.liquid).map(|part| part.per_litre).sum::<f64>();
        let of_water = (1.0 - liquid / 1000.0) * asked.water.ec_ms_cm;
        return Strength {
            times: 1.0,
            feed_ec: asked.rise.as_ref().ok().map(|rise| Expectation {
                value: rise.value + of_water,
                low: rise.low + of_water,
                high: rise.high + of_water,
            }),
            reasons: Vec::new(),
        };
    };
    let of_step: f64 = parts.iter().map(|part| part.per_litre * litres).sum();
    let water = SourceWater { acidity: None, ..asked.water };
    let (rise, ph_aim, acid) = (asked.rise.clone(), None, None);
    let temperature_c = WATER_C;
    let fill =
        fill::fill(&FillAsked { litres, water, ec_aim_ms_cm, ph_aim, parts, rise, acid, temperature_c });
    let dose = |step: &Step| if let Step::Dose(dose) = step { dose.amount } else { 0.0 };
    let of_feed: f64 = fill.steps.iter().map(dose).sum();
    let reasons = fill.reasons.into_iter().filter(|reason| *reason != fill::Reason::WaterUnknown).collect();
    Strength {
        times: if of_step > 0.0 { of_feed / of_step } else { 0.0 },
        feed_ec: fill.ec_expected,
        reasons,
    }
}

/// Parts and doses go by each other.
fn cautions(parts: &[&StockPart], doses: &[StockDose]) -> Vec<StockCaution> {
    parts.iter().zip(doses).filter_map(|(one, dose)| caution(one, dose)).collect()
}

fn caution(one: &StockPart, dose: &StockDose) -> Option<StockCaution> {
    let (product, per_litre) = (dose.product, dose.per_litre);
    if one.part.liquid {
        let liquid = per_litre / 1000.0;
        return (liquid > 1.0).then_some(StockCaution::Overfull { product, liquid });
    }
    let Some(salt) = one.salt else { return Some(StockCaution::SolubilityUnknown { product, per_litre }) };
    if per_litre > salt.soluble_g_l {
        Some(StockCaution::NotSoluble { product, per_litre, salt })
    } else {
        (per_litre > NEARLY * salt.soluble_g_l).then_some(StockCaution::NearlySaturated { product, salt })
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use fillmark_domain::Base;
    use fillmark_domain::stock::Reagent;

    use super::super::fill::Acidity;
    use super::super::simulated::{learnt, product};
    use super::*;

    const NITRATE: Salt = Salt { name: "potassium nitrate", soluble_g_l: 316.0 };

    /// A product, and what its dose adds to a litre.
    fn part(id: u128, per_litre: f64, liquid: bool, rise: f64) -> (StockPart, f64) {
        let part = Part {
            product: product(id),
            mixing_rank: 10,
            per_litre,
            liquid,
            phosphate_mmol: 0.0,
            alkalinity_meq: 0.0,
        };
        (StockPart { part, salt: (!liquid).then_some(NITRATE) }, rise * per_litre)
    }

    fn asked(feed_ec_ms_cm: Option<f64>, parts: Vec<(StockPart, f64)>) -> StockAsked {
        let rise = Ok(learnt(parts.iter().map(|(_, rise)| rise).sum(), 0.05));
        let parts = parts.into_iter().map(|(part, _)| part).collect();
        let water = SourceWater { ec_ms_cm: 0.3, acidity: None };
        StockAsked {
            ratio: 100.0,
            stock_l: 50.0,
            water,
            acid: None,
            ph_aim: None,
            feed_ec_ms_cm,
            parts,
            rise,
        }
    }

    #[track_caller]
    fn check(asked: &StockAsked, per_litre: &[f64], feed_ec_ms_cm: f64) -> Stock {
        let got = stock(asked);
        assert_eq!(got.doses.len(), per_litre.len(), "{got:?}");
        for (dose, expected) in got.doses.iter().zip(per_litre) {
            assert!((dose.per_litre - expected).abs() < 1e-9, "{got:?}");
            assert!((dose.amount - expected * asked.stock_l).abs() < 1e-6, "{got:?}");
        }
        assert!((got.feed_ec.unwrap().value - feed_ec_ms_cm).abs() < 1e-9, "{got:?}");
        got
    }

    /// By hand: 1 g/L at 1:100 is 100 g in a litre of stock, and 1 g/L adds 1.3 to 0.3.
    #[test]
    fn a_gram_in_a_litre_of_feed_is_a_hundred_in_a_litre_of_stock() {
        let got = check(&asked(None, vec![part(1, 1.0, false, 1.3)]), &[100.0], 1.6);
        assert_eq!(got.cautions, []);
    }

    /// By hand: 1.95 above the water's 0.3 wants half as much again as 1.3.
    #[test]
    fn the_wanted_ec_fixes_the_strength() {
        check(&asked(Some(2.25), vec![part(1, 1.0, false, 1.3)]), &[150.0], 2.25);
    }

    /// By hand, with pK1 of carbonic acid 6.38 at 20 °C (Harned and Davis 1943): water of pH 7.5 and 4 meq/L holds 4.30 mmol/L of
    /// carbonate, of which 21 % are bicarbonate at pH 5.8, so that 3.1 meq/L are taken: 310 mL of an acid of 1 mol/L in 100 L.
    #[test]
    fn hard_water_takes_acid_that_goes_into_no_stock_tank() {
        let hard = |acid| {
            let water =
                SourceWater { ec_ms_cm: 0.6, acidity: Some(Acidity { ph: 7.5, alkalinity_meq_l: 4.0 }) };
            let asked =
                StockAsked { water, acid, ph_aim: Some(5.8), ..asked(None, vec![part(1, 1.0, false, 1.3)]) };
            let made = stock(&asked);
            let told = made.told(&asked, |product| format!("product {}", product.uuid().as_u128()));
            (made.acid.unwrap(), told.join(" "))
        };
        let (reagent, product) = (Reagent::Nitric, product(7));
        let base = Base::Volume;
        let acid =
            Acid { product, reagent, mmol_per_unit: 1.0, base, response: 1.0, spread: None, ec_rise: 0.0 };
        let (FeedAcid::Takes(dose), told) = hard(Some(acid)) else { panic!("there is an acid") };
        assert!((dose.expected - 310.0).abs() < 10.0, "{dose:?}");
        assert!(told.contains("of product 7 some") && told.contains("never goes into this tank"), "{told}");
        let (none, told) = hard(None);
        assert_eq!(none, FeedAcid::NoneFor(4.0));
        assert!(told.contains("no acid of known kind"), "{told}");
        assert_eq!(stock(&asked(None, vec![part(1, 1.0, false, 1.3)])).acid, None, "soft water takes none");
    }

    #[test]
    fn what_does_not_dissolve_or_fit_is_told() {
        let cautions =
            |per_litre, liquid| stock(&asked(None, vec![part(1, per_litre, liquid, 0.3)])).cautions;
        assert!(matches!(cautions(3.5, false)[..], [StockCaution::NotSoluble { .. }]));
        assert!(matches!(cautions(2.9, false)[..], [StockCaution::NearlySaturated { .. }]));
        assert!(matches!(cautions(11.0, true)[..], [StockCaution::Overfull { .. }]));
        assert_eq!(cautions(9.0, true), []);
    }

    #[test]
    fn a_salt_that_nothing_is_known_of_is_told() {
        let (one, rise) = part(1, 1.0, false, 1.3);
        let got = stock(&asked(None, vec![(StockPart { salt: None, ..one }, rise)]));
        assert_eq!(got.cautions, [StockCaution::SolubilityUnknown { product: product(1), per_litre: 100.0 }]);
    }

    proptest! {
        /// A litre of stock in ratio litres of feed brings the EC that is told.
        #[test]
        fn the_doser_makes_the_feed(ec in 0.4..4.0f64, ratio in 50.0..500.0f64, dose in 0.2..2.0f64, rise in 0.1..1.5f64) {
            let parts = vec![part(1, dose, true, rise), part(2, dose, false, rise)];
            let got = stock(&StockAsked { ratio, ..asked(Some(ec), parts) });
            let salt: f64 = got.doses.iter().map(|dose| dose.per_litre * rise).sum();
            let water_l = ratio - got.doses[0].per_litre / 1000.0;
            let made = got.feed_ec.unwrap().value;
            prop_assert!(((salt + water_l * 0.3) / ratio - made).abs() < 1e-9);
            let stands = |reason: &fill::Reason| {
                matches!(reason, fill::Reason::FarFromProgramme(_) | fill::Reason::NothingAddsEc)
            };
            prop_assert!((made - ec).abs() < 1e-9 || got.reasons.iter().any(stands));
        }
    }
}
