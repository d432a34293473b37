//! The routes of records with the common life.
//!
//! `site_records!` and its sisters write the handlers out; what they do stands in the functions here.

use actix_web::{HttpRequest, HttpResponse};
use chrono_tz::Tz;
use fillmark_actions::records::{self, At};
use fillmark_actions::{App, Managed};
use fillmark_api::{Body, Patch, Stored};
use fillmark_domain::{Id, Kept};
use fillmark_store::Record;
use uuid::Uuid;

use crate::http::body::from_value;
use crate::http::list::{Asked, ListKind};
use crate::http::{Created, Found, Json, Refused, Seen, SignedIn};

/// What a list of records knows of itself.
pub(crate) fn kind<R: Record>() -> ListKind {
    ListKind {
        ordered_by: R::ORDERED_BY,
        narrowed_by: R::NARROWED_BY,
        archives: true,
        named: R::ORDERED_BY.contains(&"name"),
        recorded: None,
        coded_by: &[],
    }
}

pub(crate) async fn list<B>(
    app: &App,
    caller: &SignedIn,
    at: At<B::Word>,
    request: &HttpRequest,
) -> Result<HttpResponse, Refused>
where
    B: Body<Word: Managed>,
{
    let asked = Asked::read(request, kind::<B::Word>())?;
    let page = records::list::<B::Word>(app, &caller.0, at, &asked.page).await?;
    let zone = zone::<B>(app, caller, at).await?;
    Ok(asked.answer(request, page, |kept| told::<B>(kept, zone)))
}

pub(crate) async fn create<B>(
    app: &App,
    caller: &SignedIn,
    at: At<B::Word>,
    body: Json<B>,
    request: &HttpRequest,
) -> Result<Created<Stored<B>>, Refused>
where
    B: Body<Word: Managed>,
{
    let kept = records::create(app, &caller.0, at, body.0.word()?).await?;
    let zone = zone::<B>(app, caller, at).await?;
    Ok(Created::record(request.path(), told(kept, zone)))
}

pub(crate) async fn read<B>(
    app: &App,
    caller: &SignedIn,
    at: At<B::Word>,
    id: Uuid,
) -> Result<Found<B>, Refused>
where
    B: Body<Word: Managed>,
{
    let kept = records::read::<B::Word>(app, &caller.0, at, Id::new(id)).await?;
    Ok(Found(told(kept, zone::<B>(app, caller, at).await?)))
}

pub(crate) async fn change<B>(
    app: &App,
    caller: &SignedIn,
    at: At<B::Word>,
    id: Uuid,
    seen: Seen,
    patch: Json<Patch<B>>,
) -> Result<Found<B>, Refused>
where
    B: Body<Word: Managed>,
{
    let present = records::read::<B::Word>(app, &caller.0, at, Id::new(id)).await?;
    let body: B = from_value(patch.0.merged(&B::of(&present.content)))?;
    let kept = records::change(app, &caller.0, at, Id::new(id), seen.0, body.word()?).await?;
    Ok(Found(told(kept, zone::<B>(app, caller, at).await?)))
}

pub(crate) async fn archive<B>(
    app: &App,
    caller: &SignedIn,
    at: At<B::Word>,
    id: Uuid,
    seen: Seen,
) -> Result<Found<B>, Refused>
where
    B: Body<Word: Managed>,
{
    let kept = records::archive::<B::Word>(app, &caller.0, at, Id::new(id), seen.0).await?;
    Ok(Found(told(kept, zone::<B>(app, caller, at).await?)))
}

/// The zone of the site by whose clock a body tells something; none where it does not.
async fn zone<B>(app: &App, caller: &SignedIn, at: At<B::Word>) -> Result<Option<Tz>, Refused>
where
    B: Body<Word: Managed>,
{
    if !B::TELLS_BY_CLOCK {
        return Ok(None);
    }
    Ok(records::zone::<B::Word>(app, &caller.0, at).await?)
}

fn told<B: Body>(kept: Kept<B::Word>, zone: Option<Tz>) -> Stored<B> {
    match zone {
        Some(zone) => Stored::by(kept, zone),
        None => kept.into(),
    }
}

