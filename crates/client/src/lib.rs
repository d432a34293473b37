//! Typed HTTP client: what the API offers, with the API's own bodies, and nothing it does not offer.
//!
//! Records with the common life are reached by [`Client::business`] and [`Client::site`]; to add one, say its
//! path in [`collections`]. What has a life of its own has a method in its module.

mod alerts;
mod balances;
mod calculators;
pub mod collections;
mod devices;
mod dosing;
mod entries;
mod journal;
mod records;
mod reviews;
mod sessions;
mod stock;
mod system;
mod work;

use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Duration;

use fillmark_api::{NewSession, Problem, Renewal, Session};
use reqwest::{Method, StatusCode, header};
use serde::Serialize;
use serde::de::DeserializeOwned;
use tokio::sync::Mutex;
use uuid::Uuid;

pub use collections::Collected;
pub use records::{OfBusiness, OfSite, Records};

/// How often a request goes round the addresses before its last answer stands.
const ROUNDS: usize = 20;
/// Between two rounds.
const PAUSE: Duration = Duration::from_millis(100);

/// A client of one server, or of several on one database, signed in or not.
#[derive(Debug)]
pub struct Client {
    bases: Vec<String>,
    /// Which of them answered last.
    at: AtomicUsize,
    http: reqwest::Client,
    session: Mutex<Option<Tokens>>,
}

/// What a client shows of itself.
#[derive(Debug, Clone)]
struct Tokens {
    access: String,
    /// Trades for the next; a device has none.
    refresh: Option<String>,
}

/// Why a request did not do what was asked.
#[derive(Debug, thiserror::Error)]
pub enum ClientError {
    /// The server refused, and says why.
    #[error("{}: {}{}", .0.status, .0.detail, faults(.0))]
    Refused(Box<Problem>),
    /// The server answered what no server of this API answers.
    #[error("the server answered {status} with something unknown: {body}")]
    Unknown {
        /// The status.
        status: StatusCode,
        /// The beginning of the body.
        body: String,
    },
    /// The server was not reached.
    #[error("the server cannot be reached")]
    Unreachable(#[from] reqwest::Error),
}

fn faults(problem: &Problem) -> String {
    let name = |fault: &fillmark_api::ProblemFault| {
        fault.pointer.clone().or_else(|| fault.parameter.clone()).unwrap_or_default()
    };
    problem.errors.iter().map(|fault| format!("; {}: {}", name(fault), fault.detail)).collect()
}

impl Tokens {
    fn of(session: &Session) -> Tokens {
        Tokens { access: session.access_token.clone(), refresh: Some(session.refresh_token.clone()) }
    }
}

impl ClientError {
    /// The problem, when the server refused.
    pub fn problem(&self) -> Option<&Problem> {
        match self {
            ClientError::Refused(problem) => Some(problem),
            _ => None,
        }
    }
}

impl Client {
    /// A client of the server at this address (`http://host:port`).
    /// # Errors
    /// When the machine offers no secure connections.
    pub fn new(base: &str) -> Result<Self, ClientError> {
        Self::of_several(&[base])
    }

    /// A client of servers on one database: while one of them is away, another is asked. What may have been done already
    /// is sent again only where that has no second effect: reads, and posts under their key.
    /// # Errors
    /// When the machine offers no secure connections.
    pub fn of_several(bases: &[&str]) -> Result<Self, ClientError> {
        // The provider stays when another client has installed it already.
        drop(rustls::crypto::ring::default_provider().install_default());
        let http = reqwest::Client::builder().no_proxy().build()?;
        let bases = bases.iter().map(|base| base.trim_end_matches('/').to_owned()).collect();
        Ok(Self { bases, at: AtomicUsize::new(0), http, session: Mutex::new(None) })
    }

    /// Signs in.
    /// # Errors
    /// When name and password do not fit.
    pub async fn sign_in(&self, sign_in: &str, password: &str) -> Result<Session, ClientError> {
        let body = NewSession { sign_in: sign_in.to_owned(), password: password.to_owned(), device: None };
        let session: Session = self.post("/sessions", &body).await?;
        *self.session.lock().await = Some(Tokens::of(&session));
        Ok(session)
    }

    /// Calls with a device's token from now on.
    pub async fn call_as_device(&self, token: &str) {
        *self.session.lock().await = Some(Tokens { access: token.to_owned(), refresh: None });
    }

    /// Signs out.
    /// # Errors
    /// When nobody is signed in.
    pub async fn sign_out(&self) -> Result<(), ClientError> {
        self.call::<()>(Method::DELETE, "/sessions/current", None, None).await?;
        *self.session.lock().await = None;
        Ok(())
    }

    /// The access token that is sent now, for requests that this client has no word for.
    pub async fn access_token(&self) -> Option<String> {
        self.session.lock().await.as_ref().map(|tokens| tokens.access.clone())
    }

    /// The records of the business.
    pub fn business(&self) -> Records<'_, OfBusiness> {
        Records::new(self, String::new())
    }

