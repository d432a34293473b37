//! Readings: one metric, at one place, at one instant.

use chrono::{DateTime, Utc};
use uuid::Uuid;

use crate::code::{Coded, coded};
use crate::entries::{Meter, TankChange};
use crate::people::{Device, PersonId};
use crate::places::{RoomId, TankId};
use crate::{Id, Medium, Metric, Quantity};

coded! {
    /// Where a sample was taken.
    SamplePoint {
        /// In the tank.
        Tank = "tank",
        /// What reaches the plants.
        Feed = "feed",
        /// What runs off.
        Drain = "drain",
        /// The water before anything is added.
        Source = "source",
        /// The air of the room.
        Air = "air",
    }
}

/// A tank or a room.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Spot {
    /// A tank.
    Tank(TankId),
    /// A room.
    Room(RoomId),
}

/// How a conductivity meter brought its value to the reference temperature.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Compensation {
    /// Linear, by so many % per °C towards a reference temperature in °C (often 1.9–2.1 towards 25).
    Linear {
        /// % per °C.
        percent_per_c: f64,
        /// °C.
        reference_c: f64,
    },
    /// The meter shows the conductivity at the solution's own temperature.
    None,
}

/// The band that was in force when the reading was taken; a later change of programme never rewrites it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BandThen {
    /// Lowest value in band.
    pub low: f64,
    /// The aim.
    pub aim: f64,
    /// Highest value in band.
    pub high: f64,
}

/// One reading.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading {
    /// Made by the client that entered it, so that sending twice has one effect.
    pub client_id: Uuid,
    /// Of what.
    pub spot: Spot,
    /// Where the sample was taken.
    pub sample_point: SamplePoint,
    /// What was measured.
    pub metric: Metric,
    /// As the meter showed it.
    pub entered: Quantity,
    /// In the metric's canonical unit.
    pub value: f64,
    /// The meter's compensation, for EC, where known.
    pub compensation: Option<Compensation>,
    /// The meter used, where kept.
    pub meter: Option<Id<Meter>>,
    /// The tank change it was taken after, and entered with.
    pub change: Option<Id<TankChange>>,
    /// When it was taken, by the clock of whoever took it.
    pub recorded_at: DateTime<Utc>,
    /// When the server got it.
    pub received_at: DateTime<Utc>,
    /// How far the server's clock was ahead of the client's, ms, where the client told its own.
    pub clock_offset_ms: Option<i64>,
    /// Whether `recorded_at` lies further ahead of the server's clock than clocks differ.
    pub clock_suspect: bool,
    /// Who took it; nobody for a device.
    pub done_by: Option<PersonId>,
    /// Who typed it.
    pub entered_by: Option<PersonId>,
    /// The device that sent it, where no person did.
    pub entered_with: Option<Id<Device>>,
    /// The band in force then, if any.
    pub band: Option<BandThen>,
    /// The later reading that stands in its place.
    pub superseded: Option<Id<Reading>>,
    /// The earlier reading in whose place it stands, and why.
    pub supersedes: Option<(Id<Reading>, String)>,
}

impl Reading {
    /// When it was taken as far as can be told: not after the server got it, whatever the client's clock says.
    pub fn taken_at(&self) -> DateTime<Utc> {
        self.recorded_at.min(self.received_at)
    }

    /// Whether it is in band; nothing where no band was in force.
    pub fn in_band(&self) -> Option<bool> {
        self.band.map(|band| (band.low..=band.high).contains(&self.value))
    }
}

/// A metric that cannot be measured at a sample point.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{} is measured in the {medium}, and the sample point {} is none of it", metric.code(), point.code())]
pub struct NotMeasuredThere {
    /// What was to be measured.
    pub metric: Metric,
    /// In what it is.
    medium: &'static str,
    /// Where it was to be measured.
    pub point: SamplePoint,
}

impl SamplePoint {
    /// This point, where a metric can be measured there: what is said of the air is not said of a solution.
    /// # Errors
    /// [`NotMeasuredThere`] names both.
    pub fn of(self, metric: Metric) -> Result<SamplePoint, NotMeasuredThere> {
        let fits = match metric.medium() {
            Medium::Air => self == SamplePoint::Air,
            Medium::Solution => self != SamplePoint::Air,
        };
        let medium = match metric.medium() {
            Medium::Air => "air",
            Medium::Solution => "solution",
        };
        if fits { Ok(self) } else { Err(NotMeasuredThere { metric, medium, point: self }) }
    }

    /// Whether the bands of a tank or room speak of it: drain and source water have none.
    pub fn is_banded(self) -> bool {
        matches!(self, SamplePoint::Tank | SamplePoint::Feed | SamplePoint::Air)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn air_is_measured_in_the_air_and_nothing_else_is() {
        for metric in Metric::all() {
            for point in SamplePoint::all() {
                let both_air = (metric.medium() == Medium::Air) == (*point == SamplePoint::Air);
                assert_eq!(point.of(*metric).is_ok(), both_air, "{metric:?} at {point:?}");
            }
        }
        let told = "co2 is measured in the air, and the sample point tank is none of it";
        assert_eq!(SamplePoint::Tank.of(Metric::Co2).unwrap_err().to_string(), told);
    }
}