/// One handler of a record of a site.
macro_rules! site_route {
    (list $tag:literal, $many:literal, $path:literal, $body:ident, $stored:ident, $list:ident, [$($filter:literal)*] [$($q:literal)?]) => {
        #[doc = concat!("List the ", $many, " of a site.")]
        ///
        /// Archived ones only with `archived=true`.
        #[utoipa::path(tag = $tag, summary = concat!("List the ", $many, " of a site."), operation_id = stringify!($list),
            security(("bearer" = [])),
            params(ListQuery, ("archived" = Option<bool>, Query, description = "The archived ones instead"),
                $(($filter = Option<Uuid>, Query, description = "Only those of this one; repeated, of any of them"),)*
                $(($q = Option<String>, Query, description = "Only those whose name holds this, in either case"))?),
            responses((status = 200, description = "A page of them", body = Page), ReadProblems))]
        #[get($path)]
        pub async fn $list(app: AppData, caller: SignedIn, path: Path<Uuid>, request: HttpRequest)
            -> Result<HttpResponse, Refused> {
            records::list::<$body>(&app, &caller, Id::new(path.into_inner()), &request).await
        }
    };
    (create $tag:literal, $one:literal, $path:literal, $body:ident, $stored:ident, $create:ident) => {
        #[doc = concat!("Make a ", $one, ".")]
        #[utoipa::path(tag = $tag, summary = concat!("Make a ", $one, "."), operation_id = stringify!($create),
            security(("bearer" = [])), request_body = $body,
            responses((status = 201, description = "As it was kept", body = $stored), WriteProblems))]
        #[post($path)]
        pub async fn $create(app: AppData, caller: SignedIn, path: Path<Uuid>, request: HttpRequest, body: Json<$body>)
            -> Result<Created<$stored>, Refused> {
            records::create::<$body>(&app, &caller, Id::new(path.into_inner()), body, &request).await
        }
    };
    (read $tag:literal, $one:literal, $item:literal, $body:ident, $stored:ident, $read:ident) => {
        #[doc = concat!("Read a ", $one, ".")]
        #[utoipa::path(tag = $tag, summary = concat!("Read a ", $one, "."), operation_id = stringify!($read),
            security(("bearer" = [])),
            responses((status = 200, description = "As it is kept", body = $stored), ReadProblems))]
        #[get($item)]
        pub async fn $read(app: AppData, caller: SignedIn, path: Path<(Uuid, Uuid)>) -> Result<Found<$body>, Refused> {
            let (site, id) = path.into_inner();
            records::read::<$body>(&app, &caller, Id::new(site), id).await
        }
    };
    (change $tag:literal, $one:literal, $item:literal, $body:ident, $stored:ident, $patch:ident, $change:ident) => {
        #[doc = concat!("Change some fields of a ", $one, ".")]
        ///
        /// JSON Merge Patch; `If-Match` says which version the change was made against.
        #[utoipa::path(tag = $tag, summary = concat!("Change some fields of a ", $one, "."),
            operation_id = stringify!($change), security(("bearer" = [])), request_body = $patch,
            params(("If-Match" = String, Header, description = "The record's entity tag")),
            responses((status = 200, description = "As it is now", body = $stored), WriteProblems))]
        #[patch($item)]
        pub async fn $change(app: AppData, caller: SignedIn, path: Path<(Uuid, Uuid)>, seen: Seen, body: Json<$patch>)
            -> Result<Found<$body>, Refused> {
            let (site, id) = path.into_inner();
            records::change::<$body>(&app, &caller, Id::new(site), id, seen, body).await
        }
    };
    (archive $tag:literal, $one:literal, $item:literal, $body:ident, $stored:ident, $archive:ident) => {
        #[doc = concat!("Archive a ", $one, ".")]
        ///
        /// It stays readable; nothing new can name it.
        #[utoipa::path(tag = $tag, summary = concat!("Archive a ", $one, "."), operation_id = stringify!($archive),
            security(("bearer" = [])), params(("If-Match" = String, Header, description = "The record's entity tag")),
            responses((status = 200, description = "As it was put away", body = $stored), WriteProblems))]
        #[delete($item)]
        pub async fn $archive(app: AppData, caller: SignedIn, path: Path<(Uuid, Uuid)>, seen: Seen)
            -> Result<Found<$body>, Refused> {
            let (site, id) = path.into_inner();
            records::archive::<$body>(&app, &caller, Id::new(site), id, seen).await
        }
    };
}

