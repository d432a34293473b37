//! What a metric was between its readings, as far as readings tell, and how long it was in band.

use std::iter::Sum;
use std::ops::Add;

use chrono::{DateTime, TimeDelta, Utc};
use fillmark_domain::Band;
use fillmark_domain::work::Span;

/// A value at an instant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// When.
    pub at: DateTime<Utc>,
    /// The canonical value.
    pub value: f64,
}

/// What is assumed between two readings.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Between {
    /// A straight line from one to the next.
    Linear,
    /// The first holds up to the next, or for the longest gap.
    Hold,
}

/// What a metric was, drawn through its readings; unknown where they lie too far apart.
#[derive(Debug, Clone, PartialEq)]
pub struct Trace {
    pub(super) points: Vec<Point>,
    pub(super) pieces: Vec<Piece>,
    pub(super) origin: DateTime<Utc>,
}

/// A straight piece of a trace, in minutes from its origin. Pieces of one run belong to readings that
/// follow each other without too long a gap.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Piece {
    pub(super) run: usize,
    pub(super) from: f64,
    pub(super) until: f64,
    pub(super) first: f64,
    pub(super) last: f64,
}

/// Minutes in and out of a band. They can be added up, where several bands were in force one after another.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct TimeInBand {
    /// Minutes in the closed band.
    pub in_min: f64,
    /// Minutes below it.
    pub low_min: f64,
    /// Minutes above it.
    pub high_min: f64,
    /// Minutes of which readings say nothing: left out of the share.
    pub unknown_min: f64,
    /// Readings in the period.
    pub n: usize,
}

impl TimeInBand {
    /// The estimated share of the known time in band; none when nothing is known.
    pub fn share(&self) -> Option<f64> {
        let known = self.in_min + self.low_min + self.high_min;
        (known > 0.0).then(|| self.in_min / known)
    }
}

impl Add for TimeInBand {
    type Output = TimeInBand;
    fn add(self, other: TimeInBand) -> TimeInBand {
        TimeInBand {
            in_min: self.in_min + other.in_min,
            low_min: self.low_min + other.low_min,
            high_min: self.high_min + other.high_min,
            unknown_min: self.unknown_min + other.unknown_min,
            n: self.n + other.n,
        }
    }
}

impl Sum for TimeInBand {
    fn sum<I: Iterator<Item = TimeInBand>>(all: I) -> TimeInBand {
        all.fold(TimeInBand::default(), Add::add)
    }
}

impl Trace {
    /// A trace through these readings. Where more than `longest_gap` lies between two, what was between
    /// them is unknown. A step is an addition or a tank change that moves this metric: no line is drawn
    /// across it. The value before holds up to the step and the value after from it on; between the first
    /// and the last of several steps nobody measured, so that time is unknown. A step at the instant of a
    /// reading follows it, since people measure and then dose.
    pub fn new(points: &[Point], steps: &[DateTime<Utc>], longest_gap: TimeDelta, between: Between) -> Trace {
        let mut points = points.to_vec();
        points.sort_by_key(|point| point.at);
        let origin = points.first().map_or(DateTime::UNIX_EPOCH, |point| point.at);
        let mut steps: Vec<f64> = steps.iter().map(|step| minutes(*step - origin)).collect();
        steps.sort_by(f64::total_cmp);

        let drawing = Drawing { steps, longest: minutes(longest_gap), pieces: Vec::new(), run: 0 };
        let at: Vec<(f64, f64)> =
            points.iter().map(|point| (minutes(point.at - origin), point.value)).collect();
        let pieces = drawing.through(&at, between);
        Trace { points, pieces, origin }
    }