    /// The records of a site.
    pub fn site(&self, site: Uuid) -> Records<'_, OfSite> {
        Records::new(self, format!("/sites/{site}"))
    }

    /// GETs a path below `/api/v1`.
    /// # Errors
    /// [`ClientError`].
    pub async fn get<T: DeserializeOwned>(&self, path: &str) -> Result<T, ClientError> {
        read(self.call::<()>(Method::GET, path, None, None).await?).await
    }

    /// GETs a path below `/api/v1` as text of a type.
    /// # Errors
    /// [`ClientError`].
    pub async fn get_text(&self, path: &str) -> Result<String, ClientError> {
        Ok(self.call::<()>(Method::GET, path, None, None).await?.text().await?)
    }

    /// POSTs a body to a path below `/api/v1`.
    /// # Errors
    /// [`ClientError`].
    pub async fn post<T: DeserializeOwned>(
        &self,
        path: &str,
        body: &impl Serialize,
    ) -> Result<T, ClientError> {
        read(self.call(Method::POST, path, None, Some(body)).await?).await
    }

    /// PUTs a body that is answered with nothing.
    /// # Errors
    /// [`ClientError`].
    pub async fn put(&self, path: &str, body: &impl Serialize) -> Result<(), ClientError> {
        self.call(Method::PUT, path, None, Some(body)).await.map(drop)
    }

    /// Calls a path below `/api/v1` with the version a change was made against; the session is renewed once
    /// when the access token has run out.
    /// # Errors
    /// [`ClientError`].
    pub async fn call<B: Serialize + ?Sized>(
        &self,
        method: Method,
        path: &str,
        version: Option<i64>,
        body: Option<&B>,
    ) -> Result<reqwest::Response, ClientError> {
        let token = self.session.lock().await.clone();
        let key = Uuid::now_v7();
        let first = self
            .send(&method, path, (version, key), body, token.as_ref().map(|tokens| tokens.access.as_str()))
            .await?;
        let refresh = token.and_then(|tokens| tokens.refresh);
        let (StatusCode::UNAUTHORIZED, Some(refresh)) = (first.status(), refresh) else {
            return answered(first).await;
        };
        let Some(access) = self.renew(refresh).await else { return answered(first).await };
        answered(self.send(&method, path, (version, key), body, Some(&access)).await?).await
    }

    async fn send<B: Serialize + ?Sized>(
        &self,
        method: &Method,
        path: &str,
        (version, key): (Option<i64>, Uuid),
        body: Option<&B>,
        token: Option<&str>,
    ) -> Result<reqwest::Response, ClientError> {
        let may_repeat = [Method::GET, Method::POST].contains(method);
        let mut tries = if self.bases.len() > 1 { self.bases.len() * ROUNDS } else { 1 };
        loop {
            tries -= 1;
            let at = self.at.load(Ordering::Relaxed);
            let sent = self.send_to(at, method, path, (version, key), body, token).await;
            let goes_on = match &sent {
                Ok(answer) => may_repeat && answer.status() == StatusCode::SERVICE_UNAVAILABLE,
                Err(error) => may_repeat || error.is_connect(),
            };
            if !goes_on || tries == 0 {
                return Ok(sent?);
            }
            self.at.store(at + 1, Ordering::Relaxed);
            if tries.is_multiple_of(self.bases.len()) {
                tokio::time::sleep(PAUSE).await;
            }
        }
    }

    /// The base that is asked, counted round and round.
    fn base(&self, at: usize) -> &str {
        self.bases.get(at % self.bases.len().max(1)).map(String::as_str).unwrap_or_default()
    }

    async fn send_to<B: Serialize + ?Sized>(
        &self,
        at: usize,
        method: &Method,
        path: &str,
        (version, key): (Option<i64>, Uuid),
        body: Option<&B>,
        token: Option<&str>,
    ) -> Result<reqwest::Response, reqwest::Error> {
        let mut request = self.http.request(method.clone(), format!("{}/api/v1{path}", self.base(at)));
        if let Some(token) = token {
            request = request.bearer_auth(token);
        }
        if *method == Method::POST {
            request = request.header("Idempotency-Key", key.to_string());
        }
        if let Some(version) = version {
            request = request.header(header::IF_MATCH, format!("\"v{version}\""));
        }
        if let Some(body) = body {
            request = request.json(body);
        }
        request.send().await
    }

    async fn renew(&self, refresh_token: String) -> Option<String> {
        let mut held = self.session.lock().await;
        if let Some(tokens) = &*held
            && tokens.refresh.as_ref() != Some(&refresh_token)
        {
            // Another request renewed it while this one waited.
            return Some(tokens.access.clone());
        }
        let body = Renewal { refresh_token };
        let renewed = self
            .send(&Method::POST, "/sessions/renewals", (None, Uuid::now_v7()), Some(&body), None)
            .await
            .ok()?;
        let session: Session = read(answered(renewed).await.ok()?).await.ok()?;
        *held = Some(Tokens::of(&session));
        Some(session.access_token)
    }
}

async fn answered(response: reqwest::Response) -> Result<reqwest::Response, ClientError> {
    let status = response.status();
    if status.is_success() {
        return Ok(response);
    }
    let body = response.text().await?;
    Err(match serde_json::from_str::<Problem>(&body) {
        Ok(problem) => ClientError::Refused(Box::new(problem)),
        Err(_) => ClientError::Unknown { status, body: body.chars().take(300).collect() },
    })
}

async fn read<T: DeserializeOwned>(response: reqwest::Response) -> Result<T, ClientError> {
    let status = response.status();
    let body = response.text().await?;
    serde_json::from_str(&body).map_err(|error| ClientError::Unknown {
        status,
        body: format!("{error}: {}", body.chars().take(300).collect::<String>()),
    })
}
