//! What the documents and the packaging say of settings and versions, held against the code.

use fillmark_server::Settings;

const README: &str = include_str!("../../README.md");
const DOCKERFILE: &str = include_str!("../../crates/server/Dockerfile");
const COMPOSE: &str = include_str!("../../docker-compose.yml");
const WORKSPACE: &str = include_str!("../../Cargo.toml");

#[test]
fn the_readme_names_every_setting_with_its_default() {
    for (key, value) in Settings::default().pairs() {
        let row = format!("| `{key}` | `FILLMARK__{}` |", key.to_uppercase());
        let row =
            README.lines().find(|line| line.starts_with(&row)).unwrap_or_else(|| panic!("no row {row}"));
        assert!(row.contains(&format!("| `{value}` |")), "{key} is {value}, the README says {row}");
    }
}

#[test]
fn the_packaging_sets_only_settings_that_there_are() {
    let known: Vec<String> = Settings::default()
        .pairs()
        .iter()
        .map(|(key, _)| format!("FILLMARK__{}", key.to_uppercase()))
        .collect();
    let named = |text: &'static str| text.split(|c: char| !c.is_ascii_alphanumeric() && c != '_');
    for name in named(DOCKERFILE).chain(named(COMPOSE)).filter(|word| word.starts_with("FILLMARK__")) {
        assert!(known.iter().any(|known| known == name), "{name} is no setting");
    }
}

#[test]
fn the_image_is_built_with_the_compiler_that_the_workspace_wants() {
    let version = WORKSPACE.lines().find_map(|line| line.strip_prefix("rust-version = ")).unwrap();
    let version = version.trim_matches('"');
    assert!(DOCKERFILE.contains(&format!("FROM rust:{version}-")), "expected rust {version}");
    assert!(README.contains(&format!("{version} or later")), "expected rust {version}");
}
