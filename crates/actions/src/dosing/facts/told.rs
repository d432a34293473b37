//! What there is to say of the facts.

use std::collections::BTreeSet;

use fillmark_advice::solution::correct::{CorrectAsked, Shown};
use fillmark_advice::solution::fill::Part;
use fillmark_advice::solution::prior::{self, Teller};
use fillmark_advice::solution::targets::Target;
use fillmark_advice::solution::turnover::Moves;
use fillmark_domain::entries::{Advice, AdvisedStep, CHANGE_CAUTIONS, Lacking};
use fillmark_domain::stock::{FEEDS_FIRE, Product, ProductId, Reagent};
use fillmark_domain::{Coded, Kept};

use super::{ENOUGH, Facts};

/// What follows where nobody has told the water.
const WATER_UNKNOWN: &str = "No water source is set for this tank: its EC is taken for 0, and of water that is not so pure the doses \
                             are too large. Measure the water, enter it as the tank's source, and ask again.";

impl Facts {
    /// What a product is called.
    pub(in super::super) fn name(&self, product: ProductId) -> String {
        self.products.get(&product).map(|kept| kept.content.name.clone()).unwrap_or_default()
    }

    /// Who tells what parts add to the EC.
    pub(in super::super) fn tellers(&self, parts: &[Part]) -> Vec<String> {
        let learnt = self.rise(parts).ok().filter(|rise| !rise.records.is_empty());
        if let Some(learnt) = learnt {
            let far = self.expected_rise(parts).and_then(|expected| prior::told_far(&learnt, expected));
            return [prior::told_learnt(&learnt)].into_iter().chain(far).collect();
        }
        let told_by = |teller: Teller| -> Vec<String> {
            let brings = self.priors.brings.iter();
            let told = brings.filter(|(_, brings)| brings.ec_rise.is_some_and(|rise| rise.teller == teller));
            told.map(|(product, _)| self.name(*product)).collect()
        };
        let each = [Teller::Label, Teller::Chemistry].map(|teller| (teller, told_by(teller)));
        let told = each.into_iter().filter(|(_, names)| !names.is_empty());
        told.map(|(teller, names)| teller.told(&names)).collect()
    }

    /// What labels and chemistry make of what parts add to a litre together; none where they do not tell all of it.
    fn expected_rise(&self, parts: &[Part]) -> Option<f64> {
        let of_part = |part: &Part| {
            let brings = self.priors.brings.get(&part.product)?;
            Some(brings.ec_rise?.value * part.per_litre)
        };
        parts.iter().map(of_part).sum()
    }

    /// That neighbours told of it too, in a sentence.
    pub(in super::super) fn told_neighbours(&self) -> Option<String> {
        self.with_neighbours.then(|| {
            format!(
                "The tank has fewer than {ENOUGH} additions of its own with readings before and after: those of tanks filled \
                 with the same water count too."
            )
        })
    }

