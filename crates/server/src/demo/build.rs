//! The demo's business set up, and its year written week by week.

use std::sync::Arc;

use chrono::{DateTime, Days, NaiveDate, TimeDelta, Utc};
use fillmark_actions::records::create;
use fillmark_actions::{App, Caller, Refusal, forecast, people, work};
use fillmark_domain::people::{Membership, Person, Role};
use fillmark_domain::places::{Site, SiteId, WaterSource};
use fillmark_domain::stock::{
    AcidStrength, Analysis, Basis, LabelRevision, Offer, Product, ProductId, Supplier,
};
use fillmark_domain::{Amount, Base, Currency, Id, Money, Week};
use rand::SeedableRng;
use rand::rngs::StdRng;

use super::Moved;
use super::business::{Business, Place, acting, at};
use super::cast::{CROPS, CastSite, PASSWORD, PEOPLE, PRODUCTS, SITES, SUPPLIERS};
use super::season;
use super::week::{Hand, Written};

/// Days of history.
const DAYS: u64 = 364;
/// So long before today a forecast is issued each week, which is then held against what was used.
const FORECAST: TimeDelta = TimeDelta::weeks(8);

pub(super) async fn build(app: &App, clock: &Arc<Moved>, now: DateTime<Utc>) -> Result<(), Refusal> {
    let today = now.date_naive();
    let first_day = today - Days::new(DAYS);
    clock.set(at(first_day, 5));
    eprintln!("Making the demo: two sites, eight rooms, a year of history …");
    let business = set_up_business(app, first_day, today).await?;
    let mut places = Vec::new();
    for (number, cast) in SITES.iter().enumerate() {
        places.push(set_up_site(app, &business, number, cast).await?);
    }
    let mut chance = StdRng::seed_from_u64(20_261);
    let mut hands: Vec<Hand> = places.iter().map(|place| Hand::new(&business, place)).collect();
    let mut day = first_day;
    while day < today {
        let next = (day + Days::new(7)).min(today);
        for (place, hand) in places.iter().zip(&mut hands) {
            // A week is kept as a whole: thousands of entries one by one would write the same pages again and again.
            let (app, week) = app.unit().await?;
            // Checks are planned two weeks ahead from the first instant of the week, and typed in at its end.
            clock.set(at(day, 3));
            work::beat_once(&app, place.id).await?;
            clock.set(at(next, 0) - TimeDelta::hours(1));
            let days = Written { from: day, until: next };
            hand.write_week(&app, &business, place, days, &mut chance).await?;
            work::beat_once(&app, place.id).await?;
            week.commit().await?;
        }
        if next < today && today - next <= FORECAST {
            clock.set(at(next, 3));
            for place in &places {
                forecast::watch_supply_at(app, place.id).await?;
            }
        }
        if next.format("%m").to_string() != day.format("%m").to_string() {
            eprintln!("  {} written", day.format("%B %Y"));
        }
        day = next;
    }
    clock.set(now);
    work::beat(app).await
}

async fn set_up_business(app: &App, first_day: NaiveDate, today: NaiveDate) -> Result<Business, Refusal> {
    let mut ids = Vec::new();
    for cast in &PEOPLE {
        let person = Person { name: cast.name.into(), sign_in: Some(cast.sign_in.into()) };
        let kept = match cast.role {
            Role::Owner => people::make_owner(app, person, PASSWORD.into()).await?,
            _ => {
                let owner = acting(ids[0], Role::Owner);
                let kept = create(app, &owner, (), person).await?;
                people::set_password(app, &owner, kept.id, PASSWORD.into(), None).await?;
                kept
            }
        };
        ids.push(kept.id);
    }
    let owner = acting(ids[0], Role::Owner);
    let mut crops = Vec::new();
    for cast in &CROPS {
        let crop =
            fillmark_domain::growing::Crop { name: cast.name.into(), species: Some(cast.species.into()) };
        crops.push(create(app, &owner, (), crop).await?.id);
    }
    let products = set_up_products(app, &owner, first_day).await?;
    Ok(Business { owner, people: ids, crops, products, first_day, today })
}

