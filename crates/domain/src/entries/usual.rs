//! Amounts beside what is usual: what is possible but far from it is asked back.

use crate::places::{Tank, TankMode};
use crate::stock::Offer;
use crate::{Amount, Base, Coded};

/// A slip of the decimal point is tenfold; a little less, so that one on top of an honest difference is seen too; common
/// practice, no source.
const FAR: f64 = 10.0 / 1.5;

/// A unit keyed for the one below it is a thousandth; a little more, so that one beside an honest difference is seen too; common
/// practice, no source.
const HARDLY: f64 = 300.0;

/// So many fills no tank is dosed for at once; common practice, no source.
const FILLS: f64 = 3.0;

/// So many packs no small grower takes in at once; common practice, no source.
const MOST_PACKS: f64 = 100.0;

/// No crop gives as much in one picking: lettuce cut at once gives about 5, a year of tomatoes 75; common practice, no
/// source.
const MOST_KG_PER_M2: f64 = 50.0;

/// So much of an acid or alkali for each litre of a tank, mL or g, is poured at once by nobody who measures the pH between
/// parts: 1 meq/L is a tenth of a mL of strong nitric acid and some 2 mL of the weakest on sale; common practice, no source.
const MOST_PH_PER_L: f64 = 2.0;

/// Pouring this much more than was advised is another deed; common practice, no source.
const FAR_FROM_ADVICE: f64 = 1.5;

/// What an addition of a product is held against.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct BesideAddition {
    /// What the advice which it followed says of it.
    pub advised: Advised,
    /// Whether it is poured for the pH, in ever smaller parts.
    pub in_parts: bool,
    /// Of what moves the pH: litres of the tank at its mark.
    pub ph_of_l: Option<f64>,
    /// What was put in there lately for the same reason.
    pub lately: Vec<Amount>,
    /// What a whole fill takes at full strength, mL or g.
    pub fill: Option<f64>,
}

/// What advice says of a product.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub enum Advised {
    /// Nothing: none was followed, or it names no amounts.
    #[default]
    Nothing,
    /// All of it that was expected.
    Amount(Amount),
    /// It names others.
    Others,
}

/// Why an addition looks mis-keyed.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Unusual {
    /// Many times what this tank was given.
    #[error("{amount} {unit} is about 10 times the most of it that the tank was given lately, {most} {unit}, or more", unit = base.unit().code())]
    FarFromLately {
        /// As entered.
        amount: Amount,
        /// The most of late.
        most: Amount,
        /// What both are counted in.
        base: Base,
    },
    /// Of another product than those of the advice that it followed.
    #[error("expected a product that the advice names which was followed; this one is not among them")]
    NotAdvised,
    /// Far more than the advice that it followed.
    #[error("{amount} {unit} is far more than the {advised} {unit} of the advice it followed", unit = base.unit().code())]
    FarFromAdvice {
        /// As entered.
        amount: Amount,
        /// What was advised.
        advised: Amount,
        /// What both are counted in.
        base: Base,
    },
    /// Hardly anything of what is usual.
    #[error("{amount} {unit} is hardly anything beside the {usual:.0} {unit} that are usual here", unit = base.unit().code())]
    HardlyAny {
        /// As entered.
        amount: Amount,
        /// What was advised, or the most of late; mL or g.
        usual: f64,
        /// What both are counted in.
        base: Base,
    },
    /// More acid or alkali than anybody pours at once.
    #[error("{amount} {unit} is more than {MOST_PH_PER_L} {unit} for each of the tank's {litres} L, of what is poured in small parts", unit = base.unit().code())]
    MuchForPh {
        /// As entered.
        amount: Amount,
        /// At the tank's mark.
        litres: f64,
        /// What it is counted in.
        base: Base,
    },
    /// More than the dose of several fills.
    #[error("{amount} {unit} is more than {FILLS} fills of the tank take at full strength; one takes {fill:.0} {unit}", unit = base.unit().code())]
    ManyFills {
        /// As entered.
        amount: Amount,
        /// What one fill takes, mL or g.
        fill: f64,
        /// What it is counted in.
        base: Base,
    },
    /// Far from what a pack holds.
    #[error("{amount} {unit} is far from the packs it is sold in, {pack} {unit}", unit = base.unit().code())]
    FarFromPack {
        /// As entered.
        amount: Amount,
        /// The nearest pack.
        pack: Amount,
        /// What both are counted in.
        base: Base,
    },
    /// Many times what the ledger held, or hardly anything of it. What that is it does not tell: who counts writes down what
    /// is found.
    #[error("{counted} {unit} is far from what the ledger held, ten times as much or a tenth", unit = base.unit().code())]
    FarFromHeld {
        /// As entered.
        counted: Amount,
        /// What it is counted in.
        base: Base,
    },
    /// More than grows on so much area.
    #[error("{kg} kg from {area_m2} m² is more than any crop gives in one picking")]
    BeyondArea {
        /// As entered.
        kg: f64,
        /// Where it grew.
        area_m2: f64,
    },
}

