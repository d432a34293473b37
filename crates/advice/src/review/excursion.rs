//! Excursions: when a metric left its band, how far, and how long it took until somebody did something.

use chrono::{DateTime, TimeDelta, Utc};
use fillmark_domain::Band;

use crate::review::trace::{Piece, Trace, minutes};

/// Which side of the band.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Side {
    /// Below.
    Low,
    /// Above.
    High,
}

/// A time out of band.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Excursion {
    /// Which side.
    pub side: Side,
    /// When it began, on the line between readings.
    pub from: DateTime<Utc>,
    /// When it ended, or when it was last known.
    pub until: DateTime<Utc>,
    /// Whether readings do not show its end: they stop, or the next came too late.
    pub open: bool,
    /// The value farthest out.
    pub peak: f64,
    /// How far beyond the edge that was.
    pub depth: f64,
    /// How long it lasted, as far as known.
    pub minutes: f64,
    /// Minutes from its beginning to the first correction before it ended, if there was one.
    pub corrected_after_min: Option<f64>,
    /// Readings within it.
    pub n: usize,
}

/// What is one excursion, and what is too short to be one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Joining {
    /// Two on the same side this close together are one, unless readings lie too far apart between them.
    pub closer_than: TimeDelta,
    /// A shorter one is left out, unless its end is not known.
    pub shorter_than: TimeDelta,
}

impl Trace {
    /// The times out of this band, in order. Corrections are the additions and changes that somebody made
    /// to the tank.
    pub fn excursions(&self, band: &Band, joining: Joining, corrections: &[DateTime<Utc>]) -> Vec<Excursion> {
        let near = minutes(joining.closer_than);
        let mut joined: Vec<Out> = Vec::new();
        for out in self.times_out(band) {
            match joined.last_mut() {
                Some(last)
                    if last.side == out.side && last.run == out.run && out.from - last.until <= near =>
                {
                    last.join(&out);
                }
                _ => joined.push(out),
            }
        }
        joined.retain(|out| out.open || out.until - out.from >= minutes(joining.shorter_than));
        joined.iter().map(|out| self.excursion(band, out, corrections)).collect()
    }

    fn times_out(&self, band: &Band) -> Vec<Out> {
        let mut found: Vec<Out> = Vec::new();
        let mut current: Option<Out> = None;
        for part in self.pieces.iter().flat_map(|piece| piece.cut_at(band)) {
            let out = Out::of(&part, band);
            current = match (current.take(), out) {
                (Some(mut current), Some(out)) if current.run == out.run && current.side == out.side => {
                    current.join(&out);
                    Some(current)
                }
                (Some(ended), out) => {
                    found.push(Out { open: ended.run != part.run && !ended.back_in, ..ended });
                    out
                }
                (None, out) => out,
            };
        }
        found.extend(current.map(|last| Out { open: !last.back_in, ..last }));
        found
    }

    fn excursion(&self, band: &Band, out: &Out, corrections: &[DateTime<Utc>]) -> Excursion {
        let (from, until) = (self.instant(out.from), self.instant(out.until));
        let within = |at: &DateTime<Utc>| from <= *at && (out.open || *at <= until);
        let corrected = corrections.iter().copied().filter(within).min();
        Excursion {
            side: out.side,
            from,
            until,
            open: out.open,
            peak: out.peak,
            depth: match out.side {
                Side::Low => band.low - out.peak,
                Side::High => out.peak - band.high,
            },
            minutes: out.until - out.from,
            corrected_after_min: corrected.map(|at| minutes(at - from)),
            n: self.points.iter().filter(|point| from <= point.at && point.at <= until).count(),
        }
    }
}

/// A time out of band, in minutes from the trace's origin.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Out {
    run: usize,
    side: Side,
    from: f64,
    until: f64,
    peak: f64,
    /// Whether its last value is on the edge: the band is closed, so that it is known to have ended there.
    back_in: bool,
    open: bool,
}

impl Out {
    fn of(part: &Piece, band: &Band) -> Option<Out> {
        let (side, peak) = match part.middle() {
            value if value < band.low => (Side::Low, part.first.min(part.last)),
            value if value > band.high => (Side::High, part.first.max(part.last)),
            _ => return None,
        };
        let back_in = (band.low..=band.high).contains(&part.last);
        Some(Out { run: part.run, side, from: part.from, until: part.until, peak, back_in, open: false })
    }

