//! Who gets in where: every operation of the document for everybody, and no token but a good one.

mod rows;
mod tokens;

use std::collections::HashMap;

use fillmark_api::{NewDevice, NewSite};
use fillmark_client::Client;
use fillmark_domain::people::{Act, Device, Role};
use fillmark_tests::contract::Operation;
use fillmark_tests::on_both;
use fillmark_tests::world::{World, json};
use reqwest::{Method, StatusCode, header};
use serde_json::{Value, json};
use uuid::Uuid;

use crate::furnished::Furnished;
use rows::{Need, need};

/// Whoever does this does nothing more.
const SIGN_OUT: &str = "end_session";
/// What names others, the last to go last; all else goes before.
const LET_GO: [&str; 6] = ["_tank", "_room", "_cycle", "_crop", "_person", "_site"];

/// Somebody with one role at one site, or a device of it.
#[derive(Clone, Copy, PartialEq)]
enum Who {
    Person(Role),
    Device,
}

struct Caller {
    who: Who,
    /// Whether the role is at the site whose things are asked for.
    here: bool,
    token: String,
}

struct Doors {
    furnished: Furnished,
    http: reqwest::Client,
    callers: Vec<Caller>,
    ada: String,
    wrong: Vec<String>,
}

impl Caller {
    fn name(&self) -> String {
        let who = match self.who {
            Who::Person(role) => format!("{role:?}"),
            Who::Device => "a device".to_owned(),
        };
        format!("{who} {}", if self.here { "here" } else { "elsewhere" })
    }

    /// The status that refuses this caller; nothing when it is let in.
    fn refused(&self, operation: &Operation, need: Need) -> Option<StatusCode> {
        let may = |act: Act| match self.who {
            Who::Person(role) => role.may(act),
            Who::Device => Device::may(act),
        };
        let in_site = operation.path.contains("{site_id}");
        match need {
            _ if in_site && !self.here => Some(StatusCode::NOT_FOUND),
            Need::Open => None,
            Need::Session if self.who == Who::Device => Some(StatusCode::UNAUTHORIZED),
            Need::Session => None,
            Need::Act(act) if may(act) => None,
            Need::OfPerson if may(Act::ManagePeople) && self.here => None,
            Need::Act(_) | Need::OfPerson => Some(StatusCode::FORBIDDEN),
        }
    }
}

impl Doors {
    async fn of(world: &World) -> Doors {
        let furnished = Furnished::of(world).await;
        let here: Uuid = furnished.ids["site_id"].parse().unwrap();
        let sites = world.ada.business().all::<NewSite>("").await.unwrap();
        let elsewhere = sites.iter().find(|site| site.id != here).unwrap().id;
        let mut callers = Vec::new();
        for site in [here, elsewhere] {
            for role in [Role::Staff, Role::Auditor, Role::Manager, Role::Owner] {
                let name = format!("{role:?} {}", site.simple());
                let (_, client) = world.person(&name, role, Some(site)).await;
                let token = client.access_token().await.unwrap();
                callers.push(Caller { who: Who::Person(role), here: site == here, token });
            }
            let body = json(json!({ "name": "Probe of doors", "until_at": "2027-11-24T00:00:00Z" }));
            let device = world.ada.site(site).create::<NewDevice>(&body).await.unwrap();
            let token = world.ada.give_device_token(site, device.id).await.unwrap().token;
            callers.push(Caller { who: Who::Device, here: site == here, token });
        }
        let http = reqwest::Client::builder().no_proxy().build().unwrap();
        let ada = world.ada.access_token().await.unwrap();
        Doors { furnished, http, callers, ada, wrong: Vec::new() }
    }

    async fn ask(&self, operation: &Operation, path: &str, token: Option<&str>) -> (StatusCode, String) {
        let mut request = self.http.request(operation.method.parse::<Method>().unwrap(), path);
        if let Some(token) = token {
            request = request.bearer_auth(token);
        }
        if ["PATCH", "DELETE"].contains(&operation.method.as_str()) {
            let there = self.http.get(path).bearer_auth(&self.ada).send().await.unwrap();
            let tag = there.headers().get(header::ETAG).cloned();
            request = request.header(header::IF_MATCH, tag.unwrap_or_else(|| "\"v1\"".parse().unwrap()));
        }
        if let Some(body) = self.furnished.right_body(operation) {
            let body = if operation.id == "create_membership" {
                of_this_site(body, &self.furnished.ids)
            } else {
                body
            };
            request = request.json(&body);
        }
        let answer = request.send().await.unwrap();
        let challenged = answer.headers().contains_key(header::WWW_AUTHENTICATE);
        assert_eq!(challenged, answer.status() == StatusCode::UNAUTHORIZED, "{} {path}", operation.name());
        (answer.status(), answer.text().await.unwrap())
    }

    fn path(&self, operation: &Operation) -> String {
        self.furnished.path(operation) + Furnished::query(operation)
    }

    fn operations(&self) -> Vec<Operation> {
        let mut operations = self.furnished.contract.operations.clone();
        // Things are put away last, those that name others before those.
        let lets_go = |operation: &Operation| LET_GO.iter().position(|id| operation.id.ends_with(id));
        operations.sort_by_key(|operation| (operation.method == "DELETE", lets_go(operation)));
        operations
    }

    async fn refuse_all_who_may_not(&mut self) {
        for operation in self.operations() {
            let Some(need) = need(&operation.id) else {
                self.wrong.push(format!("{} has no row", operation.id));
                continue;
            };
            for caller in &self.callers {
                let Some(expected) = caller.refused(&operation, need) else { continue };
                let (status, text) = self.ask(&operation, &self.path(&operation), Some(&caller.token)).await;
                if status != expected {
                    let name = operation.name();
                    self.wrong
                        .push(format!("{name} by {}: {status}, expected {expected}: {text}", caller.name()));
                }
            }
        }
    }

