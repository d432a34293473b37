//! Sharing out a day and publishing what comes of it.

use std::collections::{BTreeMap, HashMap};

use chrono::{DateTime, NaiveDate, Utc};
use fillmark_advice::rounds::{
    Assignment, Begun, Effort, PlannedRound, PlannedStep, Published as OnPaper, Replanned, assign, cures,
    replan, still_to_do,
};
use fillmark_domain::Id;
use fillmark_domain::people::PersonId;
use fillmark_domain::places::SiteId;
use fillmark_domain::work::{
    AlertKind, Check, CheckState, Move, MoveReason, OfferState, Publication, Round, RoundStep, Undone,
};
use fillmark_store::check_offers::{self, KeptOffer};
use fillmark_store::rounds::{self, KeptRound};
use fillmark_store::{SiteScope, Stamp, Tx, alerts};

use super::day::{DayAtHand, Question};
use crate::refusal::Failure;
use crate::{App, Caller, Refusal};

/// A day shared out, to be kept.
pub(super) struct Shared {
    pub number: i64,
    pub date: NaiveDate,
    pub stays: Stays,
    /// Its checks of days before.
    pub carried: Vec<Id<Check>>,
    pub assignment: Assignment,
    pub left: Vec<Undone>,
    pub moves: Vec<Move>,
    pub minutes: HashMap<Id<Check>, i64>,
}

impl Shared {
    fn rounds(&self, site: SiteId, at: DateTime<Utc>) -> Result<Vec<Round>, Refusal> {
        let mut steps = self.stays.clone();
        let mut fair: BTreeMap<PersonId, i64> = BTreeMap::new();
        let new = |one: &Move| {
            let (check, why) = (one.check, one.why);
            let came = one.to.iter().filter(|person| !one.from.contains(person)).copied();
            came.map(move |person| ((check, person), why)).collect::<Vec<_>>()
        };
        let moved: HashMap<(Id<Check>, PersonId), MoveReason> = self.moves.iter().flat_map(new).collect();
        for round in &self.assignment.rounds {
            let new = round.steps.iter().map(|step| RoundStep {
                check: step.check,
                starts_at: step.starts_at,
                with: step.with,
                moved: moved.get(&(step.check, round.person)).copied(),
            });
            steps.entry(round.person).or_default().extend(new);
            fair.insert(round.person, round.fair_minutes);
        }
        let minutes = |step: &RoundStep| self.minutes.get(&step.check).copied().unwrap_or_default();
        let rounds = steps.into_iter().map(|(person, steps)| Round {
            site,
            person,
            date: self.date,
            published_at: at,
            minutes: steps.iter().map(minutes).sum(),
            fair_minutes: fair.get(&person).copied().unwrap_or_default(),
            steps,
        });
        let checked = |round: Round| round.checked().map_err(|why| Refusal::Conflict(why.to_string()));
        rounds.map(checked).collect()
    }
}

impl Shared {
    fn has_holder(&self, check: Id<Check>) -> bool {
        !self.holders(check).is_empty()
    }

    /// Who has a check from now on.
    pub(super) fn holders(&self, check: Id<Check>) -> Vec<PersonId> {
        let stays = self.stays.iter().filter(|(_, steps)| steps.iter().any(|step| step.check == check));
        stays.map(|(person, _)| *person).chain(assigned(&self.assignment, check)).collect()
    }
}

/// What stays with whom.
pub(super) type Stays = BTreeMap<PersonId, Vec<RoundStep>>;

/// What is published of a day.
pub(super) type Published = (Publication, Vec<KeptRound>);

/// A day, and what is published of it.
/// # Errors
/// When the database fails.
pub(super) async fn load(
    app: &App,
    site: SiteScope,
    date: NaiveDate,
) -> Result<(DayAtHand, Option<Published>), Refusal> {
    let tx = app.store.look().await?;
    Ok((DayAtHand::load(&tx, site, date, app.now()).await?, rounds::in_force(&tx, site, date).await?))
}

