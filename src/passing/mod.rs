//! One runner crosses a timing point once: a pure function of its draw.
//!
//! ```text
//! draw ── stride ─────────────┐
//! prepared ── race ── link ── pass ── score
//!   antenna_pattern  fresnel  dipole  body  screens  diffuse     one physical effect each
//!   air_interface  contention  schedule  decode                  one protocol step each
//! ```
//! `pilot` settles what depends on the whole layout (contenders, order of places) before the first passing counts.

pub mod air_interface;
pub mod antenna_pattern;
pub mod ask;
pub mod body;
pub mod contention;
pub mod crossing;
pub mod cylinder;
pub mod decode;
pub mod diffuse;
pub mod dipole;
pub mod draw;
pub mod four_at_once;
pub mod fresnel;
pub mod learned;
pub mod link;
pub mod materials;
pub mod pass;
pub mod pilot;
pub mod prepared;
pub mod promise;
pub mod race;
pub mod rician;
pub mod schedule;
pub mod score;
pub mod screens;
pub mod stairs;
pub mod stride;
pub mod trace;
pub mod turn;
pub mod unknowns;
pub mod waiting;
pub mod waking;
pub mod ways;

pub use draw::{CrossingDraw, CrossingId, RaceDraw, RunnerDraw};
pub use pass::{Crossing, Workspace, pass};
pub use pilot::{prepare, prepare_like};
pub use prepared::Prepared;
pub use race::RaceContext;
pub use score::Score;
