//! Products, and what whoever handles them should be told.

use crate::code::coded;
use crate::{Base, Id};

coded! {
    /// What a product is for.
    ProductKind {
        /// Liquid nutrient, dosed in mL per litre.
        Concentrate = "concentrate",
        /// Dry nutrient.
        Salt = "salt",
        /// Acid or alkali that moves the pH.
        PhAdjuster = "ph_adjuster",
        /// Anything else that goes into a tank.
        Additive = "additive",
        /// Never into a fed tank: disinfectants, descalers.
        CleaningAgent = "cleaning_agent",
    }
}

/// Something bought to be poured. What it contains stands on its label and may change: see
/// [`LabelRevision`](super::LabelRevision).
#[derive(Debug, Clone, PartialEq)]
pub struct Product {
    /// As people call it; unique among what is not archived.
    pub name: String,
    /// Counted in mL or in g.
    pub base: Base,
    /// What it is for.
    pub kind: ProductKind,
    /// Order of pouring: lower first. Silicates come before calcium (part A), and that before sulphate and
    /// phosphate (part B), because undiluted they fall out of solution together.
    pub mixing_rank: i16,
    /// Parts that are useless without each other, such as A with B. Ordered in step.
    pub goes_with: Vec<Id<Product>>,
    /// Hazards, in the words of label and safety data sheet.
    pub hazards: String,
    /// How it is stored.
    pub storage: String,
}

impl Product {
    /// What whoever handles it should be told, by its kind and the hazards of its label: short, since label and
    /// safety data sheet say the rest. A word too many costs a line, a word too few a hand.
    pub fn cautions(&self) -> Vec<&'static str> {
        let told = format!("{} {}", self.hazards, self.name).to_lowercase();
        let tells = |words: &[&str]| words.iter().any(|word| told.contains(word));
        let corrosive = self.kind == ProductKind::PhAdjuster || tells(&CORROSIVE);
        let (oxidiser, chlorine) = (tells(&OXIDISERS), tells(&CHLORINE));
        let mut cautions = Vec::new();
        if corrosive {
            cautions.push(BURNS);
        }
        if corrosive || chlorine {
            cautions.push(NEVER_WITH_CHLORINE);
        }
        if oxidiser {
            cautions.push(FEEDS_FIRE);
        }
        if !cautions.is_empty() {
            cautions.push(LABEL_FIRST);
        }
        cautions
    }
}

/// Of whatever is corrosive.
pub const BURNS: &str =
    "Burns skin and eyes: wear eye and hand protection, and add it to water, never water to it.";
/// Of acids and of chlorine cleaners.
pub const NEVER_WITH_CHLORINE: &str =
    "Never bring acid and a chlorine cleaner together: toxic gas. Rinse well between them.";
/// Of oxidisers.
pub const FEEDS_FIRE: &str = "Feeds fire: keep it apart from fuels, paper, wood and other organic matter.";
/// Of whatever carries one of the others.
pub const LABEL_FIRST: &str = "Label and safety data sheet come first.";

/// Signs of an acid or alkali on a label: words, and the codes of the GHS (revision 10, annex 3).
const CORROSIVE: [&str; 9] =
    ["corrosive", "caustic", "acid", "alkali", "hydroxide", "burns", "h290", "h314", "h318"];
/// Signs of an oxidiser.
const OXIDISERS: [&str; 9] =
    ["oxidis", "oxidiz", "nitric", "peroxide", "peracetic", "permanganate", "h270", "h271", "h272"];
/// Signs of a cleaner that sets chlorine free.
const CHLORINE: [&str; 5] = ["chlorine", "hypochlor", "bleach", "dichloroiso", "euh031"];

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(kind: ProductKind, hazards: &str, cautions: &[&str]) {
        let product = Product {
            name: "Product".into(),
            base: Base::Volume,
            kind,
            mixing_rank: 0,
            goes_with: Vec::new(),
            hazards: hazards.into(),
            storage: String::new(),
        };
        let told = product.cautions();
        assert_eq!(told.len(), cautions.len(), "{hazards}: {told:?}");
        for (told, begins) in told.iter().zip(cautions) {
            assert!(told.starts_with(begins), "{told}");
        }
    }

    #[test]
    fn acids_alkalis_oxidisers_and_chlorine_come_with_their_cautions() {
        check(ProductKind::PhAdjuster, "", &["Burns", "Never bring acid", "Label"]);
        check(
            ProductKind::Additive,
            "Oxidising (H272), corrosive",
            &["Burns", "Never bring acid", "Feeds fire", "Label"],
        );
        check(ProductKind::CleaningAgent, "sodium hypochlorite", &["Never bring acid", "Label"]);
        check(ProductKind::Concentrate, "", &[]);
    }
}