/// Shares out a day as things stand now: where one is published, with the fewest checks going to somebody else. The search is
/// work for a thread of its own.
/// # Errors
/// When the search is cut off.
pub(super) async fn share_out(
    day: DayAtHand,
    before: Option<Published>,
    now: DateTime<Utc>,
) -> Result<Shared, Refusal> {
    let Question { day: question, begun } = day.question(rounds_of(before.as_ref()), now);
    let stays = stays(&day, &begun, before.as_ref(), now);
    let is_new = before.is_none();
    let on_paper = on_paper(before.as_ref(), begun, now);
    let shared = move || {
        let mut again = match is_new && on_paper.begun.is_empty() {
            true => Replanned { assignment: assign(&question), moves: Vec::new() },
            false => replan(&question, &on_paper, Effort::of(&question)),
        };
        if is_new {
            // Of what nobody had on paper yet nothing has moved.
            again.moves.clear();
        }
        let left = cures(&still_to_do(&question, &on_paper), &again.assignment);
        (again, left)
    };
    let (again, left) =
        tokio::task::spawn_blocking(shared).await.map_err(|error| Refusal::Failed(Failure::CutOff(error)))?;
    Ok(Shared {
        moves: with_left_over(&day, before.as_ref(), again.moves, &again.assignment),
        number: before.map_or(0, |(publication, _)| publication.number) + 1,
        date: day.date,
        stays,
        carried: day.carried(),
        assignment: again.assignment,
        left,
        minutes: day.checks.iter().map(|kept| (kept.id, kept.check.work_min.into())).collect(),
    })
}

/// What moves, where a check that comes over from the day before comes from whoever had it then.
fn with_left_over(
    day: &DayAtHand,
    before: Option<&Published>,
    mut moves: Vec<Move>,
    assignment: &Assignment,
) -> Vec<Move> {
    let was_left = |check| before.is_some_and(|(paper, _)| paper.left.iter().any(|left| left.check == check));
    for check in day.carried() {
        let mut from = day.had_before(check).to_vec();
        let mut to = assigned(assignment, check);
        let is_told = was_left(check) || !steps_of(rounds_of(before), check).is_empty();
        if is_told || from.is_empty() || to.is_empty() {
            continue;
        }
        moves.retain(|one| one.check != check);
        from.sort_unstable();
        to.sort_unstable();
        if from != to {
            moves.push(Move { check, from, to, why: MoveReason::LeftOver });
        }
    }
    moves.sort_by_key(|one| one.check);
    moves
}

/// Who gets a check.
fn assigned(assignment: &Assignment, check: Id<Check>) -> Vec<PersonId> {
    let has = |round: &&PlannedRound| round.steps.iter().any(|step| step.check == check);
    assignment.rounds.iter().filter(has).map(|round| round.person).collect()
}

/// The rounds that people have, and what of them is begun.
pub(super) fn on_paper(before: Option<&Published>, begun: Vec<Begun>, now: DateTime<Utc>) -> OnPaper {
    let round = |kept: &KeptRound| PlannedRound {
        person: kept.round.person,
        steps: kept
            .round
            .steps
            .iter()
            .map(|step| PlannedStep { check: step.check, starts_at: step.starts_at, with: step.with })
            .collect(),
        minutes: kept.round.minutes,
        fair_minutes: kept.round.fair_minutes,
    };
    let rounds = before.map_or_else(Vec::new, |(_, rounds)| rounds.iter().map(round).collect());
    OnPaper { rounds, begun, now }
}

/// Publishes a day in a transaction of its own; false when another publication of this number came first.
/// # Errors
/// When the database fails.
pub(super) async fn keep(
    app: &App,
    caller: &Caller,
    site: SiteScope,
    shared: &Shared,
) -> Result<bool, Refusal> {
    let tx = app.store.begin().await?;
    let stamp = app.stamp(caller);
    let kept = keep_in(&tx, &stamp, site, shared).await?;
    if kept {
        follow(&tx, &stamp, site, shared).await?;
        tx.commit().await?;
    }
    Ok(kept)
}

/// Publishes a day within a transaction, of which [`follow`] is the end; false when another publication of this number came
/// first.
/// # Errors
/// When the database fails.
pub(super) async fn keep_in(
    tx: &Tx,
    stamp: &Stamp<'_>,
    site: SiteScope,
    shared: &Shared,
) -> Result<bool, Refusal> {
    let publication = Publication {
        date: shared.date,
        number: shared.number,
        published_at: stamp.at,
        published_by: stamp.by,
        left: shared.left.clone(),
        moves: shared.moves.clone(),
    };
    let rounds = shared.rounds(site.id(), stamp.at)?;
    Ok(rounds::keep(tx, site, stamp, &publication, &rounds).await?)
}

