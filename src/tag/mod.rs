//! What the lab tells us about a tag: its curve, the spread between samples, and how sure that is.

pub mod align;
pub mod censored;
pub mod curve;
pub mod interval;
pub mod load;
pub mod mounts;
pub mod open;
pub mod pchip;
pub mod plausible;
pub mod shape;
pub mod spread;

pub use crate::lab::tag_file;
pub use curve::{MountCurve, TagCurve, closeness};
pub use load::load;
pub use spread::Spread;

/// A tag as the passing sees it: the curve of the average sample and how samples differ from it.
#[derive(Clone, Debug)]
pub struct Tag {
    pub name: String,
    /// First line of the description in tag.toml (for invented tags it says so).
    pub note: String,
    /// The tag's own spacer between its antenna and the body surface, mm.
    pub own_spacer_mm: f64,
    /// Price per tag in the currency of the user's choice.
    pub price: Option<f64>,
    pub curve: TagCurve,
    pub spread: Spread,
    /// Serious findings about the measurement, a sentence each.
    pub findings: Vec<String>,
    /// What beliefs about it were learned from, in words.
    pub learned_from: Option<String>,
    /// SHA-256 of every file read, by path as the user would write it.
    pub file_hashes: Vec<(String, String)>,
}
