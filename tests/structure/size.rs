//! No file grows past what a reader holds in the head. (Functions are bounded by clippy's `too_many_lines`.)

use std::path::Path;

/// Lines, tests of the file included.
const LONGEST: usize = 400;

/// All Rust files below a folder, with their text.
pub(crate) fn rust_files(folder: &str) -> impl Iterator<Item = (String, String)> + use<> {
    let mut files = Vec::new();
    gather(Path::new(folder), &mut files);
    files.into_iter()
}

fn gather(folder: &Path, files: &mut Vec<(String, String)>) {
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() && !path.ends_with("target") {
            gather(&path, files);
        } else if path.extension().is_some_and(|extension| extension == "rs") {
            let text = std::fs::read_to_string(&path).unwrap();
            files.push((path.display().to_string(), text));
        }
    }
}

#[test]
fn no_file_is_too_long() {
    let root = concat!(env!("CARGO_MANIFEST_DIR"), "/..");
    let long: Vec<String> = ["crates", "migrations", "tests"]
        .iter()
        .flat_map(|folder| rust_files(&format!("{root}/{folder}")))
        .filter(|(_, text)| text.lines().count() > LONGEST)
        .map(|(path, text)| format!("{path}: {} lines", text.lines().count()))
        .collect();
    assert!(long.is_empty(), "look for the second question in {long:#?}");
}
