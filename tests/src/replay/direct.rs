//! Questions to the forecast straight from the records of a site, without a server between.

use std::collections::{BTreeMap, HashMap};

use chrono::{NaiveDate, Weekday};
use fillmark_advice::supply::{
    Addition, DEFAULT_REVIEW_DAYS, DEFAULT_SERVICE_LEVEL, Dose, FedDay, PartialChange, ProductAsked,
    Question, Reason, TankAsked, TankMode, Unplanned,
};
use fillmark_domain::stock::{Product, ProductKind};
use fillmark_domain::{Amount, Days, Id, OpenDays, Stage, Week};
use uuid::Uuid;

use super::recorded::{Origin, Recorded};
use super::scenario::{PlanCrop, PlanRoom, PlanTank, What};

/// A change that moves so much of the tank is a full one: what stays in the pipes is no part of it.
const FULL: f64 = 0.95;

/// The records of a site sorted by tank and product, so that each day of asking takes what lies before it.
pub struct Records<'a> {
    site: &'a Recorded,
    open: OpenDays,
    tanks: HashMap<&'a str, OfTank>,
    unplanned: Vec<Vec<Unplanned>>,
}

#[derive(Default)]
struct OfTank {
    visits: Vec<NaiveDate>,
    changes: Vec<(NaiveDate, f64)>,
    additions: Vec<Addition>,
}

/// The id of a product: its place in the file.
pub fn product_id(place: usize) -> Id<Product> {
    Id::new(Uuid::from_u128(place as u128 + 1))
}

