//! Settling a check that was done, at once or typed in later.

use std::collections::{BTreeSet, HashMap};

use chrono::{DateTime, TimeDelta, Utc};
use chrono_tz::Tz;
use fillmark_advice::rounds::is_qualified;
use fillmark_domain::entries::{Calibration, Reading, Spot};
use fillmark_domain::people::{Act, PersonId};
use fillmark_domain::places::SiteId;
use fillmark_domain::work::{Check, CheckState, Evidence, NotAllowed, Place, Qualification, Task};
use fillmark_domain::{Coded, Faults, Id};
use fillmark_store::checks::{self, KeptCheck, Typed};
use fillmark_store::{SiteScope, StoreError, Tx, entries, records};
use uuid::Uuid;

use super::day::held;
use super::{keep_state, local_day, zone_of};
use crate::known::Known;
use crate::{App, Caller, Refusal};

/// Clocks differ by so much.
const CLOCKS_DIFFER: TimeDelta = TimeDelta::minutes(5);

/// A reading or calibration of another day shows nothing, nor does one from before what it is to tell of was poured.
const NOT_OF_THIS_CHECK: &str = "expected one made for this check: from an hour before it was due (of what measures again: from when it could be begun) until it was done";

/// A calibration of one meter shows nothing of another.
const OF_ANOTHER_METER: &str = "expected a calibration of the meter that the check is for";

/// That a check was done, as somebody enters it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Completion {
    /// Made by the client: the same one twice has one effect.
    pub client_id: Uuid,
    /// When it was done, by the clock of whoever did it.
    pub done_at: DateTime<Utc>,
    /// Who did it, when not the one who enters it.
    pub done_by: Option<PersonId>,
    /// Who did it too.
    pub with: Option<PersonId>,
    /// What shows it.
    pub evidence: Vec<Evidence>,
    /// It was asked back, since somebody did it who is not qualified for it, and is so all the same.
    pub confirmed: bool,
}

/// Settles a check as done. What counts is when it was done, not when it is typed in.
/// # Errors
/// When the caller may not; when the check is not there, done or excused, was not nearly due or was past its limit when it
/// was done; when people or evidence are wanting.
pub async fn settle(
    app: &App,
    caller: &Caller,
    site: SiteId,
    id: Id<Check>,
    completion: Completion,
) -> Result<(KeptCheck, Tz), Refusal> {
    let site = caller.may(Act::EnterWork, site)?;
    let tx = app.store.begin().await?;
    let zone = zone_of(&tx, site).await?;
    let kept = checks::lock(&tx, site, id).await?.ok_or(Refusal::NotFound)?;
    // Signed when it is this one's turn, so that the journal has what became of a check in the order in which it did.
    let stamp = app.stamp(caller);
    // A check of which nothing became was done by no entry yet; that another was done by this one tells when it is kept.
    if kept.check.is_settled()
        && let Some(first) = checks::find_by_client_id(&tx, site, completion.client_id).await?
    {
        return if is_same(&first, id, &completion) {
            Ok((first, zone))
        } else {
            Err(Refusal::ClientIdReused)
        };
    }
    let by = completion.done_by.or(stamp.by).ok_or(Refusal::NotSignedIn)?;
    refuse_faults(&tx, site, &kept.check, &completion, stamp.at).await?;
    refuse_unqualified(&tx, site, (&kept.check, zone), &completion, by).await?;
    let Completion { client_id, done_at, with, evidence, .. } = completion;
    let check = kept.check.done(done_at, by, with, evidence).map_err(|why| refused(&why, zone))?;
    let typed = Some(Typed { client_id, by: stamp.by, received_at: stamp.at });
    keep_state(&tx, site, &stamp, id, &check.state, typed).await.map_err(|error| match error {
        StoreError::Taken(_) => Refusal::ClientIdReused,
        error => error.into(),
    })?;
    tx.commit().await?;

    Ok((KeptCheck { id, check, typed }, zone))
}

/// Whether a check was done by an entry that says the same.
fn is_same(first: &KeptCheck, id: Id<Check>, completion: &Completion) -> bool {
    let CheckState::Done { at, by, with, evidence, .. } = &first.check.state else { return false };
    let (mut kept, mut sent) = (evidence.clone(), completion.evidence.clone());
    kept.sort();
    sent.sort();
    let by_same = completion.done_by.is_none_or(|person| person == *by);
    first.id == id && *at == completion.done_at && by_same && *with == completion.with && kept == sent
}

fn refused(why: &NotAllowed, zone: Tz) -> Refusal {
    match why {
        NotAllowed::NoEvidence => Refusal::invalid("/reading_ids", "no_evidence", why.told(zone)),
        NotAllowed::OnePersonShort => Refusal::invalid("/done_with", "one_person_short", why.told(zone)),
        NotAllowed::AlreadySettled { .. }
        | NotAllowed::TooEarly { .. }
        | NotAllowed::TooLate { .. }
        | NotAllowed::StillTime { .. }
        | NotAllowed::NoReason => Refusal::Conflict(why.told(zone)),
    }
}

