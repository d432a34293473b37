//! Which crate may use which.

use std::collections::BTreeMap;
use std::process::Command;

use serde_json::Value;

/// The only arrows. A new one is a design decision, made with this table and DEVELOPERS.md.
const ARROWS: [(&str, &[&str]); 10] = [
    ("fillmark-domain", &[]),
    ("fillmark-advice", &["domain"]),
    ("fillmark-store", &["domain"]),
    ("fillmark-actions", &["domain", "advice", "store"]),
    ("fillmark-api", &["domain", "advice"]),
    ("fillmark-client", &["api", "domain"]),
    ("fillmark-migrations", &[]),
    ("fillmark-pages", &["api"]),
    ("fillmark-server", &["domain", "advice", "store", "actions", "api", "pages", "client", "migrations"]),
    ("fillmark-tests", &["domain", "advice", "store", "actions", "api", "client", "migrations", "server"]),
];

#[test]
fn crates_use_only_what_the_table_allows() {
    let output = Command::new(env!("CARGO"))
        .args(["metadata", "--format-version", "1", "--no-deps", "--offline"])
        .current_dir(concat!(env!("CARGO_MANIFEST_DIR"), "/.."))
        .output()
        .unwrap();
    let metadata: Value = serde_json::from_slice(&output.stdout).unwrap();
    let allowed: BTreeMap<&str, &[&str]> = ARROWS.into_iter().collect();
    let packages = metadata["packages"].as_array().unwrap();
    assert_eq!(packages.len(), ARROWS.len());
    for package in packages {
        let name = package["name"].as_str().unwrap();
        for dependency in package["dependencies"].as_array().unwrap() {
            let Some(used) = dependency["name"].as_str().unwrap().strip_prefix("fillmark-") else { continue };
            assert!(allowed[name].contains(&used), "{name} uses {used}, which no arrow allows");
        }
    }
}

#[test]
fn scopes_are_granted_in_one_place() {
    let root = concat!(env!("CARGO_MANIFEST_DIR"), "/../crates");
    let grants: Vec<String> = super::size::rust_files(root)
        .filter(|(path, text)| text.contains("Scope::granted(") && !path.ends_with("store/src/scope.rs"))
        .map(|(path, _)| path)
        .collect();
    assert_eq!(grants.len(), 1, "{grants:?}");
    assert!(grants[0].ends_with("actions/src/caller.rs"), "{grants:?}");
}

#[test]
fn every_record_is_held_against_its_journal() {
    let root = concat!(env!("CARGO_MANIFEST_DIR"), "/../crates/store/src");
    let verified = std::fs::read_to_string(format!("{root}/verify/records.rs")).unwrap();
    let list = verified.split("kinds![").nth(1).unwrap().split(']').next().unwrap();
    let listed: Vec<&str> = list.split([' ', ',', '\n']).collect();
    for (path, text) in super::size::rust_files(&format!("{root}/words")) {
        for word in text.split("impl Record for ").skip(1).filter_map(|rest| rest.split(' ').next()) {
            assert!(listed.contains(&word), "{word} of {path} is missing in verify/records.rs");
        }
    }
}
