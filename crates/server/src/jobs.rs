//! Jobs: a heartbeat; what is due is found in the database, so a beat that is missed or doubled does no harm.

use std::sync::Arc;

use fillmark_actions::{App, Refusal, journal, work};
use tokio::sync::Mutex;
use tokio_cron_scheduler::{Job, JobScheduler, JobSchedulerError};

/// When what is due is done: every ten seconds, in UTC.
const BEAT: &str = "*/10 * * * * *";
/// When the journal is sealed: every second.
const SEAL: &str = "* * * * * *";

/// Why the jobs could not start.
#[derive(Debug, thiserror::Error)]
#[error(transparent)]
pub struct JobError(#[from] JobSchedulerError);

/// The jobs that run.
pub struct Jobs(JobScheduler);

/// Starts the jobs.
/// # Errors
/// [`JobError`].
pub async fn start(app: App) -> Result<Jobs, JobError> {
    let scheduler = JobScheduler::new().await?;
    scheduler.add(job(BEAT, "beat", app.clone(), async |app| work::beat(&app).await)?).await?;
    scheduler.add(job(SEAL, "seal", app, async |app| journal::seal(&app).await)?).await?;
    scheduler.start().await?;
    Ok(Jobs(scheduler))
}

fn job<F>(
    when: &str,
    name: &'static str,
    app: App,
    work: impl Fn(App) -> F + Copy + Send + Sync + 'static,
) -> Result<Job, JobError>
where
    F: Future<Output = Result<(), Refusal>> + Send,
{
    let turn = Arc::new(Mutex::new(()));
    Ok(Job::new_async(when, move |_, _| {
        let (app, turn) = (app.clone(), turn.clone());
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
