//! Diagnostics about the user's files: plain data, collected, rendered once.
//!
//! A diagnostic is something the user can mend (a value, a key, a file). All problems of a file are collected
//! and shown together, each with path:line:col, the value, the limit, the reason and a way out.
//! The look comes from `render`; this file only holds the data.

pub mod codes;
pub mod render;

use std::ops::Range;
use std::sync::Arc;

/// Text of one input file, kept to point into it.
#[derive(Debug)]
pub struct Source {
    pub path: String,
    pub text: String,
}

impl Source {
    pub fn new(path: impl Into<String>, text: impl Into<String>) -> Arc<Source> {
        Arc::new(Source { path: path.into(), text: text.into() })
    }

    /// One-based line and column (in characters) of a byte offset; clamped to the text.
    pub fn line_column(&self, byte: usize) -> (usize, usize) {
        let mut byte = byte.min(self.text.len());
        while !self.text.is_char_boundary(byte) {
            byte -= 1;
        }
        let before = &self.text[..byte];
        let line_start = before.rfind('\n').map_or(0, |i| i + 1);
        (before.matches('\n').count() + 1, before[line_start..].chars().count() + 1)
    }
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Severity {
    /// Legal but doubtful: the run goes on, the report repeats it.
    Warning,
    /// The run cannot start.
    Error,
}

/// One finding about an input.
#[derive(Clone, Debug)]
pub struct Diagnostic {
    /// Stable kebab-case code, one of `codes`.
    pub code: &'static str,
    pub severity: Severity,
    /// What is wrong, with the value and the limit: lower case, no final period.
    pub message: String,
    pub source: Option<Arc<Source>>,
    /// Byte range in the source; `None` when the finding is about the whole file.
    pub span: Option<Range<usize>>,
    /// Short text under the marked place (reason or limit), may be empty.
    pub label: String,
    /// A second place in the same source that conflicts with the first, with its own short text.
    pub also: Option<(Range<usize>, String)>,
    /// Why, and the way out.
    pub help: Vec<String>,
}

impl Diagnostic {
    pub fn error(code: &'static str, message: impl Into<String>) -> Diagnostic {
        Diagnostic {
            code,
            severity: Severity::Error,
            message: message.into(),
            source: None,
            span: None,
            label: String::new(),
            also: None,
            help: Vec::new(),
        }
    }
    pub fn warning(code: &'static str, message: impl Into<String>) -> Diagnostic {
        Diagnostic { severity: Severity::Warning, ..Diagnostic::error(code, message) }
    }
    pub fn at(mut self, source: &Arc<Source>, span: Range<usize>) -> Diagnostic {
        self.source = Some(source.clone());
        self.span = Some(span);
        self
    }
    pub fn in_file(mut self, source: &Arc<Source>) -> Diagnostic {
        self.source = Some(source.clone());
        self
    }
    pub fn label(mut self, label: impl Into<String>) -> Diagnostic {
        self.label = label.into();
        self
    }
    pub fn also(mut self, span: Range<usize>, label: impl Into<String>) -> Diagnostic {
        self.also = Some((span, label.into()));
        self
    }
    pub fn help(mut self, help: impl Into<String>) -> Diagnostic {
        self.help.push(help.into());
        self
    }

    /// `path:line:col`, `path` or nothing.
    pub fn place(&self) -> Option<String> {
        let source = self.source.as_ref()?;
        Some(match &self.span {
            Some(span) => {
                let (line, column) = source.line_column(span.start);
                format!("{}:{line}:{column}", source.path)
            }
            None => source.path.clone(),
        })
    }
}

/// What a loader gives: the value with warnings, or everything that is wrong.
pub type Checked<T> = Result<(T, Vec<Diagnostic>), Vec<Diagnostic>>;
