//! Whether a server is ready, for containers without a browser or curl.

use std::time::Duration;

use fillmark_client::Client;

use super::CommandError;

/// Container engines give up after a time of their own; an answer that takes longer is none.
const PATIENCE_S: u64 = 4;

/// Says that the server at this address is ready.
/// # Errors
/// [`CommandError`] naming what is missing.
pub async fn healthcheck(address: &str) -> Result<String, CommandError> {
    let failed = |source| CommandError::Server { address: address.to_owned(), source };
    let client = Client::new(address).map_err(failed)?;
    let answer = tokio::time::timeout(Duration::from_secs(PATIENCE_S), client.readiness()).await;
    let silent = |_| CommandError::Silent { address: address.to_owned(), seconds: PATIENCE_S };
    let readiness = answer.map_err(silent)?.map_err(failed)?;
    match readiness.reasons.join(", ") {
        none if none.is_empty() => Ok(format!("{address} is ready\n")),
        reasons => Err(CommandError::NotReady { address: address.to_owned(), reasons }),
    }
}
