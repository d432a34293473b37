//! Jobs: a heartbeat; what is due is found in the database, so a beat that is missed or doubled does no harm.

use std::sync::{Arc, Mutex, PoisonError};

use chrono::{DateTime, TimeDelta, Utc};
use fillmark_actions::{App, Refusal, dosing, forecast, journal, work};
use tokio_cron_scheduler::{Job, JobScheduler, JobSchedulerError};

/// When what is due is done: every ten seconds, in UTC.
const BEAT: &str = "*/10 * * * * *";
/// When the journal is sealed: every second.
const SEAL: &str = "* * * * * *";
/// When balances of tanks are looked at: every hour, away from the full one, when people and other programs have much to do.
const BALANCES: &str = "0 17 * * * *";

/// When sites are looked at whose day has no forecast yet: each five minutes.
const SUPPLY: &str = "40 */5 * * * *";

/// Why the jobs could not start.
#[derive(Debug, thiserror::Error)]
#[error(transparent)]
pub struct JobError(#[from] JobSchedulerError);

/// When the jobs beat last. A server that does none has no beat.
#[derive(Debug, Clone, Default)]
pub struct Pulse(Arc<Mutex<Option<DateTime<Utc>>>>);

impl Pulse {
    fn beat(&self, at: DateTime<Utc>) {
        *self.0.lock().unwrap_or_else(PoisonError::into_inner) = Some(at);
    }

    /// How long ago the last beat was; nothing on a server that does no jobs.
    pub fn age(&self, now: DateTime<Utc>) -> Option<TimeDelta> {
        let last = *self.0.lock().unwrap_or_else(PoisonError::into_inner);
        last.map(|last| (now - last).max(TimeDelta::zero()))
    }
}

/// The jobs that run.
pub struct Jobs(JobScheduler);

/// Starts the jobs.
/// # Errors
/// [`JobError`].
pub async fn start(app: App, pulse: Pulse) -> Result<Jobs, JobError> {
    let scheduler = JobScheduler::new().await?;
    pulse.beat(app.now());
    let beat = move |app: App| {
        let pulse = pulse.clone();
        async move {
            work::beat(&app).await?;
            pulse.beat(app.now());
            Ok(())
        }
    };
    scheduler.add(job(BEAT, "beat", app.clone(), beat)?).await?;
    scheduler.add(job(SEAL, "seal", app.clone(), async |app| journal::seal(&app).await)?).await?;
    let balances = async |app| dosing::watch_balances(&app).await;
    scheduler.add(job(BALANCES, "balances", app.clone(), balances)?).await?;
    let supply = async |app| forecast::watch_supply(&app).await;
    scheduler.add(job(SUPPLY, "supply", app, supply)?).await?;
    scheduler.start().await?;
    Ok(Jobs(scheduler))
}

fn job<F>(
    when: &str,
    name: &'static str,
    app: App,
    work: impl Fn(App) -> F + Clone + Send + Sync + 'static,
) -> Result<Job, JobError>
where
    F: Future<Output = Result<(), Refusal>> + Send + 'static,
{
    let turn = Arc::new(tokio::sync::Mutex::new(()));
    Ok(Job::new_async(when, move |_, _| {
        let (app, turn, work) = (app.clone(), turn.clone(), work.clone());
        Box::pin(async move {
            // One that takes longer than its interval is not joined by the next.
            let Ok(_turn) = turn.try_lock() else { return };
            tracing::trace!(now = %app.now(), name, "a job begins");
            if let Err(error) = work(app).await {
                tracing::error!(error = &error as &dyn std::error::Error, name, "a job failed");
            }
        })
    })?)
}

impl Jobs {
    /// Ends them.
    pub async fn stop(mut self) {
        if let Err(error) = self.0.shutdown().await {
            tracing::error!(%error, "the jobs were not ended in order");
        }
    }
}