    /// What stands in for what nobody has set.
    pub(in super::super) fn told_of_stand_ins(&self) -> impl Iterator<Item = String> + '_ {
        self.published.iter().map(Target::told)
    }

    /// How something dry that moves the pH goes in.
    pub(in super::super) fn told_of_dry(&self, advice: &Advice) -> Vec<String> {
        let adjusts = advice.steps.iter().filter_map(AdvisedStep::adjusts);
        let dry: BTreeSet<ProductId> = adjusts.filter(|product| !self.is_liquid(*product)).collect();
        let told = |product: ProductId| {
            format!(
                "{} is weighed: dissolve it in some litres of cold water first (lye grows hot), and pour that in slowly.",
                self.name(product)
            )
        };
        dry.into_iter().map(told).collect()
    }

    /// Which of several products that move the pH the same way the advice took, and why.
    pub(in super::super) fn told_of_choice(&self, advice: &Advice) -> Vec<String> {
        let taken: BTreeSet<ProductId> = advice.steps.iter().filter_map(AdvisedStep::adjusts).collect();
        let told = taken.into_iter().filter_map(|product| {
            let is_one = |way: &Moves| self.movers(*way).any(|kept| kept.id == product);
            let way = [Moves::Down, Moves::Up].into_iter().find(is_one)?;
            let others: Vec<String> = self
                .movers(way)
                .filter(|kept| kept.id != product)
                .map(|kept| format!("{} ({})", kept.content.name, self.told_of_shelf(kept.id)))
                .collect();
            (!others.is_empty()).then(|| {
                format!(
                    "Of the products that move the pH this way {} is taken ({}{}); there is {} too.",
                    self.name(product),
                    self.told_of_shelf(product),
                    self.told_of_lessons(product),
                    others.join(", ")
                )
            })
        });
        told.collect()
    }

    /// That a product has taught how it acts here, in words beside how much of it is there.
    fn told_of_lessons(&self, product: ProductId) -> String {
        match self.taught(product) {
            0 => String::new(),
            1 => ", one addition has taught how it acts here".to_owned(),
            number => format!(", {number} additions have taught how it acts here"),
        }
    }

    /// How much of a product is there, and that nobody knows how far it moves the pH where it is so.
    fn told_of_shelf(&self, product: ProductId) -> String {
        let held = self.held(product);
        let there = match held.is_positive() {
            true => format!("{held} {} in stock", self.base(product).unit().code()),
            false => "none in stock".to_owned(),
        };
        let known = if self.is_dosable(product) { "" } else { ", of unknown strength" };
        format!("{there}{known}")
    }

    /// Of which products less is there than advice needs.
    pub(in super::super) fn lacking(&self, advice: &Advice) -> Vec<Lacking> {
        let needs = advice.needs().into_iter();
        let lacking = needs.map(|needed| Lacking { needed, held: self.held(needed.product) });
        lacking.filter(|lacking| lacking.held < lacking.needed.amount).collect()
    }

    /// What to beware of with a tank, and with what goes into it.
    pub(in super::super) fn cautions(&self, advice: &Advice) -> Vec<String> {
        let mut cautions: Vec<&str> = self.source().is_none().then_some(WATER_UNKNOWN).into_iter().collect();
        cautions.extend(CHANGE_CAUTIONS);
        let needs = advice.needs().into_iter();
        let mut needed = needs.filter_map(|needed| self.products.get(&needed.product));
        let is_nitric = |kept: &Kept<Product>| {
            self.labels.get(&kept.id).is_some_and(|label| label.reagent == Some(Reagent::Nitric))
        };
        let feeds_fire = needed.any(|kept| is_nitric(kept) || kept.content.cautions().contains(&FEEDS_FIRE));
        cautions.extend(feeds_fire.then_some(FEEDS_FIRE));
        cautions.into_iter().map(str::to_owned).collect()
    }

    /// By which readings and litres a correction was reckoned, and what was missing for it.
    pub(in super::super) fn told_of_readings(&self, asked: &CorrectAsked) -> Vec<String> {
        let local = |shown: Shown| shown.at.with_timezone(&self.plan.zone).format("%H:%M on %-d %B");
        let ec = asked.ec.map(|ec| format!("By the EC of {:.2} mS/cm read at {}.", ec.value, local(ec)));
        let ph = asked.ph.map(|ph| format!("By the pH of {:.2} read at {}.", ph.value, local(ph)));
        let stepless = asked.parts.is_empty().then(|| {
            "No step of a programme leads the tank today, so nothing tells what is dosed into it: feed it to a cycle.".to_owned()
        });
        let litres = format!(
            "Reckoned with {:.0} L in the tank, give or take {:.0} L, as far as levels, changes and top-ups on record tell.",
            asked.litres.litres,
            asked.litres.spread_l.ceil()
        );
        ec.into_iter().chain(ph).chain([litres]).chain(stepless).collect()
    }
}
