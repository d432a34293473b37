//! Where each record with the common life stands.

use fillmark_api::*;

use crate::{OfBusiness, OfSite};

/// A body and the path of its collection.
pub trait Collected {
    /// The business or a site.
    type Of;
    /// The last part of its path.
    const PATH: &'static str;
}

macro_rules! collected {
    ($($of:ident $body:ident $path:literal;)+) => {
        $(impl Collected for $body {
            type Of = $of;
            const PATH: &'static str = $path;
        })+
    };
}

collected! {
    OfBusiness NewPerson "people";
    OfBusiness NewMembership "memberships";
    OfBusiness NewSite "sites";
    OfSite NewRoom "rooms";
    OfSite NewTank "tanks";
    OfSite NewTankRoom "tank-rooms";
    OfSite NewOutage "outages";
    OfSite NewClosure "closures";
    OfSite NewWaterSource "water-sources";
    OfBusiness NewCrop "crops";
    OfBusiness NewProgramme "programmes";
    OfBusiness NewProgrammeRevision "programme-revisions";
    OfSite NewCycle "cycles";
    OfSite NewPlacement "placements";
    OfSite NewFeed "feeds";
    OfSite NewMeter "meters";
    OfSite NewCalibration "calibrations";
    OfSite NewPlannedChange "planned-changes";
    OfBusiness NewProduct "products";
    OfBusiness NewLabelRevision "label-revisions";
    OfBusiness NewSupplier "suppliers";
    OfSite NewOffer "offers";
    OfBusiness NewLot "lots";
    OfBusiness NewQualification "qualifications";
    OfBusiness NewHeldQualification "held-qualifications";
    OfSite NewShift "shifts";
    OfSite NewAbsence "absences";
    OfSite NewCheckPlan "check-plans";
    OfSite NewDevice "devices";
}
