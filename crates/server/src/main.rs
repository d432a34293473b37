//! The server's program.

use std::process::ExitCode;

/// A request is many small pieces of memory, which the allocator of the C library takes a quarter of its time to give and take.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

fn main() -> ExitCode {
    fillmark_server::run()
}
