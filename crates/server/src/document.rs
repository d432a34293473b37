//! The OpenAPI document: what the routes say of themselves, with what holds for all of them.

use actix_web::App;
use utoipa::openapi::path::{Operation, Parameter, ParameterBuilder, ParameterIn};
use utoipa::openapi::schema::Type;
use utoipa::openapi::security::{HttpAuthScheme, HttpBuilder, SecurityScheme};
use utoipa::openapi::tag::TagBuilder;
use utoipa::openapi::{
    Components, ContactBuilder, ContentBuilder, InfoBuilder, License, ObjectBuilder, OpenApi, OpenApiBuilder,
    Ref, RefOr, ServerBuilder,
};
use utoipa::{PartialSchema, ToSchema};
use utoipa_actix_web::AppExt;

use crate::http::problem;
use crate::routes;

const TAGS: [(&str, &str); 12] = [
    ("sessions", "Signing in and out."),
    ("people", "People, what they are where, what they may do, when they work."),
    ("places", "Sites, rooms, tanks and water."),
    ("growing", "Crops, programmes, cycles, what drinks from which tank, harvests."),
    ("devices", "Devices that send readings by themselves."),
    ("entries", "Readings, additions, tank changes, calibrations."),
    ("work", "Check plans, checks, rounds, alerts."),
    ("stock", "Products, lots, movements, suppliers, orders, the purchase forecast."),
    ("dosing", "Advice about what to add to a tank."),
    ("calculators", "Chemistry without a tank: recipes, acids, units, air and meters."),
    ("reports", "Reports and the journal."),
    ("system", "Health and problems."),
];

/// The document as it is committed and served; a test holds it against [`document`]. Making it anew in a running
/// server would cost more memory than all the rest of it.
pub const COMMITTED: &str = include_str!("../../../openapi/fillmark.json");

/// How the document names the key under which a request comes again.
pub(crate) const KEY_PARAMETER: &str = "#/components/parameters/IdempotencyKey";

/// Where the document is served.
pub const PATH: &str = "/api/v1/openapi.json";

/// The document of all routes, made without a database.
pub fn document() -> OpenApi {
    let (_, mut document) =
        App::new().into_utoipa_app().openapi(base()).configure(routes::all_written).split_for_parts();
    for item in document.paths.paths.values_mut() {
        item.get.iter_mut().filter(|get| is_list(get)).for_each(as_table_too);
        let keyed = item.post.iter_mut().filter(|post| post.security.is_some() && is_kept(post));
        for post in keyed {
            let key = RefOr::Ref(Ref::new(KEY_PARAMETER));
            post.parameters.get_or_insert_default().push(key);
        }
    }
    document
}

fn is_list(operation: &Operation) -> bool {
    let named = |parameter: &RefOr<Parameter>| matches!(parameter, RefOr::T(one) if one.name == "limit");
    operation.parameters.iter().flatten().any(named)
}

/// Each list is answered as CSV too.
fn as_table_too(list: &mut Operation) {
    if let Some(RefOr::T(page)) = list.responses.responses.get_mut("200") {
        let text = ObjectBuilder::new().schema_type(Type::String).build();
        page.content.insert("text/csv".to_owned(), ContentBuilder::new().schema(Some(text)).build().into());
    }
}

/// Whether an operation has an effect, and an answer that may be kept to be given again under a key: calculators have none,
/// and what is told once is kept nowhere.
fn is_kept(operation: &Operation) -> bool {
    let calculates = operation.tags.iter().flatten().any(|tag| tag == "calculators");
    let tells_a_secret = operation.operation_id.as_deref() == Some("give_device_token");
    !calculates && !tells_a_secret
}

/// What holds for all routes.
pub fn base() -> OpenApi {
    let mut license = License::new("MIT OR Apache-2.0");
    license.identifier = Some("MIT OR Apache-2.0".to_owned());
    let info = InfoBuilder::new()
        .title("Fillmark")
        .version(env!("CARGO_PKG_VERSION"))
        .description(Some("The operations server of a hydroponic business: checks, solution, stock, proof."))
        .license(Some(license))
        .contact(Some(ContactBuilder::new().name(Some("The Fillmark developers")).build()))
        .build();
    let mut components = Components::new();
    let mut schemas: Vec<(String, RefOr<utoipa::openapi::Schema>)> = Vec::new();
    fillmark_api::Problem::schemas(&mut schemas);
    schemas.push((fillmark_api::Problem::name().into_owned(), fillmark_api::Problem::schema()));
    components.schemas.extend(schemas);
    components
        .responses
        .extend(problem::components().map(|(code, response)| (code.to_owned(), response.into())));
    components.parameters.insert("IdempotencyKey".to_owned(), request_key().into());
    let bearer = HttpBuilder::new().scheme(HttpAuthScheme::Bearer).bearer_format("JWT").build();
    components.add_security_scheme("bearer", SecurityScheme::Http(bearer));
    OpenApiBuilder::new()
        .info(info)
        .servers(Some([ServerBuilder::new().url("/").description(Some("This server")).build()]))
        .tags(Some(TAGS.map(|(name, about)| TagBuilder::new().name(name).description(Some(about)).build())))
        .components(Some(components))
        .build()
}

/// Whatever makes or moves something can be sent again under its key.
fn request_key() -> Parameter {
    let text = ObjectBuilder::new().schema_type(Type::String).min_length(Some(16)).max_length(Some(128));
    ParameterBuilder::new()
        .name("Idempotency-Key")
        .parameter_in(ParameterIn::Header)
        .description(Some(
            "Made by the client for this request, a UUID for example. Sent again within 45 days under its key and with \
             the same body, the request is answered as before (`Idempotency-Replayed: true`) and has no second effect. A \
             refusal had none, and the request is looked at anew.",
        ))
        .schema(Some(text))
        .build()
}
