//! A client that costs little, since it runs on the cores of the server that it measures: one connection, requests
//! written as bytes, answers read as far as their status and length.

use std::time::{Duration, Instant};

use futures_util::future::join_all;
use tokio::io::{AsyncBufReadExt, AsyncReadExt, AsyncWriteExt, BufReader};
use tokio::net::TcpStream;

use super::figures::median;

/// A connection to a server that is kept open.
#[derive(Debug)]
pub struct Visitor(BufReader<TcpStream>);

/// What some clients did together.
#[derive(Debug, Clone, Copy)]
pub struct Done {
    /// Requests that were answered as they should.
    pub requests: usize,
    /// In so many seconds.
    pub seconds: f64,
}

impl Done {
    /// Requests a second.
    pub fn per_second(self) -> f64 {
        self.requests as f64 / self.seconds
    }
}

/// A GET as it is sent.
pub fn get(path: &str, token: &str) -> Vec<u8> {
    format!("GET {path} HTTP/1.1\r\nhost: bench\r\nauthorization: Bearer {token}\r\n\r\n").into_bytes()
}

/// A POST of JSON as it is sent.
pub fn post(path: &str, token: &str, body: &str) -> Vec<u8> {
    let length = body.len();
    format!(
        "POST {path} HTTP/1.1\r\nhost: bench\r\nauthorization: Bearer {token}\r\n\
         content-type: application/json\r\ncontent-length: {length}\r\n\r\n{body}"
    )
    .into_bytes()
}

impl Visitor {
    /// Connects to `address:port`.
    /// # Errors
    /// When nobody listens there.
    pub async fn connect(address: &str) -> std::io::Result<Visitor> {
        let stream = TcpStream::connect(address).await?;
        stream.set_nodelay(true)?;
        Ok(Visitor(BufReader::new(stream)))
    }

    /// Sends a request and reads its answer: status and body.
    /// # Errors
    /// When the connection breaks.
    pub async fn ask(&mut self, request: &[u8]) -> std::io::Result<(u16, Vec<u8>)> {
        self.0.get_mut().write_all(request).await?;
        let (mut line, mut status, mut length) = (String::new(), 0, 0);
        loop {
            line.clear();
            if self.0.read_line(&mut line).await? == 0 {
                return Err(std::io::ErrorKind::UnexpectedEof.into());
            }
            let text = line.trim_end().to_ascii_lowercase();
            if let Some(rest) = text.strip_prefix("http/1.1 ") {
                status = rest.split(' ').next().and_then(|code| code.parse().ok()).unwrap_or(0);
            } else if let Some(rest) = text.strip_prefix("content-length:") {
                length = rest.trim().parse().unwrap_or(0);
            } else if text.is_empty() {
                break;
            }
        }
        let mut body = vec![0; length];
        self.0.read_exact(&mut body).await?;
        Ok((status, body))
    }

    /// Asks what must be answered with this status, and answers the body.
    /// # Panics
    /// When it is not; the answer is told.
    pub async fn expect(&mut self, request: &[u8], status: u16) -> Vec<u8> {
        let (answered, body) = self.ask(request).await.expect("an answer");
        assert_eq!(answered, status, "{}", String::from_utf8_lossy(&body));
        body
    }
}

/// A client for each token sends one request after another for some time.
/// # Panics
/// When one is not answered with the status.
pub async fn for_some_time(
    address: &str,
    tokens: &[String],
    span: Duration,
    status: u16,
    request: impl Fn(&str) -> Vec<u8>,
) -> Done {
    let began = Instant::now();
    drive(address, tokens, status, request, |_| began.elapsed() < span).await
}

/// A client for each token sends so many requests one after another.
/// # Panics
/// When one is not answered with the status.
pub async fn so_many_each(
    address: &str,
    tokens: &[String],
    count: usize,
    status: u16,
    request: impl Fn(&str) -> Vec<u8>,
) -> Done {
    drive(address, tokens, status, request, |done| done < count).await
}

async fn drive(
    address: &str,
    tokens: &[String],
    status: u16,
    request: impl Fn(&str) -> Vec<u8>,
    goes_on: impl Fn(usize) -> bool,
) -> Done {
    let began = Instant::now();
    let client = async |token: &String| {
        let mut visitor = Visitor::connect(address).await.expect("a connection");
        let mut requests = 0;
        while goes_on(requests) {
            visitor.expect(&request(token), status).await;
            requests += 1;
        }
        requests
    };
    let requests = join_all(tokens.iter().map(client)).await.into_iter().sum();
    Done { requests, seconds: began.elapsed().as_secs_f64() }
}

/// One client asks the same so many times: the median of its waits, in milliseconds.
/// # Panics
/// When one is not answered with 200.
pub async fn median_wait_ms(address: &str, request: &[u8], times: usize) -> f64 {
    median(&waits_ms(address, request, times, 200).await)
}

/// One client asks the same so many times: its waits, in milliseconds.
/// # Panics
/// When one is not answered with the status.
pub async fn waits_ms(address: &str, request: &[u8], times: usize, status: u16) -> Vec<f64> {
    let mut visitor = Visitor::connect(address).await.expect("a connection");
    let mut waits = Vec::with_capacity(times);
    for _ in 0..times {
        let began = Instant::now();
        visitor.expect(request, status).await;
        waits.push(began.elapsed().as_secs_f64() * 1e3);
    }
    waits
}
