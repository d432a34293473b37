//! The additions of a tank by the readings between which they fell.

use chrono::{DateTime, Utc};
use fillmark_domain::entries::{Addition, Reading, SamplePoint};
use fillmark_domain::stock::ProductId;
use fillmark_domain::{Id, Metric};

use super::LONGEST;
use crate::solution::level::{Level, Taken, instants};
use crate::solution::record::{Litres, READ_TO_EC, TankRecord, What};

/// What was put in between two readings of the EC.
pub(super) struct Group {
    pub doses: Vec<Dose>,
    pub water: Vec<(Id<Addition>, f64)>,
    pub seen: Option<Seen>,
    begun: DateTime<Utc>,
    ended: DateTime<Utc>,
}

/// A product poured.
#[derive(Clone, Copy)]
pub(super) struct Dose {
    pub id: Id<Addition>,
    pub product: ProductId,
    pub amount: f64,
    pub liquid: bool,
}

/// What the tank was before a group and the reading after it, and how much stood in it.
pub(super) struct Seen {
    pub before: Before,
    pub after: Taken,
    pub litres: Litres,
    /// Whether the litres are those after, since they became known in between.
    pub litres_are_after: bool,
    /// L that left the tank meanwhile, drunk, evaporated or leaked, where that is known; else nought.
    pub left_l: f64,
}

/// The EC of a tank before a group.
#[derive(Clone, Copy)]
pub(super) enum Before {
    /// As it was read.
    Read(Taken),
    /// That of the water it was filled with afresh, mS/cm.
    Fresh { at: DateTime<Utc>, ec_ms_cm: f64 },
}

/// Water is not always as it was analysed, by this part (our own judgement).
const WATER_TO: f64 = 0.15;

impl Seen {
    pub(super) fn days(&self) -> f64 {
        (self.after.at - self.before.at()).as_seconds_f64() / 86_400.0
    }

    /// The readings that tell.
    pub(super) fn readings(&self) -> Vec<Id<Reading>> {
        match self.before {
            Before::Read(taken) => vec![taken.id, self.after.id],
            Before::Fresh { .. } => vec![self.after.id],
        }
    }
}

impl Before {
    pub(super) const fn at(self) -> DateTime<Utc> {
        match self {
            Before::Read(Taken { at, .. }) | Before::Fresh { at, .. } => at,
        }
    }

    pub(super) const fn ec_ms_cm(self) -> f64 {
        match self {
            Before::Read(Taken { ec_ms_cm, .. }) | Before::Fresh { ec_ms_cm, .. } => ec_ms_cm,
        }
    }

    /// Standard deviation, mS/cm.
    pub(super) fn spread_ms_cm(self) -> f64 {
        match self {
            Before::Read(taken) => READ_TO_EC * taken.ec_ms_cm,
            Before::Fresh { ec_ms_cm, .. } => WATER_TO * ec_ms_cm,
        }
    }

    /// Whether it compares with a reading after it: of another meter each may be off in its own way.
    fn compares(self, after: Taken) -> bool {
        match self {
            Before::Read(taken) => taken.meter == after.meter,
            Before::Fresh { .. } => true,
        }
    }
}

impl Group {
    pub(super) fn at(&self) -> DateTime<Utc> {
        self.seen.as_ref().map_or(self.begun, |seen| seen.after.at)
    }

    /// When the first of it went in; of readings with nothing between, when the second was taken.
    pub(super) const fn begun(&self) -> DateTime<Utc> {
        self.begun
    }

    /// When the last of it went in.
    pub(super) const fn ended(&self) -> DateTime<Utc> {
        self.ended
    }

    /// Whether it went into a tank that was just filled afresh.
    pub(super) fn is_fresh(&self) -> bool {
        self.seen.as_ref().is_some_and(|seen| matches!(seen.before, Before::Fresh { .. }))
    }

    pub(super) fn water_l(&self) -> f64 {
        self.water.iter().map(|(_, litres)| litres).sum()
    }
}

