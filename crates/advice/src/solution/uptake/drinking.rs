//! Who drank from a tank in a span of time that can be reckoned with as one: as many plants, in one stage.

use chrono::{DateTime, NaiveDate, Utc};
use fillmark_domain::entries::Spot;
use fillmark_domain::places::{Tank, TankId};
use fillmark_domain::plan::SitePlan;
use fillmark_domain::{Kept, Metric, Stage};

use super::Drinkers;
use crate::solution::balance::{Rises, Span, spans};
use crate::solution::record::TankRecord;

/// Plants more or fewer by this part drink as the same ones: tanks of one room differ by more (our own judgement).
const ALIKE: f64 = 0.1;

/// What a tank's records tell of those who drink from it now.
#[derive(Debug, Clone, PartialEq)]
pub struct Drinking {
    /// Since when there were as many, in the same stage.
    pub since: DateTime<Utc>,
    /// The spans from then on.
    pub spans: Vec<Span>,
    /// Plants, today.
    pub plants: u32,
    /// EC that they are fed at, mS/cm: the mean of the spans, else the aim of the band; none where neither is there.
    pub feed_ec_ms_cm: Option<f64>,
}

/// EC of a feed of which none is known: only the nutrient's figure hangs on it, and is not told then.
const ANY_EC_MS_CM: f64 = 1.0;

impl Drinking {
    /// Of a tank, its record and its site's plan, both back to the beginning of the span.
    pub fn of(
        plan: &SitePlan,
        tank: &Kept<Tank>,
        record: &TankRecord,
        rises: &Rises,
        (from, at): (DateTime<Utc>, DateTime<Utc>),
    ) -> Drinking {
        let since = plan.begins(alike_since(plan, tank.id, plan.day(from), plan.day(at))).max(from);
        let mut spans = spans(record, plan.source_ec(&tank.content), rises);
        spans.retain(|span| span.from.at >= since);
        let mean = spans.iter().map(Span::mean_ec_ms_cm).sum::<f64>() / spans.len() as f64;
        let band = || plan.band(Spot::Tank(tank.id), Metric::Ec, at).map(|band| band.aim);
        let feed_ec_ms_cm = Some(mean).filter(|mean| *mean > 0.0).or_else(band).filter(|ec| *ec > 0.0);
        Drinking { since, spans, plants: plan.plants(tank.id, plan.day(at)), feed_ec_ms_cm }
    }

    /// As uptake is asked of them.
    pub fn drinkers(&self) -> Drinkers<'_> {
        Drinkers {
            spans: &self.spans,
            plants: self.plants.into(),
            ec_ms_cm: self.feed_ec_ms_cm.unwrap_or(ANY_EC_MS_CM),
        }
    }
}

/// The stage that leads a tank on a day.
pub fn stage_led(plan: &SitePlan, tank: TankId, on: NaiveDate) -> Option<Stage> {
    plan.led(tank, on)?.cycle.content.stage_on(on).map(|stage| stage.stage)
}

/// Tanks that feed the same room as a tank, with plants in the same stage.
pub fn peers(plan: &SitePlan, tank: TankId, on: NaiveDate) -> Vec<&Kept<Tank>> {
    let Some((room, stage)) = plan.room_of(tank, on).zip(stage_led(plan, tank, on)) else {
        return Vec::new();
    };
    let alike = |other: &&Kept<Tank>| {
        let same =
            || plan.room_of(other.id, on) == Some(room) && stage_led(plan, other.id, on) == Some(stage);
        other.id != tank && same()
    };
    plan.tanks.iter().filter(alike).collect()
}

fn alike_since(plan: &SitePlan, tank: TankId, first: NaiveDate, today: NaiveDate) -> NaiveDate {
    let plants = |day| f64::from(plan.plants(tank, day));
    let (stage, now) = (stage_led(plan, tank, today), plants(today));
    let alike =
        |day: &NaiveDate| (plants(*day) - now).abs() <= ALIKE * now && stage_led(plan, tank, *day) == stage;
    let back = std::iter::successors(Some(today), |day| day.pred_opt().filter(|day| *day >= first));
    back.take_while(alike).last().unwrap_or(today)
}