/// One handler of a record of the business.
macro_rules! business_route {
    (list $tag:literal, $many:literal, $path:literal, $body:ident, $stored:ident, $list:ident, [$($filter:literal)*] [$($q:literal)?]) => {
        #[doc = concat!("List the ", $many, " of the business.")]
        ///
        /// Archived ones only with `archived=true`.
        #[utoipa::path(tag = $tag, summary = concat!("List the ", $many, " of the business."), operation_id = stringify!($list),
            security(("bearer" = [])),
            params(ListQuery, ("archived" = Option<bool>, Query, description = "The archived ones instead"),
                $(($filter = Option<Uuid>, Query, description = "Only those of this one; repeated, of any of them"),)*
                $(($q = Option<String>, Query, description = "Only those whose name holds this, in either case"))?),
            responses((status = 200, description = "A page of them", body = Page), ReadProblems))]
        #[get($path)]
        pub async fn $list(app: AppData, caller: SignedIn, request: HttpRequest)
            -> Result<HttpResponse, Refused> {
            records::list::<$body>(&app, &caller, (), &request).await
        }
    };
    (create $tag:literal, $one:literal, $path:literal, $body:ident, $stored:ident, $create:ident) => {
        #[doc = concat!("Make a ", $one, ".")]
        #[utoipa::path(tag = $tag, summary = concat!("Make a ", $one, "."), operation_id = stringify!($create),
            security(("bearer" = [])), request_body = $body,
            responses((status = 201, description = "As it was kept", body = $stored), WriteProblems))]
        #[post($path)]
        pub async fn $create(app: AppData, caller: SignedIn, request: HttpRequest, body: Json<$body>)
            -> Result<Created<$stored>, Refused> {
            records::create::<$body>(&app, &caller, (), body, &request).await
        }
    };
    (read $tag:literal, $one:literal, $item:literal, $body:ident, $stored:ident, $read:ident) => {
        #[doc = concat!("Read a ", $one, ".")]
        #[utoipa::path(tag = $tag, summary = concat!("Read a ", $one, "."), operation_id = stringify!($read),
            security(("bearer" = [])),
            responses((status = 200, description = "As it is kept", body = $stored), ReadProblems))]
        #[get($item)]
        pub async fn $read(app: AppData, caller: SignedIn, path: Path<Uuid>) -> Result<Found<$body>, Refused> {
            let id = path.into_inner();
            records::read::<$body>(&app, &caller, (), id).await
        }
    };
    (change $tag:literal, $one:literal, $item:literal, $body:ident, $stored:ident, $patch:ident, $change:ident) => {
        #[doc = concat!("Change some fields of a ", $one, ".")]
        ///
        /// JSON Merge Patch; `If-Match` says which version the change was made against.
        #[utoipa::path(tag = $tag, summary = concat!("Change some fields of a ", $one, "."),
            operation_id = stringify!($change), security(("bearer" = [])), request_body = $patch,
            params(("If-Match" = String, Header, description = "The record's entity tag")),
            responses((status = 200, description = "As it is now", body = $stored), WriteProblems))]
        #[patch($item)]
        pub async fn $change(app: AppData, caller: SignedIn, path: Path<Uuid>, seen: Seen, body: Json<$patch>)
            -> Result<Found<$body>, Refused> {
            let id = path.into_inner();
            records::change::<$body>(&app, &caller, (), id, seen, body).await
        }
    };
    (archive $tag:literal, $one:literal, $item:literal, $body:ident, $stored:ident, $archive:ident) => {
        #[doc = concat!("Archive a ", $one, ".")]
        ///
        /// It stays readable; nothing new can name it.
        #[utoipa::path(tag = $tag, summary = concat!("Archive a ", $one, "."), operation_id = stringify!($archive),
            security(("bearer" = [])), params(("If-Match" = String, Header, description = "The record's entity tag")),
            responses((status = 200, description = "As it was put away", body = $stored), WriteProblems))]
        #[delete($item)]
        pub async fn $archive(app: AppData, caller: SignedIn, path: Path<Uuid>, seen: Seen)
            -> Result<Found<$body>, Refused> {
            let id = path.into_inner();
            records::archive::<$body>(&app, &caller, (), id, seen).await
        }
    };
}

/// The five routes of a record of a site.
macro_rules! site_records {
    ($module:ident: $tag:literal, $one:literal, $many:literal, $path:literal, $item:literal,
     $body:ident, $stored:ident, $patch:ident, $list:ident, $create:ident, $read:ident, $change:ident, $archive:ident $(, by $($filter:literal)+)? $(, found_by $q:literal)?) => {
        #[doc = concat!("Routes of ", $many, ".")]
        pub mod $module {
            use actix_web::web::Path;
            use actix_web::{HttpRequest, HttpResponse, delete, get, patch, post};
            use fillmark_api::{$body, $stored, $patch, Listed};
            use fillmark_domain::Id;
            use uuid::Uuid;

            use $crate::http::{AppData, Created, Found, Json, ListQuery, ReadProblems, Refused, Seen, SignedIn, WriteProblems};
            use $crate::routes::records::{self, site_route};

            type Page = Listed<$stored>;

            /// Registers them.
            pub fn routes(config: &mut $crate::routes::Registry) {
                config.service($list).service($create).service($read).service($change).service($archive);
            }

            site_route!(list $tag, $many, $path, $body, $stored, $list, [$($($filter)+)?] [$($q)?]);
            site_route!(create $tag, $one, $path, $body, $stored, $create);
            site_route!(read $tag, $one, $item, $body, $stored, $read);
            site_route!(change $tag, $one, $item, $body, $stored, $patch, $change);
            site_route!(archive $tag, $one, $item, $body, $stored, $archive);
        }
    };
}