    /// Minutes in and out of this band in a period.
    pub fn time_in_band(&self, band: &Band, period: Span) -> TimeInBand {
        let (start, end) = (minutes(period.from - self.origin), minutes(period.until - self.origin));
        let mut time = TimeInBand {
            n: self.points.iter().filter(|point| period.from <= point.at && point.at <= period.until).count(),
            ..TimeInBand::default()
        };
        for part in self.pieces.iter().flat_map(|piece| piece.cut_at(band)) {
            let within = (part.until.min(end) - part.from.max(start)).max(0.0);
            match part.middle() {
                value if value < band.low => time.low_min += within,
                value if value > band.high => time.high_min += within,
                _ => time.in_min += within,
            }
        }
        time.unknown_min = end - start - (time.in_min + time.low_min + time.high_min);
        time
    }

    /// The instant so many minutes after the origin.
    pub(super) fn instant(&self, minute: f64) -> DateTime<Utc> {
        self.origin + TimeDelta::nanoseconds((minute * 60e9).round() as i64)
    }
}

/// Minutes of a difference, with its fraction.
pub(super) fn minutes(difference: TimeDelta) -> f64 {
    difference.as_seconds_f64() / 60.0
}

impl Piece {
    /// The piece in parts that each lie on one side of the band or within it.
    pub(super) fn cut_at(&self, band: &Band) -> impl Iterator<Item = Piece> + use<> {
        let (lowest, highest) = (self.first.min(self.last), self.first.max(self.last));
        let mut cuts = vec![(self.from, self.first), (self.until, self.last)];
        for edge in [band.low, band.high] {
            if lowest < edge && edge < highest {
                let share = (edge - self.first) / (self.last - self.first);
                cuts.push((self.from + (self.until - self.from) * share, edge));
            }
        }
        cuts.sort_by(|a, b| a.0.total_cmp(&b.0));
        let run = self.run;
        let parts: Vec<Piece> = cuts
            .windows(2)
            .map(|ends| Piece { run, from: ends[0].0, first: ends[0].1, until: ends[1].0, last: ends[1].1 })
            .collect();
        parts.into_iter()
    }

    pub(super) fn middle(&self) -> f64 {
        f64::midpoint(self.first, self.last)
    }
}

struct Drawing {
    steps: Vec<f64>,
    longest: f64,
    pieces: Vec<Piece>,
    run: usize,
}

impl Drawing {
    fn through(mut self, points: &[(f64, f64)], between: Between) -> Vec<Piece> {
        for (index, (at, value)) in points.iter().enumerate() {
            let next = points.get(index + 1).filter(|next| next.0 - at <= self.longest);
            let begins = index == 0 || at - points[index - 1].0 > self.longest;
            if begins {
                // A reading alone lasts no time, but an excursion may be known from it.
                self.run += 1;
                self.level(*at, *at, *value);
            }
            match (between, next) {
                (Between::Hold, next) => self.hold((*at, *value), next.copied()),
                (Between::Linear, Some(next)) => self.line((*at, *value), *next),
                (Between::Linear, None) => {}
            }
        }
        self.pieces
    }

    fn hold(&mut self, (at, value): (f64, f64), next: Option<(f64, f64)>) {
        let end = next.map_or(at + self.longest, |next| next.0);
        let step = self.steps.iter().find(|step| at <= **step && **step < end);
        self.level(at, step.copied().unwrap_or(end), value);
    }

    fn line(&mut self, (at, value): (f64, f64), (next, after): (f64, f64)) {
        let between = |step: &&f64| at <= **step && **step < next;
        let first = self.steps.iter().find(between).copied();
        let last = self.steps.iter().rfind(between).copied();
        if let (Some(first), Some(last)) = (first, last) {
            self.level(at, first, value);
            self.level(last, next, after);
        } else if at < next {
            self.pieces.push(Piece { run: self.run, from: at, until: next, first: value, last: after });
        }
    }

    fn level(&mut self, from: f64, until: f64, value: f64) {
        self.pieces.push(Piece { run: self.run, from, until, first: value, last: value });
    }
}

#[cfg(test)]
pub(crate) mod tests;
