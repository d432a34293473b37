//! The additions of a tank by the readings between which they fell.

use chrono::{DateTime, Utc};
use fillmark_domain::Id;
use fillmark_domain::entries::Addition;
use fillmark_domain::stock::ProductId;

use super::LONGEST;
use crate::solution::level::{Level, Taken, instants};
use crate::solution::record::{Litres, TankRecord, What};

/// What was put in between two readings of the EC.
pub(super) struct Group {
    pub doses: Vec<Dose>,
    pub water: Vec<(Id<Addition>, f64)>,
    pub seen: Option<Seen>,
    begun: DateTime<Utc>,
}

/// A product poured.
#[derive(Clone, Copy)]
pub(super) struct Dose {
    pub id: Id<Addition>,
    pub product: ProductId,
    pub amount: f64,
    pub liquid: bool,
}

/// The readings around a group, and how much stood in the tank.
pub(super) struct Seen {
    pub before: Taken,
    pub after: Taken,
    pub litres: Litres,
    /// Whether the litres are those after, since they became known in between.
    pub litres_are_after: bool,
}

impl Seen {
    pub(super) fn days(&self) -> f64 {
        (self.after.at - self.before.at).as_seconds_f64() / 86_400.0
    }
}

impl Group {
    pub(super) fn at(&self) -> DateTime<Utc> {
        self.seen.as_ref().map_or(self.begun, |seen| seen.after.at)
    }

    pub(super) fn water_l(&self) -> f64 {
        self.water.iter().map(|(_, litres)| litres).sum()
    }
}

/// All that was put into a tank, by the readings around it; what has none stands for itself. Two readings with nothing between
/// are a group too.
pub(super) fn groups(record: &TankRecord) -> Vec<Group> {
    let mut walk = Walk { level: Level::of(record), open: Open::default() };
    let mut found = Vec::new();
    for instant in instants(record) {
        instant.reads.iter().for_each(|what| walk.level.pass(instant.at, *what));
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
}

#[derive(Default)]
struct Open {
    before: Option<(Taken, Litres)>,
    doses: Vec<Dose>,
    water: Vec<(Id<Addition>, f64)>,
    begun: Option<DateTime<Utc>>,
}

impl Walk<'_> {
    fn read(&mut self, after: Taken) -> Option<Group> {
        if !self.level.mixed(after.at) {
            return None;
        }
        let litres = self.level.litres(after.at);
        let next = Open { before: Some((after, litres)), ..Open::default() };
        let open = std::mem::replace(&mut self.open, next);
        let seen = open.before.and_then(|(before, litres_before)| {
            let one_meter = before.meter == after.meter;
            let settled = self.level.known.is_some_and(|known| known > before.at);
            let litres = if settled { litres } else { litres_before };
            (one_meter && after.at - before.at <= LONGEST).then_some(Seen {
                before,
                after,
                litres,
                litres_are_after: settled,
            })
        });
        open.closed(seen)
    }

    /// A change of the solution ends what is open, unseen: what it drained and left is not known so well.
    fn deed(&mut self, at: DateTime<Utc>, what: What) -> Option<Group> {
        self.level.pass(at, what);
        match what {
            What::Read { .. } => return None,
            What::Changed { .. } => return std::mem::take(&mut self.open).closed(None),
            What::Poured { id, product, amount, liquid, .. } => {
                self.open.doses.push(Dose { id, product, amount, liquid });
            }
            What::Watered { id, litres, .. } => self.open.water.push((id, litres)),
        }
        self.open.begun.get_or_insert(at);
        None
    }
}

impl Open {
    fn closed(self, seen: Option<Seen>) -> Option<Group> {
        let begun = self.begun.or(seen.as_ref().map(|seen| seen.after.at))?;
        let said = seen.is_some() || !self.doses.is_empty();
        said.then_some(Group { doses: self.doses, water: self.water, seen, begun })
    }
}
