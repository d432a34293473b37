//! Who is calling, from the token of the request: a person's access token or a device's own.

use actix_web::dev::Payload;
use actix_web::http::header;
use actix_web::web::Data;
use actix_web::{FromRequest, HttpMessage, HttpRequest};
use fillmark_actions::{App, Caller, Refusal, devices, sessions};
use futures_util::future::LocalBoxFuture;

use super::Refused;
use crate::tokens::TokenKeys;

/// A caller whose token is good and whose session is alive.
#[derive(Debug)]
pub struct SignedIn(pub Caller);

/// Who a request was found to be from, for the log.
#[derive(Debug, Clone, Copy)]
pub struct CalledBy(pub uuid::Uuid);

impl FromRequest for SignedIn {
    type Error = Refused;
    type Future = LocalBoxFuture<'static, Result<Self, Refused>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        let request = request.clone();
        Box::pin(async move {
            // Asked once a request: inside a unit of work a second connection might never be had.
            if let Some(known) = request.extensions().get::<Caller>() {
                return Ok(SignedIn(known.clone()));
            }
            let not_signed_in = || Refused::from(Refusal::NotSignedIn);
            let app = request.app_data::<Data<App>>().ok_or_else(not_signed_in)?;
            let keys = request.app_data::<Data<TokenKeys>>().ok_or_else(not_signed_in)?;
            let header = request.headers().get(header::AUTHORIZATION).and_then(|header| header.to_str().ok());
            let token = header.and_then(|header| header.strip_prefix("Bearer ")).ok_or_else(not_signed_in)?;
            let caller = if token.starts_with(devices::PREFIX) {
                devices::caller(app, token.trim()).await?
            } else {
                let session = keys.session(app, token.trim()).await?.ok_or_else(not_signed_in)?;
                sessions::caller(app, session).await?
            };
            if let Some(id) = caller.id() {
                request.extensions_mut().insert(CalledBy(id));
            }
            request.extensions_mut().insert(caller.clone());
            Ok(SignedIn(caller))
        })
    }
}