impl<'a> Records<'a> {
    /// Of a site.
    pub fn new(site: &'a Recorded) -> Records<'a> {
        let weekdays = site.plan.open_weekdays.iter().filter_map(|day| Weekday::try_from(*day).ok());
        let closures = site.plan.closed_dates.iter().map(|day| Days { from: *day, until: *day });
        let mut records = Records {
            site,
            open: OpenDays { week: Week::of(weekdays), closures: closures.collect() },
            tanks: HashMap::new(),
            unplanned: vec![Vec::new(); site.plan.products.len()],
        };
        records.sort_events();
        records
    }

    fn place(&self, product: &str) -> Option<usize> {
        self.site.plan.products.iter().position(|known| known.name == product)
    }

    fn sort_events(&mut self) {
        let mut events: Vec<_> = self.site.events.iter().collect();
        events.sort_by_key(|event| (event.date, !matches!(event.what, What::Receipt { .. }), event.seq));
        let mut ledger = vec![0.0; self.site.plan.products.len()];
        for event in events {
            match &event.what {
                What::Reading { tank, .. } => self.tanks.entry(tank).or_default().visits.push(event.date),
                What::Change { tank, volume_l } => {
                    self.tanks.entry(tank).or_default().changes.push((event.date, *volume_l));
                }
                What::Addition { tank, product, ml, why, .. } => {
                    let Some(place) = self.place(product) else { continue };
                    let addition = Addition {
                        product: product_id(place),
                        on: event.date,
                        amount: Amount::rounded(*ml),
                        reason: reason(why),
                    };
                    self.tanks.entry(tank).or_default().additions.push(addition);
                    ledger[place] = f64::max(ledger[place] - ml, 0.0);
                }
                stock => self.keep_stock(event.date, stock, &mut ledger),
            }
        }
    }

    /// What a count finds beside the ledger is use that nobody wrote down, or a slip that evens out.
    fn keep_stock(&mut self, on: NaiveDate, what: &What, ledger: &mut [f64]) {
        let (product, change) = match what {
            What::Receipt { product, ml, .. } => (product, *ml),
            What::Adjust { product, ml } => (product, -ml),
            What::Count { product, ml } => {
                let Some(place) = self.place(product) else { return };
                let lost = ledger[place] - ml;
                ledger[place] = *ml;
                self.unplanned[place].push(Unplanned { on, amount: Amount::rounded(lost) });
                return;
            }
            _ => return,
        };
        let Some(place) = self.place(product) else { return };
        ledger[place] = f64::max(ledger[place] + change, 0.0);
        if change < 0.0 {
            self.unplanned[place].push(Unplanned { on, amount: Amount::rounded(-change) });
        }
    }

    /// The question as it would be asked on a day.
    pub fn question(&self, origin: &Origin) -> Question {
        let plan = &self.site.plan;
        let tanks = plan.rooms.iter().flat_map(|room| room.tanks.iter().map(move |tank| (room, tank)));
        Question {
            today: origin.date,
            horizon_days: self.site.horizon_days,
            open: self.open.clone(),
            service_level: DEFAULT_SERVICE_LEVEL,
            review_days: DEFAULT_REVIEW_DAYS,
            tanks: tanks.map(|(room, tank)| self.tank(origin, room, tank)).collect(),
            products: (0..plan.products.len()).map(|place| self.product(origin, place)).collect(),
            suppliers: Vec::new(),
            in_step: Vec::new(),
        }
    }

    fn product(&self, origin: &Origin, place: usize) -> ProductAsked {
        let rise = self.site.plan.products[place].ec_per_ml_l;
        let unplanned = self.unplanned[place].iter().filter(|loss| loss.on < origin.date);
        ProductAsked {
            product: product_id(place),
            kind: if rise.is_some() { ProductKind::Concentrate } else { ProductKind::PhAdjuster },
            ec_rise_per_unit_per_l: rise,
            on_hand: Vec::new(),
            on_order: Vec::new(),
            unplanned: unplanned.copied().collect(),
            taken: Vec::new(),
            prepared: BTreeMap::new(),
            made_of: Vec::new(),
            offers: Vec::new(),
            shelf_life_days: None,
        }
    }

    fn tank(&self, origin: &Origin, room: &PlanRoom, tank: &PlanTank) -> TankAsked {
        let none = OfTank::default();
        let records = self.tanks.get(tank.name.as_str()).unwrap_or(&none);
        let before = |on: &NaiveDate| *on < origin.date;
        let changes = || records.changes.iter().filter(|(on, _)| before(on));
        let is_full = |volume_l: f64| volume_l >= FULL * tank.volume_l;
        let planned = self.site.plan.planned_changes.iter().filter(|change| change.tank == tank.name);
        TankAsked {
            working_volume_l: tank.volume_l,
            mode: TankMode::Changed,
            fed: self.fed(origin, room, tank),
            planned_changes: planned.map(|change| change.planned_date).collect(),
            skipped_changes: Vec::new(),
            changes_done: changes().filter(|(_, litres)| is_full(*litres)).map(|(on, _)| *on).collect(),
            partial_changes: changes()
                .filter(|(_, litres)| !is_full(*litres))
                .map(|(on, litres)| PartialChange { on: *on, share: litres / tank.volume_l })
                .collect(),
            visits: records.visits.iter().filter(|on| before(on)).copied().collect(),
            additions: records.additions.iter().filter(|one| before(&one.on)).copied().collect(),
            litres_fed: Vec::new(),
            without_step_on: None,
        }
    }

    fn fed(&self, origin: &Origin, room: &PlanRoom, tank: &PlanTank) -> BTreeMap<NaiveDate, FedDay> {
        let mut fed = BTreeMap::new();
        for crop in origin.crops.iter().filter(|crop| crop.room == room.name) {
            for day in (Days { from: crop.start_date, until: crop.end_date }).each() {
                let stage = if day < crop.switch_date { Stage::Vegetative } else { Stage::Flowering };
                if let Some(fed_day) = self.fed_day(room, tank, crop, stage) {
                    fed.insert(day, fed_day);
                }
            }
        }
        fed
    }

    fn fed_day(&self, room: &PlanRoom, tank: &PlanTank, crop: &PlanCrop, stage: Stage) -> Option<FedDay> {
        let code = if stage == Stage::Vegetative { "veg" } else { "bloom" };
        let ec_aim = *room.ec_target.get(code)?;
        Some(FedDay {
            stage,
            cycle_start: crop.start_date,
            cycle_end: crop.end_date,
            plants: tank.plants.into(),
            ec_aim,
            source_ec: 0.0,
            doses: self.doses(code, ec_aim),
            top_up_share: 1.0,
            change_every_days: u16::try_from(room.change_every_days).ok(),
        })
    }

    fn doses(&self, stage: &str, ec_aim: f64) -> Vec<Dose> {
        let plan = &self.site.plan;
        let dose = |(place, product): (usize, &super::scenario::PlanProduct)| {
            let share = plan.recipe_share_of_ec.get(&product.name)?.get(stage)?;
            Some(Dose { product: product_id(place), per_l: ec_aim * share / product.ec_per_ml_l? })
        };
        plan.products.iter().enumerate().filter_map(dose).collect()
    }
}

fn reason(why: &str) -> Reason {
    match why {
        "change" => Reason::Change,
        "ph" => Reason::Ph,
        "strength" => Reason::Strength,
        _ => Reason::TopUp,
    }
}