    fn join(&mut self, later: &Out) {
        self.until = later.until;
        (self.open, self.back_in) = (later.open, later.back_in);
        self.peak = match self.side {
            Side::Low => self.peak.min(later.peak),
            Side::High => self.peak.max(later.peak),
        };
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::review::Between;
    use crate::review::rows::{close_to, rows};
    use crate::review::trace::tests::{band, minute, of_row, points};

    #[track_caller]
    fn check(readings: &[(f64, f64)], corrections: &[f64], expected: &[(f64, f64, bool, Option<f64>)]) {
        let corrections: Vec<DateTime<Utc>> = corrections.iter().map(|at| minute(*at)).collect();
        let trace = Trace::new(&points(readings), &corrections, TimeDelta::hours(4), Between::Linear);
        let found: Vec<(f64, f64, bool, Option<f64>)> = trace
            .excursions(&band(1.8, 2.2), Joining::default(), &corrections)
            .iter()
            .map(|one| (minutes(one.from - minute(0.0)), one.minutes, one.open, one.corrected_after_min))
            .collect();
        assert_eq!(found, expected);
    }

    #[test]
    fn excursions_agree_with_hand_worked_examples() {
        for row in rows("excursions") {
            let (trace, band) = of_row(&row);
            let given = |name: &str| TimeDelta::minutes(row["inputs"][name].as_i64().unwrap_or(0));
            let joining =
                Joining { closer_than: given("merge_min"), shorter_than: given("min_duration_min") };
            let found = trace.excursions(&band, joining, &[]);
            let expected = row["expected"]["excursions"].as_array().unwrap();
            assert_eq!(found.len(), expected.len(), "{}", row["id"]);
            for (one, expected) in found.iter().zip(expected) {
                let side = if expected["side"] == "low" { Side::Low } else { Side::High };
                assert_eq!((one.side, Some(one.open)), (side, expected["open"].as_bool()), "{}", row["id"]);
                close_to(&row, "from", &expected["from"], Some(minutes(one.from - minute(0.0))));
                close_to(&row, "to", &expected["to"], Some(minutes(one.until - minute(0.0))));
                close_to(&row, "peak", &expected["peak"], Some(one.peak));
            }
        }
    }

    #[test]
    fn a_correction_ends_an_excursion_where_it_was_made() {
        check(&[(0.0, 1.5), (60.0, 1.5), (120.0, 2.0)], &[90.0], &[(0.0, 90.0, false, Some(90.0))]);
    }

    #[test]
    fn an_excursion_that_nobody_corrected_says_so() {
        check(&[(0.0, 1.5), (60.0, 1.5)], &[], &[(0.0, 60.0, true, None)]);
    }

    #[test]
    fn a_correction_that_did_not_help_leaves_one_excursion() {
        check(&[(0.0, 1.5), (60.0, 1.6), (120.0, 1.7)], &[90.0, 100.0], &[(0.0, 120.0, true, Some(90.0))]);
    }

    #[test]
    fn a_last_reading_on_the_edge_is_in_band_and_ends_it() {
        check(&[(0.0, 2.4), (60.0, 2.2)], &[], &[(0.0, 60.0, false, None)]);
        check(&[(0.0, 1.5), (60.0, 1.8), (600.0, 2.0)], &[], &[(0.0, 60.0, false, None)]);
    }

    #[test]
    fn one_reading_out_of_band_is_an_excursion_of_no_known_length() {
        check(&[(0.0, 2.5)], &[30.0], &[(0.0, 0.0, true, Some(30.0))]);
    }

    #[test]
    fn depth_is_counted_from_the_edge() {
        let trace = Trace::new(&points(&[(0.0, 1.5), (9.0, 1.6)]), &[], TimeDelta::hours(1), Between::Linear);
        let found = trace.excursions(&band(1.75, 2.25), Joining::default(), &[]);
        assert_eq!(found.iter().map(|one| (one.depth, one.n)).collect::<Vec<_>>(), [(0.25, 2)]);
    }
}
