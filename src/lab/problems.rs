//! Collects what is wrong with one file: all of it counted, the first 20 shown.

use crate::diag::{Diagnostic, Severity, Source};
use std::sync::Arc;

/// Most problems of one file that are shown one by one.
pub const MAX_SHOWN: usize = 20;

pub struct Problems {
    source: Arc<Source>,
    found: Vec<Diagnostic>,
    errors: usize,
    warnings: usize,
}

impl Problems {
    pub fn new(source: &Arc<Source>) -> Problems {
        Problems { source: source.clone(), found: Vec::new(), errors: 0, warnings: 0 }
    }

    /// Notes a finding. It is built only while there is room to show it.
    pub fn push(&mut self, severity: Severity, build: impl FnOnce() -> Diagnostic) {
        let count = match severity {
            Severity::Error => &mut self.errors,
            Severity::Warning => &mut self.warnings,
        };
        *count += 1;
        if *count <= MAX_SHOWN {
            let mut finding = build();
            finding.severity = severity;
            self.found.push(finding);
        }
    }

    pub fn error(&mut self, build: impl FnOnce() -> Diagnostic) {
        self.push(Severity::Error, build);
    }
    pub fn warning(&mut self, build: impl FnOnce() -> Diagnostic) {
        self.push(Severity::Warning, build);
    }
    /// Errors so far, shown or not.
    pub fn errors(&self) -> usize {
        self.errors
    }
    pub fn has_errors(&self) -> bool {
        self.errors > 0
    }

    /// Everything shown, closed by a line that counts the rest.
    pub fn into_found(mut self) -> Vec<Diagnostic> {
        let more = |n: usize| format!("{} more of the same kind in this file", n - MAX_SHOWN);
        if self.errors > MAX_SHOWN {
            let rest = Diagnostic::error("more-problems", more(self.errors)).in_file(&self.source);
            self.found.push(rest.help("mend the ones shown first, then run again"));
        }
        if self.warnings > MAX_SHOWN {
            self.found.push(Diagnostic::warning("more-problems", more(self.warnings)).in_file(&self.source));
        }
        self.found
    }

    /// The value with its warnings, or all findings when one of them is an error.
    pub fn finish<T>(self, value: T) -> crate::diag::Checked<T> {
        if self.has_errors() { Err(self.into_found()) } else { Ok((value, self.into_found())) }
    }
}
