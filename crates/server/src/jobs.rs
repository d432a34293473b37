//! Jobs: a heartbeat; what is due is found in the database, so a beat that is missed or doubled does no harm.

use std::sync::Arc;

use fillmark_actions::{App, work};
use tokio::sync::Mutex;
use tokio_cron_scheduler::{Job, JobScheduler, JobSchedulerError};

/// Why the jobs could not start.
#[derive(Debug, thiserror::Error)]
#[error(transparent)]
pub struct JobError(#[from] JobSchedulerError);

/// The jobs that run.
pub struct Jobs(JobScheduler);

/// Starts the heartbeat: every ten seconds, in UTC.
/// # Errors
/// [`JobError`].
pub async fn start(app: App) -> Result<Jobs, JobError> {
    let scheduler = JobScheduler::new().await?;
    let turn = Arc::new(Mutex::new(()));
    let beat = Job::new_async("*/10 * * * * *", move |_, _| {
        let (app, turn) = (app.clone(), turn.clone());
        Box::pin(async move {
            // A beat that takes longer than ten seconds is not joined by the next.
            let Ok(_turn) = turn.try_lock() else { return };
            tracing::trace!(now = %app.now(), "beat");
            if let Err(error) = work::beat(&app).await {
                tracing::error!(error = &error as &dyn std::error::Error, "a beat failed");
            }
        })
    })?;
    scheduler.add(beat).await?;
    scheduler.start().await?;
    Ok(Jobs(scheduler))
}

impl Jobs {
    /// Ends the heartbeat.
    pub async fn stop(mut self) {
        if let Err(error) = self.0.shutdown().await {
            tracing::error!(%error, "the jobs were not ended in order");
        }
    }
}
