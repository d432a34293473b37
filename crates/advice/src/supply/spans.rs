//! What the plants took between two visits, as far as it is on record.

use std::collections::BTreeMap;

use fillmark_domain::Stage;

use super::history::{History, Regime, TankHistory, Visit};
use super::question::TankMode;

/// Parts of the cycle that are told apart.
pub(super) const PARTS: usize = 24;

/// Days that are taken together, counted back from today.
pub(super) const WEEK: usize = 7;

/// A longer gap between visits may hide a change or an idle spell, so it teaches nothing.
const LONGEST_SPAN_DAYS: usize = 6;

/// Spans of one tank in one week and one part of the cycle, taken together.
#[derive(Debug, Clone, Copy)]
pub(super) struct Cell {
    /// Whole weeks between its last day and today.
    pub(super) weeks_ago: usize,
    /// The tank.
    pub(super) tank: usize,
    /// Part of the cycle.
    pub(super) part: usize,
    /// 1 in flowering and ripening, otherwise 0.
    pub(super) late_stage: usize,
    /// Litres of solution at the aim that one plant took.
    pub(super) per_plant_l: f64,
    /// Days.
    pub(super) days: f64,
    /// Plants that drank, times days.
    pub(super) plant_days: f64,
    /// Spans.
    pub(super) spans: usize,
}

/// Whether a stage counts with the later ones.
pub(super) fn late_stage(stage: Stage) -> usize {
    usize::from(matches!(stage, Stage::Flowering | Stage::Ripening))
}

/// The part of the cycle that a position lies in.
pub(super) fn part_of(position: f64) -> usize {
    ((position * PARTS as f64) as usize).min(PARTS - 1)
}

/// The cells of all tanks, the oldest week first.
pub(super) fn cells(history: &History) -> Vec<Cell> {
    let mut cells: BTreeMap<(std::cmp::Reverse<usize>, usize, usize, usize), Cell> = BTreeMap::new();
    for (number, tank) in history.tanks.iter().enumerate() {
        if tank.mode != TankMode::Changed {
            continue;
        }
        for pair in tank.visits.windows(2).filter(|pair| pair[1].day < history.today) {
            let Some((regime, days)) = span(tank, &pair[0], &pair[1]) else { continue };
            let middle = pair[1].day as f64 - days / 2.0;
            let weeks_ago = (history.today - 1 - pair[1].day) / WEEK;
            let (part, late) = (part_of(regime.position(middle)), late_stage(regime.fed.stage));
            let cell = cells.entry((std::cmp::Reverse(weeks_ago), number, part, late)).or_insert(Cell {
                weeks_ago,
                tank: number,
                part,
                late_stage: late,
                per_plant_l: 0.0,
                days: 0.0,
                plant_days: 0.0,
                spans: 0,
            });
            cell.per_plant_l += pair[1].top_up_l / regime.fed.plants;
            cell.days += days;
            cell.plant_days += days * regime.fed.plants;
            cell.spans += 1;
        }
    }
    cells.into_values().collect()
}

/// What a span between two visits was fed and how many days it had; none where it tells nothing of uptake.
fn span<'a>(tank: &'a TankHistory, before: &Visit, visit: &Visit) -> Option<(&'a Regime, f64)> {
    let days = visit.day - before.day;
    let (was, regime) = (tank.fed(before.day)?, tank.fed(visit.day)?);
    // What was poured for a new aim is a step of the aim, and a fill replaces all: neither is uptake.
    let same = was.fed.ec_aim == regime.fed.ec_aim;
    let unbroken = (before.day..visit.day).all(|day| tank.fed(day).is_some());
    // What a part that was replaced left missing is made up after it.
    let is_whole = before.share <= 0.0 || before.share >= 1.0;
    let teaches = is_whole && visit.share <= 0.0 && days <= LONGEST_SPAN_DAYS && same && unbroken;
    (teaches && regime.fed.plants > 0.0).then_some((regime, days as f64))
}