/// The routes of a record of a site that is never changed: listed, made, read, withdrawn.
macro_rules! site_facts {
    ($module:ident: $tag:literal, $one:literal, $many:literal, $path:literal, $item:literal,
     $body:ident, $stored:ident, $list:ident, $create:ident, $read:ident, $archive:ident $(, by $($filter:literal)+)? $(, found_by $q:literal)?) => {
        #[doc = concat!("Routes of ", $many, ".")]
        pub mod $module {
            use actix_web::web::Path;
            use actix_web::{HttpRequest, HttpResponse, delete, get, post};
            use fillmark_api::{$body, $stored, Listed};
            use fillmark_domain::Id;
            use uuid::Uuid;

            use $crate::http::{AppData, Created, Found, Json, ListQuery, ReadProblems, Refused, Seen, SignedIn, WriteProblems};
            use $crate::routes::records::{self, site_route};

            type Page = Listed<$stored>;

            /// Registers them.
            pub fn routes(config: &mut $crate::routes::Registry) {
                config.service($list).service($create).service($read).service($archive);
            }

            site_route!(list $tag, $many, $path, $body, $stored, $list, [$($($filter)+)?] [$($q)?]);
            site_route!(create $tag, $one, $path, $body, $stored, $create);
            site_route!(read $tag, $one, $item, $body, $stored, $read);
            site_route!(archive $tag, $one, $item, $body, $stored, $archive);
        }
    };
}

/// The five routes of a record of the business.
macro_rules! business_records {
    ($module:ident: $tag:literal, $one:literal, $many:literal, $path:literal, $item:literal,
     $body:ident, $stored:ident, $patch:ident, $list:ident, $create:ident, $read:ident, $change:ident, $archive:ident $(, by $($filter:literal)+)? $(, found_by $q:literal)?) => {
        #[doc = concat!("Routes of ", $many, ".")]
        pub mod $module {
            use actix_web::web::Path;
            use actix_web::{HttpRequest, HttpResponse, delete, get, patch, post};
            use fillmark_api::{$body, $stored, $patch, Listed};
            use uuid::Uuid;

            use $crate::http::{AppData, Created, Found, Json, ListQuery, ReadProblems, Refused, Seen, SignedIn, WriteProblems};
            use $crate::routes::records::{self, business_route};

            type Page = Listed<$stored>;

            /// Registers them.
            pub fn routes(config: &mut $crate::routes::Registry) {
                config.service($list).service($create).service($read).service($change).service($archive);
            }

            business_route!(list $tag, $many, $path, $body, $stored, $list, [$($($filter)+)?] [$($q)?]);
            business_route!(create $tag, $one, $path, $body, $stored, $create);
            business_route!(read $tag, $one, $item, $body, $stored, $read);
            business_route!(change $tag, $one, $item, $body, $stored, $patch, $change);
            business_route!(archive $tag, $one, $item, $body, $stored, $archive);
        }
    };
}

/// The routes of a record of the business that is never changed: listed, made, read, withdrawn.
macro_rules! business_facts {
    ($module:ident: $tag:literal, $one:literal, $many:literal, $path:literal, $item:literal,
     $body:ident, $stored:ident, $list:ident, $create:ident, $read:ident, $archive:ident $(, by $($filter:literal)+)? $(, found_by $q:literal)?) => {
        #[doc = concat!("Routes of ", $many, ".")]
        pub mod $module {
            use actix_web::web::Path;
            use actix_web::{HttpRequest, HttpResponse, delete, get, post};
            use fillmark_api::{$body, $stored, Listed};
            use uuid::Uuid;

            use $crate::http::{AppData, Created, Found, Json, ListQuery, ReadProblems, Refused, Seen, SignedIn, WriteProblems};
            use $crate::routes::records::{self, business_route};

            type Page = Listed<$stored>;

            /// Registers them.
            pub fn routes(config: &mut $crate::routes::Registry) {
                config.service($list).service($create).service($read).service($archive);
            }

            business_route!(list $tag, $many, $path, $body, $stored, $list, [$($($filter)+)?] [$($q)?]);
            business_route!(create $tag, $one, $path, $body, $stored, $create);
            business_route!(read $tag, $one, $item, $body, $stored, $read);
            business_route!(archive $tag, $one, $item, $body, $stored, $archive);
        }
    };
}

pub(crate) use {business_facts, business_records, business_route, site_facts, site_records, site_route};
