//! Devices that send readings by themselves, and their tokens.

use actix_web::web::{Json as Answer, Path};
use actix_web::{get, post};
use fillmark_actions::devices;
use fillmark_api::{DeviceToken, GivenToken, Listed};
use fillmark_domain::Id;
use uuid::Uuid;

use super::records::site_records;
use crate::http::{AppData, Created, ReadProblems, Refused, SignedIn, WriteProblems};

type GivenTokens = Listed<GivenToken>;

/// Registers them.
pub fn routes(config: &mut crate::routes::Registry) {
    kept::routes(config);
    config.service(give_device_token).service(list_device_tokens);
}

site_records!(kept: "devices", "device", "devices", "/sites/{site_id}/devices", "/sites/{site_id}/devices/{device_id}",
    NewDevice, Device, DevicePatch, list_devices, create_device, read_device, change_device, archive_device, found_by "q");

/// Give a device a new token.
///
/// It is told once, and the one before is good no more. With it the device enters readings of its site, singly or by
/// batch, and does nothing else, until its time is over.
#[utoipa::path(tag = "devices", operation_id = "give_device_token", security(("bearer" = [])),
    responses((status = 201, description = "The token", body = DeviceToken), WriteProblems))]
#[post("/sites/{site_id}/devices/{device_id}/tokens")]
pub async fn give_device_token(
    app: AppData,
    caller: SignedIn,
    path: Path<(Uuid, Uuid)>,
) -> Result<Created<DeviceToken>, Refused> {
    let (site, device) = path.into_inner();
    let (token, until) = devices::give_token(&app, &caller.0, Id::new(site), Id::new(device)).await?;
    let place = format!("/api/v1/sites/{site}/devices/{device}/tokens");
    Ok(Created::at(place, DeviceToken { token, until_at: until.into() }))
}

/// What is known of a device's token: none or one.
#[utoipa::path(tag = "devices", operation_id = "list_device_tokens", security(("bearer" = [])),
    responses((status = 200, description = "When it was given and used", body = GivenTokens), ReadProblems))]
#[get("/sites/{site_id}/devices/{device_id}/tokens")]
pub async fn list_device_tokens(
    app: AppData,
    caller: SignedIn,
    path: Path<(Uuid, Uuid)>,
) -> Result<Answer<GivenTokens>, Refused> {
    let (site, device) = path.into_inner();
    let given = devices::token(&app, &caller.0, Id::new(site), Id::new(device)).await?;
    let body = |given: fillmark_store::device_tokens::Given| GivenToken {
        given_at: given.given_at.into(),
        used_at: given.used_at.map(Into::into),
    };
    Ok(Answer(Listed { items: given.map(body).into_iter().collect(), next_cursor: None }))
}
