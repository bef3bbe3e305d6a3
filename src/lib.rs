//! readodds turns chamber measurements of race-bib tags and the layout of a timing point into the odds that a
//! runner is missed, before the race is run.
//!
//! Data flows left to right; no module imports from its right:
//!
//! ```text
//! units vector limits numeric diag files random   under everything
//!   lab        sweeps in, as measured
//!   tag        tag curve with its uncertainty
//!   course     scenario file, validated
//!   outcome    what happened: counts of races, passings of trials
//!   passing    one passing: a pure function of its draw
//!   estimate   many passings
//!   learn      outcomes and passings to weighted beliefs
//!   study      the questions
//!   report     text, JSON, CSV, HTML, figures
//!   cli        arguments, progress, exit codes
//! ```

pub mod cli;
pub mod course;
pub mod diag;
pub mod estimate;
pub mod files;
pub mod lab;
pub mod learn;
pub mod limits;
pub mod numeric;
pub mod outcome;
pub mod passing;
pub mod random;
pub mod report;
pub mod study;
pub mod tag;
pub mod units;
pub mod vector;

// The drawing tests share their sample figures with the browser tests, which see this crate from outside.
#[cfg(test)]
extern crate self as readodds;
