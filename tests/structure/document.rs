//! The OpenAPI document: committed as it is served, and complete.

use std::collections::BTreeSet;

use fillmark_server::document::{COMMITTED, document};
use serde_json::Value;

fn operations() -> Vec<(String, Value)> {
    let document: Value = serde_json::to_value(document()).unwrap();
    let mut operations = Vec::new();
    for (path, item) in document["paths"].as_object().unwrap() {
        for (method, operation) in item.as_object().unwrap() {
            operations.push((format!("{method} {path}"), operation.clone()));
        }
    }
    operations
}

#[test]
fn the_committed_document_is_the_one_that_is_served() {
    let served = document().to_pretty_json().unwrap();
    assert!(COMMITTED.trim_end() == served, "renew it: cargo run -- openapi > openapi/fillmark.json");
}

#[test]
fn every_operation_has_an_id_of_its_own_a_summary_and_one_tag() {
    let mut ids = BTreeSet::new();
    for (name, operation) in operations() {
        let id = operation["operationId"].as_str().unwrap_or_else(|| panic!("{name} has no id"));
        assert!(ids.insert(id.replace('_', "").to_lowercase()), "{id} stands twice");
        assert!(
            operation["summary"].as_str().is_some_and(|summary| !summary.is_empty()),
            "{name} has no summary"
        );
        assert_eq!(operation["tags"].as_array().map(Vec::len), Some(1), "{name}");
    }
}

#[test]
fn every_answer_and_every_field_is_described() {
    for (name, operation) in operations() {
        for (status, answer) in operation["responses"].as_object().unwrap() {
            assert!(answer.get("description").is_some() || answer.get("$ref").is_some(), "{name} {status}");
        }
    }
    let document: Value = serde_json::to_value(document()).unwrap();
    for (name, schema) in document["components"]["schemas"].as_object().unwrap() {
        for (field, property) in schema["properties"].as_object().into_iter().flatten() {
            let described = property.get("description").is_some() || property.to_string().contains("$ref");
            assert!(described, "{name}.{field} has no description");
        }
    }
}
