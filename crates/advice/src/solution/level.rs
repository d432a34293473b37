//! Going through a tank's records instant by instant, with how full it stands and what its EC shows.

use chrono::{DateTime, Utc};
use fillmark_domain::entries::{Meter, Reading, SamplePoint};
use fillmark_domain::{Id, Metric};

use super::record::{Litres, MIXING, READ_TO, TankRecord, UNKNOWN_AT_MOST, What, drift};

/// What happened at one instant. Who reads and pours in the same minute reads first.
pub(super) struct Instant {
    pub at: DateTime<Utc>,
    pub reads: Vec<What>,
    pub deeds: Vec<What>,
    /// Events of the record up to its end.
    pub events: usize,
}

/// The EC of a tank as read.
#[derive(Clone, Copy)]
pub(super) struct Taken {
    pub at: DateTime<Utc>,
    pub id: Id<Reading>,
    pub meter: Option<Id<Meter>>,
    pub ec_ms_cm: f64,
}

/// The instants of a record, the earliest first.
pub(super) fn instants(record: &TankRecord) -> impl Iterator<Item = Instant> + '_ {
    let mut events = 0;
    record.events.chunk_by(|one, next| one.at == next.at).map(move |instant| {
        events += instant.len();
        let (reads, deeds) =
            instant.iter().map(|event| event.what).partition(|what| matches!(what, What::Read { .. }));
        Instant { at: instant[0].at, reads, deeds, events }
    })
}

impl Instant {
    /// The EC of the tank; of several readings the one that was entered last.
    pub(super) fn ec(&self) -> Option<Taken> {
        let of_tank = |what: &What| match *what {
            What::Read { id, metric: Metric::Ec, point: SamplePoint::Tank, value, meter }
                if value.is_finite() && value >= 0.0 =>
            {
                Some(Taken { at: self.at, id, meter, ec_ms_cm: value })
            }
            _ => None,
        };
        self.reads.iter().filter_map(of_tank).max_by_key(|taken| taken.id)
    }
}

/// How full a tank stands, and since when that is known.
pub(super) struct Level<'a> {
    record: &'a TankRecord,
    litres: f64,
    pub known: Option<DateTime<Utc>>,
    stirred: Option<DateTime<Utc>>,
}

impl<'a> Level<'a> {
    /// Before any record.
    pub(super) const fn of(record: &'a TankRecord) -> Level<'a> {
        Level { record, litres: record.fill_mark_l, known: None, stirred: None }
    }

    pub(super) fn pass(&mut self, at: DateTime<Utc>, what: What) {
        if !matches!(what, What::Read { .. }) {
            self.stirred = Some(at);
        }
        let after = self.record.after(self.litres, what);
        self.litres = after.litres;
        self.known = if after.settles { Some(at) } else { self.known };
    }

    /// Whether what went in had time to mix.
    pub(super) fn mixed(&self, at: DateTime<Utc>) -> bool {
        self.stirred.is_none_or(|stirred| at - stirred >= MIXING)
    }

    pub(super) fn litres(&self, at: DateTime<Utc>) -> Litres {
        let drifted = self.known.map_or(UNKNOWN_AT_MOST, |known| drift(at - known));
        Litres { litres: self.litres, spread_l: self.record.fill_mark_l * READ_TO.hypot(drifted) }
    }
}
