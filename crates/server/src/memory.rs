//! Memory that a sign-in took is given back.

use std::os::unix::process::CommandExt;
use std::process::Command;

/// The threshold above which the C library of most Linux systems maps memory of its own for an allocation, and unmaps
/// it when it is freed. See `mallopt(3)`.
const THRESHOLD: &str = "MALLOC_MMAP_THRESHOLD_";

/// One mebibyte: the 19 MiB of a password's hash lie above it, what requests allocate below.
const BYTES: &str = "1048576";

/// Starts this program anew in its place, with the threshold fixed. Left to itself the library raises it to what was
/// freed last, and keeps the memory of hashes in the heaps of many threads: after sixty sign-ins 400 MiB instead of 57.
/// It reads the threshold once, at the start; where it cannot be set, the program goes on as it is.
pub(crate) fn give_back_what_hashes_take() {
    if std::env::var_os(THRESHOLD).is_some() {
        return;
    }
    let Ok(own) = std::env::current_exe() else { return };
    let error = Command::new(own).args(std::env::args_os().skip(1)).env(THRESHOLD, BYTES).exec();
    eprintln!("fillmark: memory of sign-ins may stay taken: {error}");
}