/// Asks back what somebody did who was not qualified for it: who really did it is kept, but not by a slip of the pen.
async fn refuse_unqualified(
    tx: &Tx,
    site: SiteScope,
    (check, zone): (&Check, Tz),
    completion: &Completion,
    by: PersonId,
) -> Result<(), Refusal> {
    let Some(wanted) = check.qualification.filter(|_| !completion.confirmed) else { return Ok(()) };
    let (held, day) = (held(tx, site).await?, local_day(zone, completion.done_at));
    let name = records::find::<Qualification>(tx, site.in_business(), wanted).await?;
    let name = name.map(|kept| kept.content.name).unwrap_or_default();
    let mut faults = Faults::default();
    for (person, pointer) in [(Some(by), "/done_by"), (completion.with, "/done_with")] {
        let own = |person| held.iter().filter(|held| held.person == person).copied().collect::<Vec<_>>();
        let is = person.is_none_or(|person| is_qualified(&own(person), Some(wanted), day));
        let expected = format!(
            "expected somebody qualified in {name} on {day}; if they did it all the same, send it as confirmed"
        );
        faults.unless(is, pointer, "not_qualified", expected);
    }
    faults.or(Some(())).map_err(Refusal::Invalid)
}

async fn refuse_faults(
    tx: &Tx,
    site: SiteScope,
    check: &Check,
    completion: &Completion,
    at: DateTime<Utc>,
) -> Result<(), Refusal> {
    let mut faults = Faults::default();
    let past = completion.done_at <= at + CLOCKS_DIFFER;
    faults.unless(past, "/done_at", "in_the_future", "expected an instant that has passed");
    let mut known = Known::default();
    known.look_up_doer(tx, site, "/done_by", completion.done_by, &mut faults).await?;
    known.look_up_doer(tx, site, "/done_with", completion.with, &mut faults).await?;
    let shown = Shown::load(tx, site, &completion.evidence).await?;
    shown.judge(check, completion.done_at, &mut faults);
    let noted = completion.evidence.iter().any(|one| matches!(one, Evidence::Note(_)));
    if faults.is_empty() && !noted {
        let readings: Vec<&Reading> = shown.readings.iter().filter_map(Option::as_ref).collect();
        missing(check, &readings, &mut faults);
    }
    faults.or(Some(())).map_err(Refusal::Invalid)
}

/// What the evidence names, in its order; nothing where it is not there.
struct Shown {
    readings: Vec<Option<Reading>>,
    calibrations: Vec<Option<Calibration>>,
}

impl Shown {
    async fn load(tx: &Tx, site: SiteScope, evidence: &[Evidence]) -> Result<Shown, Refusal> {
        let ids: Vec<Uuid> = evidence.iter().filter_map(reading_id).collect();
        let mut found: HashMap<Uuid, Reading> = entries::find_many::<Reading>(tx, site, &ids)
            .await?
            .into_iter()
            .map(|(id, reading)| (id.uuid(), reading))
            .collect();
        let readings = ids.iter().map(|id| found.remove(id)).collect();
        let mut calibrations = Vec::new();
        for one in evidence {
            let Evidence::Calibration(id) = one else { continue };
            let kept = records::find::<Calibration>(tx, site, *id).await?;
            calibrations.push(kept.map(|kept| kept.content));
        }
        Ok(Shown { readings, calibrations })
    }

    fn judge(&self, check: &Check, done_at: DateTime<Utc>, faults: &mut Faults) {
        let readings = self.readings.iter().map(|found| found.as_ref().map(|reading| reading.recorded_at));
        let calibrations =
            self.calibrations.iter().map(|found| found.as_ref().map(|made| made.calibrated_at));
        let readings = readings.enumerate().map(|(place, at)| (format!("/reading_ids/{place}"), at));
        let calibrations =
            calibrations.enumerate().map(|(place, at)| (format!("/calibration_ids/{place}"), at));
        let wanted = check.task.calibrates();
        for (place, made) in self.calibrations.iter().enumerate() {
            let is_other = made.as_ref().is_some_and(|made| wanted.is_some_and(|meter| made.meter != meter));
            let pointer = format!("/calibration_ids/{place}");
            faults.unless(!is_other, &pointer, "of_another_meter", OF_ANOTHER_METER);
        }
        for (pointer, made_at) in readings.chain(calibrations) {
            match made_at {
                None => {
                    faults.add(pointer, "unknown_id", "expected the id of one made at this site, named once")
                }
                Some(at) if !check.can_be_shown_by(at, done_at) => {
                    faults.add(pointer, "not_of_this_check", NOT_OF_THIS_CHECK);
                }
                Some(_) => {}
            }
        }
    }
}

fn reading_id(evidence: &Evidence) -> Option<Uuid> {
    match evidence {
        Evidence::Reading(id) => Some(id.uuid()),
        Evidence::Calibration(_) | Evidence::Change(_) | Evidence::Note(_) => None,
    }
}

/// What a check asked for and no reading of its place shows, where nobody notes why.
fn missing(check: &Check, found: &[&Reading], faults: &mut Faults) {
    let Task::Measure { metrics, .. } = &check.task else { return };
    let spot = match check.place {
        Place::Tank(tank) => Spot::Tank(tank),
        Place::Room(room) => Spot::Room(room),
    };
    let shown: BTreeSet<_> =
        found.iter().filter(|reading| reading.spot == spot).map(|reading| reading.metric).collect();
    let wanting: Vec<&str> = metrics.difference(&shown).map(|metric| metric.code()).collect();
    let expected = format!("expected readings of {} too, or a note why not", wanting.join(", "));
    faults.unless(wanting.is_empty(), "/reading_ids", "no_evidence", expected);
}
