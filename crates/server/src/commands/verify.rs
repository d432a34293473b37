//! Whether all records are what was written.

use std::time::Instant;

use fillmark_actions::App;
use fillmark_store::verify;

use super::CommandError;

/// Looks at all records of a database: what was found, or what is not as it was written.
/// # Errors
/// [`CommandError::Broken`] when something is not, [`CommandError::Store`] when the database fails.
pub async fn verify(app: &App) -> Result<String, CommandError> {
    let began = Instant::now();
    let found = verify::all(&app.store.look().await?).await?;
    let seconds = began.elapsed().as_secs_f64();
    let rows = (found.sealed + found.entries) as f64 / seconds.max(1e-9);
    let text = format!(
        "{} entries of {} journals fit their chains, {} more are not sealed yet\n\
         {} readings, additions, tank changes and harvests are what was entered\n\
         {} balances are the sums of their movements\n{seconds:.1} s, {rows:.0} rows/s\n",
        found.sealed, found.journals, found.unsealed, found.entries, found.balances
    );
    if found.broken.is_empty() {
        return Ok(text);
    }
    let broken = found.broken.iter().map(|broken| format!("{broken}\n")).collect();
    Err(CommandError::Broken { count: found.broken.len(), broken })
}