async fn set_up_products(app: &App, owner: &Caller, first_day: NaiveDate) -> Result<Vec<ProductId>, Refusal> {
    let mut products: Vec<ProductId> = Vec::new();
    for cast in &PRODUCTS {
        // Part B goes with part A, which stands before it.
        let goes_with = if cast.name.ends_with(" B") {
            products.last().copied().into_iter().collect()
        } else {
            Vec::new()
        };
        let product = Product {
            name: cast.name.into(),
            base: Base::Volume,
            kind: cast.kind,
            mixing_rank: cast.mixing_rank,
            goes_with,
            hazards: cast.hazards.into(),
            storage: "cool and dry, out of the sun".into(),
        };
        let id = create(app, owner, (), product).await?.id;
        let label = LabelRevision {
            product: id,
            effective_at: at(first_day, 0) - TimeDelta::days(30),
            analysis: (!cast.declared.is_empty())
                .then(|| Analysis { basis: Basis::WeightPerVolume, declared: cast.declared.to_vec() }),
            density_kg_per_l: Some(1.15),
            reagent: cast.acid.map(|(reagent, _)| reagent),
            strength: cast.acid.map(|(_, percent)| AcidStrength::PercentByWeight(percent)),
            full_strength_per_l: cast.ec_rise.map(|_| 2.5),
            ec_rise_per_unit_per_l: cast.ec_rise,
        };
        create(app, owner, (), label).await?;
        products.push(id);
    }
    Ok(products)
}

async fn set_up_site(
    app: &App,
    business: &Business,
    number: usize,
    cast: &'static CastSite,
) -> Result<Place, Refusal> {
    let owner = &business.owner;
    let currency = Currency::from_code(cast.currency).ok_or(Refusal::NotFound)?;
    let site = Site {
        name: cast.name.into(),
        time_zone: cast.zone.parse().map_err(|_| Refusal::NotFound)?,
        currency,
        working_week: Week::EVERY_DAY,
        service_level: 0.95,
        walk_rooms_min: 1,
        walk_buildings_min: 0,
    };
    let id = create(app, owner, (), site).await?.id;
    for (person, kept) in PEOPLE.iter().zip(&business.people) {
        let here = person.site == Some(number);
        let everywhere_once = person.site.is_none() && number == 0 && person.role != Role::Owner;
        if here || everywhere_once {
            let site = person.site.map(|_| id);
            let from = at(business.first_day, 0);
            let membership = Membership { person: *kept, site, role: person.role, from, until: None };
            create(app, owner, (), membership).await?;
        }
    }
    let source = WaterSource {
        name: "Mains".into(),
        ec_ms_cm: cast.water_ec,
        ph: Some(7.5),
        alkalinity_meq_l: Some(2.2),
        analysed_on: Some(business.first_day),
    };
    let source = create(app, owner, id, source).await?.id;
    let offers = set_up_trade(app, business, id, number, currency).await?;
    let grown = season::set_up(app, business, id, number, cast, source).await?;
    Ok(Place { id, cast, offers, grown })
}

/// Each site has its own terms with the suppliers, so each supplier stands once a currency.
async fn set_up_trade(
    app: &App,
    business: &Business,
    site: SiteId,
    number: usize,
    currency: Currency,
) -> Result<Vec<Id<Offer>>, Refusal> {
    let mut suppliers = Vec::new();
    for (name, promised_lead_days) in SUPPLIERS {
        let supplier = Supplier {
            name: if number == 0 { name.to_owned() } else { format!("{name} ({})", currency.code()) },
            order_days: Week::of([chrono::Weekday::Mon, chrono::Weekday::Tue, chrono::Weekday::Thu]),
            cut_off: chrono::NaiveTime::from_hms_opt(14, 0, 0).unwrap_or_default(),
            promised_lead_days,
            minimum_order_minor: 10_000,
            freight_minor: 1_200,
            currency,
        };
        suppliers.push(create(app, &business.owner, (), supplier).await?.id);
    }
    let mut offers = Vec::new();
    for (cast, product) in PRODUCTS.iter().zip(&business.products) {
        let offer = Offer {
            supplier: suppliers[cast.supplier],
            product: *product,
            pack: Amount::from_thousandths(cast.pack_ml * 1000),
            base: Base::Volume,
            price: Money::new(cast.price_minor, currency),
            minimum_packs: 1,
        };
        offers.push(create(app, &business.owner, site, offer).await?.id);
    }
    Ok(offers)
}
