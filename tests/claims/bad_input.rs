//! Whatever is sent, the answer is a problem of the right kind: each operation of the document, one by one.

use fillmark_api::Session;
use fillmark_tests::contract::{Chance, Operation};
use fillmark_tests::on_both;
use fillmark_tests::world::{PASSWORD, World};
use reqwest::{Client, Method, StatusCode, header};
use serde_json::{Value, json};
use uuid::Uuid;

use crate::furnished::Furnished;

/// A stranger with a token and no manners.
struct Probe {
    furnished: Furnished,
    http: Client,
    token: String,
    wrong: Vec<String>,
}

/// A body as it goes over the wire.
struct Sent<'a> {
    text: String,
    kind: &'a str,
}

impl Probe {
    async fn at(world: &World) -> Probe {
        let furnished = Furnished::of(world).await;
        let http = Client::builder().no_proxy().build().unwrap();
        let sign_in = json!({ "sign_in": "ada", "password": PASSWORD });
        let address = format!("{}/api/v1/sessions", world.server.address);
        let session = http.post(address).json(&sign_in).send().await.unwrap();
        let session: Session = session.json().await.unwrap();
        Probe { furnished, http, token: session.access_token, wrong: Vec::new() }
    }

    /// Sends it and looks at the answer; the status, where one came.
    async fn send(
        &mut self,
        operation: &Operation,
        path: &str,
        body: Option<Sent<'_>>,
        token: bool,
    ) -> Option<StatusCode> {
        let mut request = self.http.request(operation.method.parse::<Method>().unwrap(), path);
        if token {
            request = request.bearer_auth(&self.token);
        }
        if ["PATCH", "DELETE"].contains(&operation.method.as_str()) {
            let there = self.http.get(path).bearer_auth(&self.token).send().await.unwrap();
            let tag = there.headers().get(header::ETAG).cloned();
            request = request.header(header::IF_MATCH, tag.unwrap_or_else(|| "\"v1\"".parse().unwrap()));
        }
        let shown = body.as_ref().map(|sent| sent.text.chars().take(600).collect::<String>());
        if let Some(sent) = body {
            request = request.header(header::CONTENT_TYPE, sent.kind).body(sent.text);
        }
        let answer = match request.send().await {
            Ok(answer) => answer,
            Err(error) => {
                self.wrong.push(format!("{}: no answer: {error:?}", operation.name()));
                return None;
            }
        };
        let status = answer.status();
        let kind = answer
            .headers()
            .get(header::CONTENT_TYPE)
            .and_then(|kind| kind.to_str().ok())
            .unwrap_or_default()
            .to_owned();
        let challenge = answer.headers().contains_key(header::WWW_AUTHENTICATE);
        let text = answer.text().await.unwrap();
        let mut what = Vec::new();
        if status.is_server_error() {
            what.push("a 5xx".to_owned());
        }
        if status.is_client_error() || status.is_server_error() {
            if kind != "application/problem+json" {
                what.push(format!("the type {kind:?}"));
            }
            let problem: Value = serde_json::from_str(&text).unwrap_or_default();
            let full = |name: &str| problem[name].as_str().is_some_and(|text| !text.is_empty());
            what.extend(
                ["type", "title", "detail", "instance", "code"]
                    .iter()
                    .filter(|name| !full(name))
                    .map(|name| format!("no {name}")),
            );
            if problem["status"] != status.as_u16() {
                what.push("another status inside".into());
            }
            if (status == StatusCode::UNAUTHORIZED) != challenge {
                what.push("no challenge".into());
            }
        }
        if !what.is_empty() {
            self.wrong.push(format!(
                "{} {path} with {shown:?}: {status}, {}: {text}",
                operation.name(),
                what.join(", ")
            ));
        }
        Some(status)
    }

    async fn expect(
        &mut self,
        expected: u16,
        why: &str,
        operation: &Operation,
        path: &str,
        body: Option<Sent<'_>>,
        token: bool,
    ) {
        let status = self.send(operation, path, body, token).await;
        if status.is_some_and(|status| status != expected) {
            self.wrong.push(format!(
                "{} with {why}: expected {expected}, found {}",
                operation.name(),
                status.unwrap()
            ));
        }
    }

    #[track_caller]
    fn done(self) {
        let all = self.wrong.len();
        assert!(
            self.wrong.is_empty(),
            "{all} answers are wrong:\n{}",
            self.wrong.iter().take(60).cloned().collect::<Vec<_>>().join("\n")
        );
    }

    fn operations(&self) -> Vec<Operation> {
        self.furnished.contract.operations.clone()
    }
}

fn sent(body: &Value) -> Option<Sent<'static>> {
    Some(Sent { text: body.to_string(), kind: "application/json" })
}

fn text(text: &str) -> Option<Sent<'static>> {
    Some(Sent { text: text.to_owned(), kind: "application/json" })
}

