//! Thin binary: arguments in, exit code out.

use std::process::ExitCode;

fn main() -> ExitCode {
    readodds::cli::main()
}
