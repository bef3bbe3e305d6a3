//! Progress on stderr: only on a terminal, with the running estimate and the time left.

use crate::estimate::closer_look::SetWork;
use crate::estimate::run::Progress;
use crate::passing::Prepared;
use crate::report::words::per_10_000;
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
        if let Ok(style) = ProgressStyle::with_template("{pos}/{len} race days, {eta} left, {msg}") {
            bar.set_style(style);
        }
        Line { bar }
    }

    pub fn show(&self, progress: &Progress) {
        self.bar.set_length(progress.races_planned);
        self.bar.set_position(progress.races);
        let error =
            if progress.miss_rate > 0.0 { 100.0 * progress.standard_error / progress.miss_rate } else { 0.0 };
        self.bar.set_message(format!(
            "so far {} missed per 10,000 at the worst point, ±{error:.0} %",
            per_10_000(progress.miss_rate)
        ));
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

/// A progress line of the closer looks at rare misses.
pub struct CloserLine {
    bar: ProgressBar,
    sets: u64,
}

impl CloserLine {
    /// `sets` of lines may be looked at.
    pub fn new(sets: u64) -> CloserLine {
        let bar = Line::new().bar;
        if let Ok(style) = ProgressStyle::with_template("{msg} {pos}/{len} passings") {
            bar.set_style(style);
        }
        CloserLine { bar, sets }
    }

    pub fn show(&self, work: &[SetWork], prepared: &Prepared) {
        let Some(stage) = work.last().and_then(|set| set.stages.last()) else { return };
        let point = work.last().and_then(|set| prepared.points.get(set.point));
        let name = point.map_or("", |point| point.name.as_str());
        self.bar.set_length(stage.planned());
        self.bar.set_position(stage.done());
        let number = work.len();
        self.bar
            .set_message(format!("closer look {number} of at most {} ({name}, {}):", self.sets, stage.name));
    }

    pub fn done(&self) {
        self.bar.finish_and_clear();
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
