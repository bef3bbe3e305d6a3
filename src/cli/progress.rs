//! Progress on stderr: only on a terminal, with the time left.

use crate::estimate::run::Progress;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use std::io::IsTerminal;

/// A progress line; silent where stderr is not a terminal.
pub struct Line {
    bar: ProgressBar,
}

impl Line {
    pub fn new() -> Line {
        let bar = if std::io::stderr().is_terminal() {
            ProgressBar::with_draw_target(None, ProgressDrawTarget::stderr())
        } else {
            ProgressBar::hidden()
        };
        if let Ok(style) = ProgressStyle::with_template("{pos}/{len} draws of what nobody knows, {eta} left")
        {
            bar.set_style(style);
        }
        Line { bar }
    }

    pub fn show(&self, progress: &Progress) {
        self.bar.set_length(progress.planned);
        self.bar.set_position(progress.worlds);
    }

    pub fn done(&self) {
        self.bar.finish_and_clear();
    }
}

impl Default for Line {
    fn default() -> Self {
        Line::new()
    }
}

/// A progress line of a study: stage, count, time left and what leads so far.
pub struct StudyLine {
    bar: ProgressBar,
}

impl StudyLine {
    pub fn new() -> StudyLine {
        let bar = Line::new().bar;
        if let Ok(style) = ProgressStyle::with_template("{prefix} {pos}/{len}, {eta} left; {msg}") {
            bar.set_style(style);
        }
        StudyLine { bar }
    }

    pub fn show(&self, stage: &str, done: u64, planned: u64, so_far: &str) {
        if self.bar.prefix() != stage {
            self.bar.reset_eta();
        }
        self.bar.set_prefix(stage.to_owned());
        self.bar.set_length(planned);
        self.bar.set_position(done);
        self.bar.set_message(so_far.to_owned());
    }

    pub fn done(&self) {
        self.bar.finish_and_clear();
    }
}

impl Default for StudyLine {
    fn default() -> Self {
        StudyLine::new()
    }
}
