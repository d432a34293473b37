//! The application that a handler acts on.

use std::future::{Ready, ready};
use std::ops::Deref;

use actix_web::dev::Payload;
use actix_web::web::Data;
use actix_web::{FromRequest, HttpMessage, HttpRequest};
use fillmark_actions::{App, Refusal};

use super::Refused;

/// The application: the one of the request's own unit of work where it has one, else the server's.
#[derive(Debug)]
pub struct AppData(pub App);

impl Deref for AppData {
    type Target = App;

    fn deref(&self) -> &App {
        &self.0
    }
}

impl FromRequest for AppData {
    type Error = Refused;
    type Future = Ready<Result<Self, Refused>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        let own = request.extensions().get::<App>().cloned();
        let app = own.or_else(|| request.app_data::<Data<App>>().map(|app| App::clone(app)));
        ready(app.map(AppData).ok_or_else(|| Refused::from(Refusal::NotFound)))
    }
}
