//! The licences of all that is linked in: permissive ones, so that the binary may be given away under ours.

use std::process::Command;

use serde_json::Value;

/// Taken as they are. MPL-2.0 binds only its own files; the rest ask for a notice at most.
const PERMISSIVE: [&str; 15] = [
    "0BSD",
    "Apache-2.0",
    "Apache-2.0 WITH LLVM-exception",
    "BSD-1-Clause",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "BSL-1.0",
    "CC0-1.0",
    "CDLA-Permissive-2.0",
    "ISC",
    "MIT",
    "MPL-2.0",
    "Unicode-3.0",
    "Unlicense",
    "Zlib",
];

/// Whether an SPDX expression can be met by permissive licences alone.
fn is_permissive(expression: &str) -> bool {
    let spaced = expression.replace('/', " OR ").replace('(', " ( ").replace(')', " ) ");
    let mut words = spaced.split_whitespace().collect::<Vec<_>>().into_iter().peekable();
    either(&mut words) && words.next().is_none()
}

type Words<'a> = std::iter::Peekable<std::vec::IntoIter<&'a str>>;

fn either(words: &mut Words<'_>) -> bool {
    let mut met = all(words);
    while words.next_if_eq(&"OR").is_some() {
        met |= all(words);
    }
    met
}

fn all(words: &mut Words<'_>) -> bool {
    let mut met = one(words);
    while words.next_if_eq(&"AND").is_some() {
        met &= one(words);
    }
    met
}

fn one(words: &mut Words<'_>) -> bool {
    let Some(word) = words.next() else { return false };
    if word == "(" {
        return either(words) & (words.next() == Some(")"));
    }
    let name = match words.next_if_eq(&"WITH") {
        Some(_) => format!("{word} WITH {}", words.next().unwrap_or_default()),
        None => word.to_owned(),
    };
    PERMISSIVE.contains(&name.as_str())
}

/// Every package that is built on this machine; those of other systems may not be downloaded.
fn packages() -> Vec<Value> {
    let version = Command::new("rustc").arg("-vV").output().unwrap();
    let version = String::from_utf8(version.stdout).unwrap();
    let host = version.lines().find_map(|line| line.strip_prefix("host: ")).unwrap();
    let output = Command::new(env!("CARGO"))
        .args(["metadata", "--format-version", "1", "--offline", "--locked", "--filter-platform", host])
        .current_dir(concat!(env!("CARGO_MANIFEST_DIR"), "/.."))
        .output()
        .unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let metadata: Value = serde_json::from_slice(&output.stdout).unwrap();
    metadata["packages"].as_array().unwrap().clone()
}

#[test]
fn every_dependency_is_under_a_permissive_licence() {
    let packages = packages();
    assert!(packages.len() > 100, "only {} packages are known", packages.len());
    let refused: Vec<String> = packages
        .iter()
        .filter(|package| !is_permissive(package["license"].as_str().unwrap_or_default()))
        .map(|package| format!("{} {}: {}", package["name"], package["version"], package["license"]))
        .collect();
    assert!(refused.is_empty(), "not to be linked in: {refused:#?}");
}

#[test]
fn an_expression_is_met_only_by_what_is_on_the_list() {
    for good in ["MIT", "MIT OR GPL-3.0", "(MIT OR Apache-2.0) AND Unicode-3.0", "MIT/Apache-2.0"] {
        assert!(is_permissive(good), "{good}");
    }
    for bad in
        ["", "GPL-3.0-only", "MIT AND GPL-3.0", "MIT AND (GPL-2.0 OR LGPL-2.1)", "Apache-2.0 WITH", "(MIT"]
    {
        assert!(!is_permissive(bad), "{bad}");
    }
}
