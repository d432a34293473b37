//! The meters that people share, from those a site keeps.

use fillmark_domain::entries::MeterKind;

use crate::rounds::Meters;

/// How many people can read pH, EC, or both at a time. What none is kept for is not limited: everybody may have a pen in
/// their pocket. Who reads both takes a meter of each, or one that shows both; that work of different kinds takes from the
/// same meters is left aside.
pub fn shared_meters(kept: &[MeterKind]) -> Vec<Meters> {
    let count = |kind: MeterKind| kept.iter().filter(|own| **own == kind).count();
    let (ph, ec, both) = (count(MeterKind::Ph), count(MeterKind::Ec), count(MeterKind::PhAndEc));
    let at_once =
        [(MeterKind::Ph, ph + both), (MeterKind::Ec, ec + both), (MeterKind::PhAndEc, ph.min(ec) + both)];
    let limited = at_once.into_iter().filter(|(_, count)| *count > 0);
    limited.map(|(kind, count)| Meters { kind, count: u32::try_from(count).unwrap_or(u32::MAX) }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use MeterKind::{Ec, Other, Ph, PhAndEc};

    #[track_caller]
    fn check(kept: &[MeterKind], expected: &[(MeterKind, u32)]) {
        let found: Vec<_> = shared_meters(kept).into_iter().map(|one| (one.kind, one.count)).collect();
        assert_eq!(found, expected);
    }

    #[test]
    fn a_meter_of_both_serves_for_either() {
        check(&[PhAndEc, Ph], &[(Ph, 2), (Ec, 1), (PhAndEc, 1)]);
        check(&[Ph, Ec, Ec], &[(Ph, 1), (Ec, 2), (PhAndEc, 1)]);
    }

    #[test]
    fn what_no_meter_is_kept_for_is_not_limited() {
        check(&[], &[]);
        check(&[Other], &[]);
        check(&[Ph], &[(Ph, 1)]);
    }
}