/// All that was put into a tank, by the readings around it; what has none stands for itself. Two readings with nothing between
/// are a group too. Where the EC of the water is known, a full change is a reading of it.
pub(super) fn groups(record: &TankRecord, water_ec_ms_cm: Option<f64>) -> Vec<Group> {
    let mut walk = Walk { level: Level::of(record), open: Open::default(), water_ec_ms_cm };
    let mut found = Vec::new();
    for instant in instants(record) {
        instant.reads.iter().for_each(|what| walk.level.pass(instant.at, *what));
        if instant.reads.iter().any(is_gauge) {
            walk.open.settle(walk.level.litres(instant.at));
        }
        if let Some(taken) = instant.ec() {
            found.extend(walk.read(taken));
        }
        for what in instant.deeds {
            found.extend(walk.deed(instant.at, what));
        }
    }
    found.extend(walk.open.closed(None));
    found
}

struct Walk<'a> {
    level: Level<'a>,
    open: Open,
    water_ec_ms_cm: Option<f64>,
}

#[derive(Default)]
struct Open {
    before: Option<(Before, Litres)>,
    doses: Vec<Dose>,
    water: Vec<(Id<Addition>, f64)>,
    begun: Option<DateTime<Utc>>,
    ended: Option<DateTime<Utc>>,
    /// What the gauge showed first after the last of it: what leaks away later was there.
    settled: Option<Litres>,
}

fn is_gauge(what: &What) -> bool {
    matches!(what, What::Read { metric: Metric::Volume, point: SamplePoint::Tank, .. })
}

impl Walk<'_> {
    fn read(&mut self, after: Taken) -> Option<Group> {
        if !self.level.mixed(after.at) {
            return None;
        }
        let litres = self.level.litres(after.at);
        let next = Open { before: Some((Before::Read(after), litres)), ..Open::default() };
        let open = std::mem::replace(&mut self.open, next);
        let seen = open.before.and_then(|(before, litres_before)| {
            let settled = self.level.known.is_some_and(|known| known > before.at());
            let left_l = if settled { litres_before.litres + open.came_l() - litres.litres } else { 0.0 };
            let litres = if settled { open.settled.unwrap_or(litres) } else { litres_before };
            (before.compares(after) && after.at - before.at() <= LONGEST).then_some(Seen {
                before,
                after,
                litres,
                litres_are_after: settled,
                left_l: left_l.max(0.0),
            })
        });
        open.closed(seen)
    }

    /// A change of the solution ends what is open, unseen: what it drained and left is not known so well. After a full one fresh
    /// water stands in the tank.
    fn deed(&mut self, at: DateTime<Utc>, what: What) -> Option<Group> {
        self.level.pass(at, what);
        match what {
            What::Read { .. } => return None,
            What::Changed { fraction, .. } => {
                let water = self.water_ec_ms_cm.filter(|_| fraction >= 1.0);
                let before = water.map(|ec_ms_cm| (Before::Fresh { at, ec_ms_cm }, self.level.litres(at)));
                return std::mem::replace(&mut self.open, Open { before, ..Open::default() }).closed(None);
            }
            What::Poured { id, product, amount, liquid, .. } => {
                self.open.doses.push(Dose { id, product, amount, liquid });
            }
            What::Watered { id, litres, .. } => self.open.water.push((id, litres)),
        }
        self.open.begun.get_or_insert(at);
        self.open.ended = Some(at);
        self.open.settled = None;
        None
    }
}

impl Open {
    fn settle(&mut self, litres: Litres) {
        if self.ended.is_some() {
            self.settled.get_or_insert(litres);
        }
    }

    /// L that were put in.
    fn came_l(&self) -> f64 {
        let liquid = self.doses.iter().filter(|dose| dose.liquid).map(|dose| dose.amount / 1000.0);
        self.water.iter().map(|(_, litres)| litres).chain(&liquid.collect::<Vec<_>>()).sum()
    }

    fn closed(self, seen: Option<Seen>) -> Option<Group> {
        let begun = self.begun.or(seen.as_ref().map(|seen| seen.after.at))?;
        let ended = self.ended.unwrap_or(begun);
        let said = seen.is_some() || !self.doses.is_empty();
        said.then_some(Group { doses: self.doses, water: self.water, seen, begun, ended })
    }
}
