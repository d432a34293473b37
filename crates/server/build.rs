//! How the program is linked.

/// At a fixed address: 79,000 pointers need not be set right before the first line, nor be in the file a second time.
fn main() {
    let is = |name: &str, value: &str| std::env::var(name).is_ok_and(|found| found == value);
    if is("CARGO_CFG_TARGET_OS", "linux") && is("CARGO_CFG_TARGET_ENV", "gnu") && is("PROFILE", "release") {
        println!("cargo::rustc-link-arg-bins=-no-pie");
    }
    println!("cargo::rerun-if-changed=build.rs");
}
