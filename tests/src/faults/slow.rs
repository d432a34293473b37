//! Connections that send a byte now and then, for as long as the server lets them.

use std::time::{Duration, Instant};

use fillmark_client::Client;
use futures_util::future::join_all;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;

use crate::fresh::Kind;
use crate::process::{Process, free_address};
use crate::world::PASSWORD;
use crate::yard::Yard;

/// A byte a second keeps a connection alive that only looks for silence.
const PAUSE: Duration = Duration::from_secs(1);

/// Longer than any connection should live.
const PATIENCE: Duration = Duration::from_secs(60);

/// What slow connections showed.
#[derive(Debug)]
pub struct Slow {
    /// How many sent slow headers, and as many slow bodies.
    pub connections: usize,
    /// The longest that one with slow headers lived.
    pub longest_headers: Duration,
    /// The longest that one with a slow body lived.
    pub longest_body: Duration,
    /// What others waited for an answer meanwhile, the slowest of a hundred.
    pub slowest_of_hundred: Duration,
    /// What they waited for before, likewise.
    pub slowest_of_hundred_before: Duration,
}

/// So many connections send headers and as many send bodies, a byte a second, while others work.
/// # Panics
/// When the server does not come up.
pub async fn send_slowly(connections: usize) -> Slow {
    let yard = Yard::make(Kind::Sqlite).await;
    let server = Process::serve(&yard.fresh, &free_address()).await;
    let client = Client::new(&server.address).expect("a client");
    client.sign_in("ada", PASSWORD).await.expect("a session");
    let host = server.address.trim_start_matches("http://").to_owned();
    let token = client.access_token().await.expect("a token");
    let site = yard.feeding.here.site;
    let headers = format!("GET /healthz HTTP/1.1\r\nHost: {host}\r\nX-Slow: ");
    let body = format!(
        "POST /api/v1/sites/{site}/readings HTTP/1.1\r\nHost: {host}\r\nAuthorization: Bearer {token}\r\n\
         Content-Type: application/json\r\nContent-Length: 5000\r\n\r\n{{"
    );
    let before = slowest_of_hundred(&client, site).await;
    let lived = |start: String| join_all((0..connections).map(move |_| lives(host.clone(), start.clone())));
    let meanwhile = async {
        tokio::time::sleep(2 * PAUSE).await;
        slowest_of_hundred(&client, site).await
    };
    let (headers, bodies, meanwhile) = tokio::join!(lived.clone()(headers), lived(body), meanwhile);
    server.stop().await;
    Slow {
        connections,
        longest_headers: headers.into_iter().max().unwrap_or_default(),
        longest_body: bodies.into_iter().max().unwrap_or_default(),
        slowest_of_hundred: meanwhile,
        slowest_of_hundred_before: before,
    }
}

/// How long a connection lives that begins so and then sends a byte a second.
async fn lives(host: String, start: String) -> Duration {
    let mut stream = TcpStream::connect(host).await.expect("a connection");
    let began = Instant::now();
    stream.write_all(start.as_bytes()).await.expect("the beginning is sent");
    let mut answer = [0; 1024];
    while began.elapsed() < PATIENCE {
        match tokio::time::timeout(PAUSE, stream.read(&mut answer)).await {
            // It was answered or closed: the server waits no longer.
            Ok(_) => break,
            Err(_) if stream.write_all(b"a").await.is_err() => break,
            Err(_) => {}
        }
    }
    began.elapsed()
}

async fn slowest_of_hundred(client: &Client, site: uuid::Uuid) -> Duration {
    let mut slowest = Duration::ZERO;
    for _ in 0..100 {
        let began = Instant::now();
        client.due_changes(site).await.expect("an answer");
        slowest = slowest.max(began.elapsed());
    }
    slowest
}