on_both! {
    async fn without_a_token_nothing_is_answered(world: World) {
        let mut probe = Probe::at(&world).await;
        for operation in probe.operations().into_iter().filter(|operation| operation.secured) {
            let (path, body) = (probe.furnished.path(&operation), probe.furnished.right_body(&operation));
            probe.expect(401, "no token", &operation, &path, body.as_ref().and_then(sent), false).await;
        }
        probe.done();
    }

    async fn what_is_no_body_of_the_right_form_is_a_bad_request(world: World) {
        let mut probe = Probe::at(&world).await;
        for operation in probe.operations() {
            let Some(body) = probe.furnished.right_body(&operation) else { continue };
            let path = probe.furnished.path(&operation);
            for wrong in ["", "{", "{\"a\":", "[]", "\"text\"", "null", "5", "true", "{}{}", "\u{feff}{}", "{\"a\": NaN}"] {
                probe.expect(400, wrong, &operation, &path, text(wrong), true).await;
            }
            let mut unknown = body.clone();
            unknown["colour"] = json!("blue");
            probe.expect(400, "an unknown field", &operation, &path, sent(&unknown), true).await;
            let plain = Sent { text: body.to_string(), kind: "text/plain" };
            probe.expect(415, "plain text", &operation, &path, Some(plain), true).await;
            let large = format!("{{\"name\":\"{}\"}}", "x".repeat(1024 * 1024));
            probe.expect(413, "over a mebibyte", &operation, &path, text(&large), true).await;
            let deep = format!("{}{}", "[".repeat(100_000), "]".repeat(100_000));
            probe.expect(400, "a deep pit", &operation, &path, text(&deep), true).await;
            // Of a field that is null in the example nobody knows the type.
            for (name, field) in body.as_object().unwrap().iter().filter(|(_, field)| !field.is_null()) {
                let mut other = body.clone();
                other[name] = if field.is_string() { json!(12) } else { json!("twelve") };
                probe.expect(400, &format!("{name} of another type"), &operation, &path, sent(&other), true).await;
            }
        }
        probe.done();
    }

    async fn unknown_parameters_and_limits_are_bad_requests(world: World) {
        let mut probe = Probe::at(&world).await;
        for operation in probe.operations().into_iter().filter(|operation| operation.method == "GET" && operation.secured) {
            let path = probe.furnished.path(&operation);
            probe.expect(400, "an unknown parameter", &operation, &format!("{path}?colour=blue"), None, true).await;
            probe.expect(400, "a parameter without a name", &operation, &format!("{path}?=x"), None, true).await;
            if operation.is_list() {
                for query in ["limit=0", "limit=201", "limit=x", "limit=", "limit=-1", "limit=1e3", "sort=colour", "cursor=x", "cursor=", "cursor=AAAA"] {
                    probe.expect(400, query, &operation, &format!("{path}?{query}"), None, true).await;
                }
            }
            let closed = ["state", "kind", "metric", "sample_point", "reason"];
            for name in operation.query.iter().filter(|name| closed.contains(&name.as_str())) {
                probe.expect(400, "an unknown word", &operation, &format!("{path}?{name}=colour"), None, true).await;
            }
            for name in operation.query.clone() {
                for value in ["%00", "%ff", "-200000-01-01", "99999999999999999999", "%F0%9F%AA%B4", "9999-12-31", "9999-12-31T23:59:59Z"] {
                    probe.send(&operation, &format!("{path}?{name}={value}"), None, true).await;
                }
            }
        }
        probe.done();
    }

    async fn what_is_not_there_is_not_found(world: World) {
        let mut probe = Probe::at(&world).await;
        for operation in probe.operations().into_iter().filter(Operation::has_ids) {
            let body = probe.furnished.right_body(&operation);
            let query = Furnished::query(&operation);
            let wrong = ["x", "1", "00000000-0000-0000-0000-000000000000", "%00", "%F0%9F%AA%B4", "019a0000-0000-7000-8000-00000000000g"];
            for wrong in wrong {
                let path = probe.furnished.path_by(&operation, |_| wrong.to_owned()) + query;
                probe.expect(404, wrong, &operation, &path, body.as_ref().and_then(sent), operation.secured).await;
            }
            let last = operation.path.matches('{').count() > 1;
            if last {
                let path = probe.furnished.path_by(&operation, |name| match name {
                    "site_id" => probe.furnished.ids["site_id"].clone(),
                    _ => Uuid::now_v7().to_string(),
                }) + query;
                probe.expect(404, "a foreign id", &operation, &path, body.as_ref().and_then(sent), true).await;
            }
        }
        probe.done();
    }

    async fn wild_bodies_are_answered_and_never_fail(world: World) {
        let mut probe = Probe::at(&world).await;
        let mut chance = Chance(20_261_124);
        let own = ["/api/v1/sessions/current", "/api/v1/sessions/renewals", "/api/v1/sessions"];
        for operation in probe.operations().into_iter().filter(|operation| !own.contains(&operation.path.as_str())) {
            let Some(schema) = operation.body.clone() else { continue };
            let path = probe.furnished.path(&operation);
            for turn in 0..20 {
                let ids = |name: &str| probe.furnished.id(name);
                let body = match turn % 3 {
                    0 => probe.furnished.contract.wild(&schema, "", &mut chance, &ids),
                    _ => probe.furnished.contract.shaken(&schema, &mut chance, &ids),
                };
                probe.send(&operation, &path, sent(&body), true).await;
            }
        }
        // What was taken is read back whole.
        for operation in probe.operations().into_iter().filter(|operation| operation.method == "GET" && operation.secured) {
            let path = probe.furnished.path(&operation);
            let query = Furnished::query(&operation);
            let status = probe.send(&operation, &format!("{path}{query}"), None, true).await;
            if operation.is_list() && status != Some(StatusCode::OK) {
                probe.wrong.push(format!("{} is {status:?}", operation.name()));
            }
        }
        world.beat().await;
        probe.done();
    }
}
