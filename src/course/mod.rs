//! What we are asked: one scenario file, validated.
//!
//! One concept is one file here, holding its valid type, its raw form and its checks. A `Course` can only be had
//! through the loader, so everything to the right may trust it.

pub mod antenna;
pub mod beliefs;
pub mod effects;
pub mod field;
pub mod reader;
pub mod region;
pub mod surface;
pub mod timing_point;
pub mod weather;

use std::path::PathBuf;

/// A validated scenario.
#[derive(Clone, Debug)]
pub struct Course {
    pub event_name: String,
    /// First comment or note of the file; for invented events it says so.
    pub note: String,
    pub region: region::Region,
    pub weather: weather::Weather,
    pub field: field::RunnerField,
    pub beliefs: beliefs::Beliefs,
    pub effects: effects::Effects,
    /// Folder of the tag, resolved from the scenario's folder.
    pub tag_folder: PathBuf,
    pub points: Vec<timing_point::TimingPoint>,
    /// SHA-256 of the scenario file, by path as the user wrote it.
    pub file_hash: (String, String),
}