/// What is doubtful about an amount of a product put into a tank. Less than usual is not, since a small correction follows a
/// large one; hardly anything is, but of what moves the pH, which is poured in ever smaller parts. What the tank was given says
/// more than the dose, which is asked where it was given nothing yet.
pub fn doubts_of_addition(amount: Amount, base: Base, beside: &BesideAddition) -> Option<Unusual> {
    let entered = amount.base_units();
    match beside.advised {
        Advised::Others => return Some(Unusual::NotAdvised),
        Advised::Amount(advised) if entered > advised.base_units() * FAR_FROM_ADVICE => {
            return Some(Unusual::FarFromAdvice { amount, advised, base });
        }
        Advised::Amount(_) | Advised::Nothing => {}
    }
    if let Some(usual) = usual(beside).filter(|usual| !beside.in_parts && entered * HARDLY < *usual) {
        return Some(Unusual::HardlyAny { amount, usual, base });
    }
    if let Some(most) = beside.lately.iter().copied().max() {
        let far = entered > most.base_units() * FAR;
        return far.then_some(Unusual::FarFromLately { amount, most, base });
    }
    if let Some(litres) = beside.ph_of_l.filter(|litres| entered > litres * MOST_PH_PER_L) {
        return Some(Unusual::MuchForPh { amount, litres, base });
    }
    let fill = beside.fill.filter(|fill| *fill > 0.0 && entered > fill * FILLS)?;
    Some(Unusual::ManyFills { amount, fill, base })
}

/// What is usual of a product in a tank, mL or g; none where it was never given any and nothing was advised.
fn usual(beside: &BesideAddition) -> Option<f64> {
    let lately = beside.lately.iter().copied().max().map(Amount::base_units);
    let advised = match beside.advised {
        Advised::Amount(advised) => Some(advised.base_units()),
        Advised::Nothing | Advised::Others => None,
    };
    advised.or(lately)
}

/// What a fill of a tank takes of a product at so much per litre, mL or g. A stock tank holds it for as many litres of feed as its
/// doser makes of one: of the parts of water that it names, and that one.
pub fn fill_of(tank: &Tank, per_litre: f64) -> f64 {
    let ratio = match tank.mode {
        TankMode::StockTank { ratio } => ratio + 1.0,
        TankMode::Recirculating | TankMode::RunToWaste | TankMode::Batch => 1.0,
    };
    per_litre * tank.fill_mark_l * ratio
}

/// What is doubtful about an amount that came in, beside the packs it is offered in. A part of a pack and many packs come;
/// a thousandth of one, or a thousand, are slips of the unit.
pub fn doubts_of_receipt(amount: Amount, base: Base, offers: &[Offer]) -> Option<Unusual> {
    let smallest = offers.iter().map(|offer| offer.pack).min()?;
    if amount.base_units() * FAR < smallest.base_units() {
        return Some(Unusual::FarFromPack { amount, pack: smallest, base });
    }
    many_packs(amount, base, offers)
}

fn many_packs(amount: Amount, base: Base, offers: &[Offer]) -> Option<Unusual> {
    let pack = offers.iter().map(|offer| offer.pack).max()?;
    let many = amount.base_units() > pack.base_units() * MOST_PACKS;
    many.then_some(Unusual::FarFromPack { amount, pack, base })
}

/// What is doubtful about a count beside what the ledger held. That nothing is left is where more than a pack should be; and where
/// nothing should be there, so much may be as comes in at once.
pub fn doubts_of_count(counted: Amount, held: Amount, base: Base, offers: &[Offer]) -> Option<Unusual> {
    if !counted.is_positive() {
        let pack = offers.iter().map(|offer| offer.pack).min()?;
        return (held > pack).then_some(Unusual::FarFromHeld { counted, base });
    }
    if !held.is_positive() {
        return many_packs(counted, base, offers);
    }
    let times = counted.base_units() / held.base_units();
    (!(FAR.recip()..=FAR).contains(&times)).then_some(Unusual::FarFromHeld { counted, base })
}

