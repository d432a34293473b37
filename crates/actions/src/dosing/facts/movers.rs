//! The products that move the pH, and which of them is taken.

use std::collections::BTreeMap;

use fillmark_advice::solution::fill::Acid;
use fillmark_advice::solution::learn::{PhKind, PhResponse};
use fillmark_advice::solution::prior::Adjuster;
use fillmark_advice::solution::turnover::Moves;
use fillmark_domain::stock::{Product, ProductId, ProductKind, Reagent};
use fillmark_domain::{Amount, Kept};

use super::Facts;

impl Facts {
    /// The products that move the pH.
    pub(in super::super) fn adjusters(&self) -> Vec<ProductId> {
        let kind = |kept: &&Kept<Product>| kept.content.kind == ProductKind::PhAdjuster;
        let by_kind = self.products.values().filter(kind).map(|kept| kept.id);
        let mut all: Vec<ProductId> = by_kind.chain(self.moves().into_keys()).collect();
        all.sort_unstable();
        all.dedup();
        all
    }

    /// The product that moves the pH one way.
    pub(in super::super) fn mover(&self, way: Moves) -> Option<ProductId> {
        self.best(self.movers(way))
    }

    /// Of several products the one that is on the shelf and of which it is known how far it moves the pH, before any that would have to
    /// be bought; then the one that has taught most here, then the one of which the most acid or base is there, then the first by name.
    fn best<'a>(&self, several: impl Iterator<Item = &'a Kept<Product>>) -> Option<ProductId> {
        let rank = |kept: &Kept<Product>| {
            let (is_there, is_dosable) = (self.held(kept.id).is_positive(), self.is_dosable(kept.id));
            let meq =
                self.adjuster(kept.id).map_or(0.0, Adjuster::meq_per_unit) * self.held(kept.id).base_units();
            (is_there && is_dosable, self.taught(kept.id), is_there, is_dosable, Amount::rounded(meq))
        };
        let by_name = |one: &Kept<Product>, other: &Kept<Product>| other.content.name.cmp(&one.content.name);
        let best = several.max_by(|one, other| rank(one).cmp(&rank(other)).then(by_name(one, other)));
        best.map(|kept| kept.id)
    }

    /// How many additions have taught how far a product moves the pH here.
    pub(super) fn taught(&self, product: ProductId) -> usize {
        self.ph.iter().filter(|pair| pair.poured.iter().any(|dose| dose.product == product)).count()
    }

    /// Whether chemistry or records tell how far a product moves the pH.
    pub(super) fn is_dosable(&self, product: ProductId) -> bool {
        self.adjuster(product).is_some() || self.response(product).is_some()
    }

    /// The products that move the pH one way, by what they are or by what records tell of them.
    pub(super) fn movers(&self, way: Moves) -> impl Iterator<Item = &Kept<Product>> {
        let moves = self.moves();
        let adjusters = self.products.values().filter(|kept| kept.content.kind == ProductKind::PhAdjuster);
        adjusters.filter(move |kept| {
            let learnt = || match self.response(kept.id)?.kind {
                PhKind::PerUnit { lowers: true } => Some(Moves::Down),
                PhKind::PerUnit { lowers: false } => Some(Moves::Up),
                PhKind::Factor => None,
            };
            moves.get(&kept.id).copied().or_else(learnt) == Some(way)
        })
    }

    /// An acid of known strength, for a fresh fill.
    pub(in super::super) fn acid(&self) -> Option<Acid> {
        let known = self.movers(Moves::Down).filter(|kept| self.adjuster(kept.id).is_some());
        let product = self.best(known)?;
        let adjuster = self.adjuster(product)?;
        let response = self.response(product).filter(|response| response.kind == PhKind::Factor);
        let learnt = response.as_ref().filter(|response| !response.figure.records.is_empty());
        Some(Acid {
            product,
            reagent: adjuster.reagent,
            mmol_per_unit: adjuster.mmol_per_unit,
            base: self.base(product),
            response: response.as_ref().map_or(1.0, |response| response.figure.value),
            spread: learnt.map(PhResponse::spread),
            ec_rise: adjuster.ec_rise.unwrap_or(0.0),
        })
    }

    /// Where the products that are acids or bases move the pH.
    pub(in super::super) fn moves(&self) -> BTreeMap<ProductId, Moves> {
        let moves = |reagent: Reagent| if reagent.is_acid() { Moves::Down } else { Moves::Up };
        self.labels.values().filter_map(|label| Some((label.product, moves(label.reagent?)))).collect()
    }
}
