//! Why a command could not do its work, and the exit code that says so.

use super::interrupt::INTERRUPTED;
use crate::diag::Diagnostic;
use crate::diag::render::{Style, render_all};
use crate::report::visible::visible;
use std::io::{IsTerminal, Write};
use std::process::ExitCode;

/// Done.
pub const DONE: u8 = 0;
/// Done, but `--require` was not met.
pub const NOT_MET: u8 = 1;
/// Bad usage or input.
pub const BAD_INPUT: u8 = 2;
/// Internal error, or a result that could not be written.
pub const INTERNAL: u8 = 3;

#[derive(Debug)]
pub enum Failure {
    /// Something is wrong with the user's files.
    Files(Vec<Diagnostic>),
    /// Something is wrong with the options; the text says what and the way out.
    Usage(String),
    /// A result that was worked out could not be written; the text says where and why.
    Write(String),
    /// Interrupted before anything was known.
    Interrupted(String),
    Internal(String),
}

impl Failure {
    pub fn exit_code(&self) -> ExitCode {
        ExitCode::from(match self {
            Failure::Files(_) | Failure::Usage(_) => BAD_INPUT,
            Failure::Write(_) | Failure::Internal(_) => INTERNAL,
            Failure::Interrupted(_) => INTERRUPTED,
        })
    }

    /// Writes the failure to stderr.
    pub fn report(&self) {
        let text = match self {
            Failure::Files(found) => render_all(found, stderr_style()),
            Failure::Usage(text) | Failure::Write(text) => format!("error: {}\n", visible(text)),
            Failure::Interrupted(text) => format!("{text}\n"),
            Failure::Internal(text) => format!("internal error: {}\n", visible(text)),
        };
        // Nothing can be done if stderr is gone.
        let _ = std::io::stderr().write_all(text.as_bytes());
    }
}

/// Colours only on a terminal that wants them.
pub fn stderr_style() -> Style {
    let wanted = std::env::var_os("NO_COLOR").is_none_or(|v| v.is_empty());
    let dumb = std::env::var("TERM").is_ok_and(|t| t == "dumb");
    Style { colour: wanted && !dumb && std::io::stderr().is_terminal(), ..Style::PLAIN }
}
