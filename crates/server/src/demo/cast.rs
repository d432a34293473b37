//! The invented business: two sites, eight rooms, twenty-six tanks, nine people. All names and figures are made up
//! for the demo; the rhythm of the programmes is common practice, no source.

use fillmark_domain::Stage;
use fillmark_domain::people::Role;
use fillmark_domain::places::RoomUse;
use fillmark_domain::stock::{Declared, ProductKind, Reagent};

/// What everybody signs in with.
pub(super) const PASSWORD: &str = "a garden full of herbs";

pub(super) struct CastSite {
    pub(super) name: &'static str,
    pub(super) zone: &'static str,
    pub(super) currency: &'static str,
    pub(super) water_ec: f64,
    pub(super) rooms: &'static [CastRoom],
}

pub(super) struct CastRoom {
    pub(super) name: &'static str,
    pub(super) room_use: RoomUse,
    pub(super) hygiene_rank: u8,
    pub(super) area_m2: f64,
    /// Volume at the fill mark of each tank, L.
    pub(super) tanks: &'static [f64],
    pub(super) crop: usize,
    pub(super) plants: u32,
}

pub(super) struct CastCrop {
    pub(super) name: &'static str,
    pub(super) species: &'static str,
    /// Days in each stage, in order, then days the room stands empty.
    pub(super) stages: &'static [(Stage, u32)],
    pub(super) idle_days: u32,
    /// EC aim of each stage, mS/cm.
    pub(super) ec: &'static [f64],
    pub(super) change_every_days: u32,
    /// Water that a full-grown plant drinks in a day, L.
    pub(super) drinks_l: f64,
    /// Saleable mass of a plant over its cycle, kg; nothing for plants that are moved on.
    pub(super) yield_kg: f64,
    /// Part of the cycle after which it is picked every week.
    pub(super) picked_from: f64,
    /// Shares of the EC from the products, in their order.
    pub(super) shares: [f64; 3],
}

pub(super) struct CastProduct {
    pub(super) name: &'static str,
    pub(super) kind: ProductKind,
    pub(super) mixing_rank: i16,
    pub(super) ec_rise: Option<f64>,
    pub(super) pack_ml: i64,
    pub(super) price_minor: i64,
    pub(super) supplier: usize,
    pub(super) hazards: &'static str,
    /// What the label declares, % by volume.
    pub(super) declared: &'static [(Declared, f64)],
    /// Which acid it is, and its strength in % by weight.
    pub(super) acid: Option<(Reagent, f64)>,
}

pub(super) struct CastPerson {
    pub(super) name: &'static str,
    pub(super) sign_in: &'static str,
    pub(super) role: Role,
    /// Place of the site among [`SITES`]; nothing for every site.
    pub(super) site: Option<usize>,
}

pub(super) const SITES: [CastSite; 2] = [
    CastSite {
        name: "Quayside",
        zone: "Europe/Amsterdam",
        currency: "EUR",
        water_ec: 0.35,
        rooms: &[
            CastRoom {
                name: "Herb room",
                room_use: RoomUse::Cropping,
                hygiene_rank: 2,
                area_m2: 60.0,
                tanks: &[400.0, 400.0, 300.0, 300.0],
                crop: 0,
                plants: 1400,
            },
            CastRoom {
                name: "Salad hall",
                room_use: RoomUse::Cropping,
                hygiene_rank: 3,
                area_m2: 90.0,
                tanks: &[500.0, 500.0, 500.0, 400.0, 400.0],
                crop: 1,
                plants: 2600,
            },
            CastRoom {
                name: "Seedling room",
                room_use: RoomUse::Propagation,
                hygiene_rank: 1,
                area_m2: 18.0,
                tanks: &[150.0, 150.0],
                crop: 3,
                plants: 2400,
            },
            CastRoom {
                name: "Quarantine",
                room_use: RoomUse::Quarantine,
                hygiene_rank: 9,
                area_m2: 8.0,
                tanks: &[100.0],
                crop: 0,
                plants: 60,
            },
        ],
    },
    CastSite {
        name: "Orchard Yard",
        zone: "Europe/London",
        currency: "GBP",
        water_ec: 0.55,
        rooms: &[
            CastRoom {
                name: "Tomato house",
                room_use: RoomUse::Cropping,
                hygiene_rank: 4,
                area_m2: 240.0,
                tanks: &[800.0, 800.0, 800.0, 800.0, 600.0, 600.0],
                crop: 2,
                plants: 620,
            },
            CastRoom {
                name: "Herb loft",
                room_use: RoomUse::Cropping,
                hygiene_rank: 2,
                area_m2: 40.0,
                tanks: &[300.0, 300.0, 300.0],
                crop: 0,
                plants: 900,
            },
            CastRoom {
                name: "Salad cellar",
                room_use: RoomUse::Cropping,
                hygiene_rank: 3,
                area_m2: 45.0,
                tanks: &[400.0, 400.0, 300.0],
                crop: 1,
                plants: 1300,
            },
            CastRoom {
                name: "Nursery",
                room_use: RoomUse::Propagation,
                hygiene_rank: 1,
                area_m2: 12.0,
                tanks: &[150.0, 120.0],
                crop: 3,
                plants: 1500,
            },
        ],
    },
];