/// What goes along with checks that have moved or come over from a day before: the warning that one is overdue is for whoever
/// has it now, and what else was offered of those moved lapses.
/// # Errors
/// When the database fails.
pub(super) async fn follow(
    tx: &Tx,
    stamp: &Stamp<'_>,
    site: SiteScope,
    shared: &Shared,
) -> Result<(), Refusal> {
    let moved: Vec<Id<Check>> = shared.moves.iter().map(|one| one.check).collect();
    // Of yesterday's, whoever has it now is warned too, though today's paper never had it with anybody else.
    let came = shared.carried.iter().filter(|check| !moved.contains(check) && shared.has_holder(**check));
    for check in moved.iter().chain(came) {
        let holders = shared.holders(*check);
        alerts::readdress(tx, site, stamp, AlertKind::CheckOverdue, check.uuid(), &holders).await?;
    }
    if moved.is_empty() {
        return Ok(());
    }
    for KeptOffer { id, offer } in check_offers::lock_open(tx, site, shared.date).await? {
        if offer.is_about(&moved) {
            check_offers::settle(tx, site, stamp, id, OfferState::Lapsed { at: stamp.at }).await?;
        }
    }
    Ok(())
}

/// What stays with whom: what was done with who did it; what is begun with who has begun it, and with whoever had it beside
/// them and has not left.
pub(super) fn stays(
    day: &DayAtHand,
    begun: &[Begun],
    before: Option<&Published>,
    now: DateTime<Utc>,
) -> Stays {
    let published = rounds_of(before);
    let mut stays = Stays::new();
    for kept in &day.checks {
        let begun = begun.iter().find(|one| one.check == kept.id);
        let paper = steps_of(published, kept.id);
        let (at, steps) = match (&kept.check.state, begun) {
            (CheckState::Done { at, by, with, .. }, _) => {
                (*at, done_steps(kept.id, *at, (*by, *with), &paper))
            }
            (_, Some(begun)) if paper.iter().any(|(person, _)| *person == begun.person) => {
                let there = paper.into_iter().filter(|(person, _)| day.people.contains(person));
                let with = |step: RoundStep| step.with.filter(|person| day.people.contains(person));
                (
                    begun.at,
                    there.map(|(person, step)| (person, RoundStep { with: with(step), ..step })).collect(),
                )
            }
            (_, Some(begun)) => {
                let step = RoundStep { check: kept.id, starts_at: begun.at, with: None, moved: None };
                (begun.at, vec![(begun.person, step)])
            }
            _ => continue,
        };
        for (person, step) in steps {
            let starts_at = step.starts_at.min(at).min(now);
            stays.entry(person).or_default().push(RoundStep { starts_at, ..step });
        }
    }
    for steps in stays.values_mut() {
        steps.sort_by_key(|step| step.starts_at);
    }
    stays
}

/// What was done in the rounds of who did it, at its time on paper where they had it.
fn done_steps(
    check: Id<Check>,
    at: DateTime<Utc>,
    (by, with): (PersonId, Option<PersonId>),
    paper: &[(PersonId, RoundStep)],
) -> Vec<(PersonId, RoundStep)> {
    let step = |person: PersonId, with: Option<PersonId>| {
        let own = paper.iter().find(|(holder, _)| *holder == person).map(|(_, step)| *step);
        let own = own.unwrap_or(RoundStep { check, starts_at: at, with: None, moved: None });
        (person, RoundStep { with, ..own })
    };
    std::iter::once(step(by, with)).chain(with.map(|with| step(with, Some(by)))).collect()
}

pub(super) fn rounds_of(before: Option<&Published>) -> &[KeptRound] {
    before.map_or(&[], |(_, rounds)| rounds)
}

/// Who has a check in these rounds, and as what.
pub(super) fn steps_of(rounds: &[KeptRound], check: Id<Check>) -> Vec<(PersonId, RoundStep)> {
    let step = |kept: &KeptRound| kept.round.steps.iter().find(|step| step.check == check).copied();
    rounds.iter().filter_map(|kept| step(kept).map(|step| (kept.round.person, step))).collect()
}