    /// Lets in all who may; whatever becomes of the request then, it is no matter of rights. Answers what was put away.
    async fn let_in_all_who_may(&mut self) -> Vec<Operation> {
        let mut put_away = Vec::new();
        for operation in self.operations().into_iter().filter(|operation| operation.id != SIGN_OUT) {
            let Some(need) = need(&operation.id) else { continue };
            for caller in self.callers.iter().filter(|caller| caller.refused(&operation, need).is_none()) {
                let (status, text) = self.ask(&operation, &self.path(&operation), Some(&caller.token)).await;
                let refused = [StatusCode::UNAUTHORIZED, StatusCode::FORBIDDEN].contains(&status)
                    && need != Need::Open
                    || status == StatusCode::NOT_FOUND
                        && !rows::MAY_HAVE_NONE.contains(&operation.id.as_str());
                if refused || status.is_server_error() || told_a_secret(&text) {
                    self.wrong.push(format!("{} by {}: {status}: {text}", operation.name(), caller.name()));
                }
                if operation.id.starts_with("archive_") && status.is_success() {
                    put_away.push(operation.clone());
                }
            }
        }
        put_away
    }

    /// What is put away is read and changes no more, whoever asks.
    async fn hold_what_is_put_away(&mut self, put_away: &[Operation]) {
        for operation in self.operations() {
            let Some(need) = need(&operation.id) else { continue };
            if operation.method != "PATCH" || !put_away.iter().any(|gone| gone.path == operation.path) {
                continue;
            }
            // Of a person whose roles are put away too, none is above anybody's.
            let callers = self.callers.iter().filter(|caller| caller.here || need != Need::OfPerson);
            for caller in callers {
                let expected = caller.refused(&operation, need).unwrap_or(StatusCode::CONFLICT);
                let (status, text) = self.ask(&operation, &self.path(&operation), Some(&caller.token)).await;
                if status != expected {
                    let name = operation.name();
                    self.wrong
                        .push(format!("{name} of what is put away by {}: {status}: {text}", caller.name()));
                }
            }
        }
    }

    async fn let_out_whoever_is_in(&mut self) {
        let operations = self.operations();
        let sign_out = operations.iter().find(|operation| operation.id == SIGN_OUT).unwrap();
        for caller in &self.callers {
            let expected = caller.refused(sign_out, Need::Session).unwrap_or(StatusCode::NO_CONTENT);
            let (status, text) = self.ask(sign_out, &self.path(sign_out), Some(&caller.token)).await;
            if status != expected {
                self.wrong.push(format!("signing out by {}: {status}: {text}", caller.name()));
            }
        }
    }

    /// A thing of one site is not there under another, where the caller may do everything.
    async fn keep_sites_apart(&mut self, ada: &Client) {
        let sites = ada.business().all::<NewSite>("").await.unwrap();
        let here = self.furnished.ids["site_id"].clone();
        let elsewhere = sites.iter().find(|site| site.id.to_string() != here).unwrap().id.to_string();
        for operation in self.operations() {
            // A product belongs to the business: its stock elsewhere is another, and there.
            let names_two =
                operation.path.matches('{').count() == 2 && !operation.path.contains("{product_id}");
            if !operation.path.contains("{site_id}") || !names_two {
                continue;
            }
            let path = self.furnished.path_by(&operation, |name| match name {
                "site_id" => elsewhere.clone(),
                name => self.furnished.id(name).unwrap_or_else(|| Uuid::now_v7().to_string()),
            });
            let path = path + Furnished::query(&operation);
            let (status, text) = self.ask(&operation, &path, Some(&self.ada)).await;
            if status != StatusCode::NOT_FOUND && !rows::SHARED_BY_SITES.contains(&operation.id.as_str()) {
                self.wrong.push(format!("{} under another site: {status}: {text}", operation.name()));
            }
        }
    }

    #[track_caller]
    fn done(self) {
        let all = self.wrong.len();
        assert!(all == 0, "{all} answers are wrong:\n{}", self.wrong[..all.min(60)].join("\n"));
    }
}

fn of_this_site(mut body: Value, ids: &HashMap<String, String>) -> Value {
    body["site_id"] = json!(ids["site_id"]);
    body
}

fn told_a_secret(text: &str) -> bool {
    ["$argon2", "token_hash", "refresh_hash", "\"hash\":\"$"].iter().any(|secret| text.contains(secret))
}

on_both! {
    async fn everybody_gets_in_where_their_role_says_and_nowhere_else(world: World) {
        let mut doors = Doors::of(&world).await;
        doors.keep_sites_apart(&world.ada).await;
        doors.refuse_all_who_may_not().await;
        let put_away = doors.let_in_all_who_may().await;
        assert!(put_away.len() > 10, "{}", put_away.len());
        doors.hold_what_is_put_away(&put_away).await;
        doors.let_out_whoever_is_in().await;
        doors.done();
    }

    async fn no_token_but_a_good_one_opens_anything(world: World) {
        let mut doors = Doors::of(&world).await;
        let bad = tokens::bad(&world).await;
        for operation in doors.operations().into_iter().filter(|operation| need(&operation.id) != Some(Need::Open)) {
            let path = doors.path(&operation);
            for (what, token) in &bad {
                let (status, text) = doors.ask(&operation, &path, token.as_deref()).await;
                if status != StatusCode::UNAUTHORIZED {
                    doors.wrong.push(format!("{} with {what}: {status}: {text}", operation.name()));
                }
            }
        }
        doors.done();
    }
}