pub(super) const CROPS: [CastCrop; 4] = [
    CastCrop {
        name: "Basil Lunara",
        species: "Ocimum basilicum",
        stages: &[(Stage::Propagation, 10), (Stage::Vegetative, 32)],
        idle_days: 3,
        ec: &[1.0, 1.5],
        change_every_days: 14,
        drinks_l: 0.12,
        yield_kg: 0.09,
        picked_from: 0.6,
        shares: [0.5, 0.5, 0.0],
    },
    CastCrop {
        name: "Lettuce Brindle",
        species: "Lactuca sativa",
        stages: &[(Stage::Propagation, 8), (Stage::Vegetative, 27)],
        idle_days: 2,
        ec: &[0.9, 1.4],
        change_every_days: 14,
        drinks_l: 0.15,
        yield_kg: 0.21,
        picked_from: 0.85,
        shares: [0.5, 0.5, 0.0],
    },
    CastCrop {
        name: "Tomato Rosetta",
        species: "Solanum lycopersicum",
        stages: &[(Stage::Vegetative, 45), (Stage::Flowering, 40), (Stage::Ripening, 195)],
        idle_days: 14,
        ec: &[1.8, 2.4, 2.8],
        change_every_days: 21,
        drinks_l: 1.3,
        yield_kg: 11.0,
        picked_from: 0.3,
        shares: [0.38, 0.4, 0.22],
    },
    CastCrop {
        name: "Mixed seedlings",
        species: "several",
        stages: &[(Stage::Propagation, 21)],
        idle_days: 2,
        ec: &[0.8],
        change_every_days: 7,
        drinks_l: 0.02,
        yield_kg: 0.0,
        picked_from: 1.0,
        shares: [0.5, 0.5, 0.0],
    },
];

/// The pH adjuster stands last.
pub(super) const PRODUCTS: [CastProduct; 4] = [
    CastProduct {
        name: "Kelda Base A",
        kind: ProductKind::Concentrate,
        mixing_rank: 2,
        ec_rise: Some(0.42),
        pack_ml: 10_000,
        price_minor: 6_400,
        supplier: 0,
        hazards: "oxidiser",
        declared: &[
            (Declared::NitrateNitrogen, 5.0),
            (Declared::Calcium, 6.0),
            (Declared::PotassiumOxide, 2.7),
            (Declared::Iron, 0.08),
        ],
        acid: None,
    },
    CastProduct {
        name: "Kelda Base B",
        kind: ProductKind::Concentrate,
        mixing_rank: 3,
        ec_rise: Some(0.38),
        pack_ml: 10_000,
        price_minor: 6_100,
        supplier: 0,
        hazards: "",
        declared: &[
            (Declared::NitrateNitrogen, 1.6),
            (Declared::PhosphorusPentoxide, 4.5),
            (Declared::PotassiumOxide, 11.0),
            (Declared::Magnesium, 1.4),
            (Declared::Sulfur, 1.9),
            (Declared::Boron, 0.01),
        ],
        acid: None,
    },
    CastProduct {
        name: "Kelda Fruit",
        kind: ProductKind::Concentrate,
        mixing_rank: 4,
        ec_rise: Some(0.55),
        pack_ml: 5_000,
        price_minor: 5_200,
        supplier: 0,
        hazards: "",
        declared: &[
            (Declared::PhosphorusPentoxide, 9.0),
            (Declared::PotassiumOxide, 20.0),
            (Declared::Sulfur, 4.5),
        ],
        acid: None,
    },
    CastProduct {
        name: "Brine pH Down",
        kind: ProductKind::PhAdjuster,
        mixing_rank: 9,
        ec_rise: None,
        pack_ml: 1_000,
        price_minor: 1_450,
        supplier: 1,
        hazards: "corrosive acid",
        declared: &[],
        acid: Some((Reagent::Phosphoric, 30.0)),
    },
];

pub(super) const SUPPLIERS: [(&str, u16); 2] = [("Fieldgate Supply", 6), ("Northmoor Trading", 9)];

pub(super) const PEOPLE: [CastPerson; 9] = [
    CastPerson { name: "Ines Marlow", sign_in: "ines", role: Role::Owner, site: None },
    CastPerson { name: "Tomas Veld", sign_in: "tomas", role: Role::Manager, site: Some(0) },
    CastPerson { name: "Ruth Ashdown", sign_in: "ruth", role: Role::Manager, site: Some(1) },
    CastPerson { name: "Noor de Wit", sign_in: "noor", role: Role::Staff, site: Some(0) },
    CastPerson { name: "Jonas Brandt", sign_in: "jonas", role: Role::Staff, site: Some(0) },
    CastPerson { name: "Lotte Kuiper", sign_in: "lotte", role: Role::Staff, site: Some(0) },
    CastPerson { name: "Sam Okoro", sign_in: "sam", role: Role::Staff, site: Some(1) },
    CastPerson { name: "Mia Thornley", sign_in: "mia", role: Role::Staff, site: Some(1) },
    CastPerson { name: "Edda Lindqvist", sign_in: "edda", role: Role::Auditor, site: None },
];