/// What is doubtful about a mass picked from an area.
pub fn doubts_of_harvest(kg: f64, area_m2: f64) -> Option<Unusual> {
    (area_m2 > 0.0 && kg > area_m2 * MOST_KG_PER_M2).then_some(Unusual::BeyondArea { kg, area_m2 })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Currency, Id, Money};
    use uuid::Uuid;

    fn ml(ml: i64) -> Amount {
        Amount::from_thousandths(ml * 1000)
    }

    #[track_caller]
    fn check(amount: i64, lately: &[i64], fill: Option<f64>, expected: Option<&str>) {
        let beside = BesideAddition {
            lately: lately.iter().copied().map(ml).collect(),
            fill,
            ..BesideAddition::default()
        };
        check_beside(amount, &beside, expected);
    }

    #[track_caller]
    fn check_beside(amount: i64, beside: &BesideAddition, expected: Option<&str>) {
        let doubt = doubts_of_addition(ml(amount), Base::Volume, beside);
        assert_eq!(doubt.map(|doubt| doubt.to_string()).as_deref(), expected);
    }

    #[test]
    fn far_more_than_was_advised_is_asked_back() {
        let beside =
            BesideAddition { advised: Advised::Amount(ml(90)), lately: vec![ml(900)], ..Default::default() };
        let told = "900 mL is far more than the 90 mL of the advice it followed";
        check_beside(900, &beside, Some(told));
        check_beside(135, &beside, None);
        check_beside(9, &beside, None);
    }

    #[test]
    fn hardly_anything_of_what_is_usual_is_asked_back() {
        check(1, &[900, 10], None, Some("1 mL is hardly anything beside the 900 mL that are usual here"));
        check(3, &[900, 10], None, None);
        check(1, &[], Some(400.0), None);
        let acid = BesideAddition { in_parts: true, lately: vec![ml(900)], ..Default::default() };
        check_beside(1, &acid, None);
    }

    #[test]
    fn what_the_followed_advice_does_not_name_is_asked_back() {
        let beside = BesideAddition { advised: Advised::Others, lately: vec![ml(90)], ..Default::default() };
        let told = "expected a product that the advice names which was followed; this one is not among them";
        check_beside(90, &beside, Some(told));
    }

    #[test]
    fn litres_of_acid_are_asked_back() {
        let beside = BesideAddition { ph_of_l: Some(400.0), ..Default::default() };
        let told = "3000 mL is more than 2 mL for each of the tank's 400 L, of what is poured in small parts";
        check_beside(3000, &beside, Some(told));
        check_beside(800, &beside, None);
        check_beside(3000, &BesideAddition { lately: vec![ml(900)], ..beside }, None);
    }

    #[test]
    fn many_times_what_the_tank_was_given_is_asked_back() {
        let told = "400 mL is about 10 times the most of it that the tank was given lately, 40 mL, or more";
        check(400, &[10, 40], None, Some(told));
        check(266, &[10, 40], None, None);
        check(1, &[40], None, None);
        check(1200, &[400], Some(400.0), None);
    }

    #[test]
    fn the_dose_of_several_fills_is_asked_back() {
        let told = "1201 mL is more than 3 fills of the tank take at full strength; one takes 400 mL";
        check(1201, &[], Some(400.0), Some(told));
        check(1200, &[], Some(400.0), None);
        check(40_000, &[], None, None);
        check(40_000, &[], Some(0.0), None);
    }

    #[test]
    fn a_stock_tank_holds_the_dose_of_the_feed_it_makes() {
        let tank = |mode| Tank {
            name: "Stock A".into(),
            mode,
            fill_mark_l: 50.0,
            water_source: None,
            two_people_change: false,
            bands: Vec::new(),
        };
        // One part to 99 of water is 5,000 L of feed.
        assert_eq!(fill_of(&tank(TankMode::StockTank { ratio: 99.0 }), 2.0), 10_000.0);
        assert_eq!(fill_of(&tank(TankMode::Batch), 2.0), 100.0);
    }

    fn offer(pack: i64) -> Offer {
        Offer {
            supplier: Id::new(Uuid::nil()),
            product: Id::new(Uuid::nil()),
            pack: ml(pack),
            base: Base::Volume,
            price: Money::new(1990, Currency::from_code("EUR").unwrap()),
            minimum_packs: 1,
        }
    }

    #[track_caller]
    fn check_receipt(amount: i64, packs: &[i64], expected: Option<&str>) {
        let offers: Vec<Offer> = packs.iter().copied().map(offer).collect();
        let doubt = doubts_of_receipt(ml(amount), Base::Volume, &offers);
        assert_eq!(doubt.map(|doubt| doubt.to_string()).as_deref(), expected);
    }

    #[test]
    fn what_is_far_from_a_pack_is_asked_back() {
        check_receipt(5, &[5_000, 20_000], Some("5 mL is far from the packs it is sold in, 5000 mL"));
        check_receipt(751, &[5_000], None);
        check_receipt(500_000, &[5_000], None);
        check_receipt(5_000_000, &[5_000], Some("5000000 mL is far from the packs it is sold in, 5000 mL"));
        check_receipt(5, &[], None);
    }

    #[test]
    fn a_count_far_from_the_ledger_is_asked_back() {
        let far = |counted, held| doubts_of_count(ml(counted), ml(held), Base::Volume, &[]).is_some();
        assert!(far(7_400_000, 7_500) && far(7, 7_500) && far(67_000, 10_000));
        let none = |held| doubts_of_count(ml(0), ml(held), Base::Volume, &[offer(5_000)]).is_some();
        assert!(none(5_001) && !none(5_000));
        assert!(!far(7_400, 7_500) && !far(0, 7_500) && !far(66_000, 10_000) && !far(5_000, 0));
    }

    #[test]
    fn more_than_grows_is_asked_back() {
        assert_eq!(doubts_of_harvest(1000.0, 20.0), None);
        let told = "500000 kg from 20 m² is more than any crop gives in one picking";
        assert_eq!(doubts_of_harvest(500_000.0, 20.0).unwrap().to_string(), told);
        assert_eq!(doubts_of_harvest(500_000.0, 0.0), None);
    }
}
