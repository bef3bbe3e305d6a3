//! What we are asked: one scenario file, validated.
//!
//! One concept is one file here, holding its valid type, its raw form and its checks. A `Course` can only
//! be had through the loader, so everything to the right may trust it: `load` for a file, `from_text` for
//! text in memory.

pub mod antenna;
pub mod beliefs;
pub mod effects;
pub mod elements;
pub mod field;
pub mod link;
pub mod load;
pub mod plausible;
pub mod power;
pub mod quantity;
pub mod reader;
pub mod region;
pub mod region_table;
mod resolve;
pub mod schema;
pub mod starter;
pub mod surface;
pub mod timing_point;
mod values;
pub mod walk;
pub mod weather;

pub use load::{from_text, load};
pub use resolve::ScenarioForm;

use std::path::PathBuf;

/// A value in force that nobody measured.
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize)]
pub struct Assumption {
    /// Section and key, for example `beliefs.scatter_loss_db`.
    pub what: String,
    /// The value with its unit.
    pub value: String,
    /// Where it comes from, or `our estimate`, or `set in the scenario`.
    pub source: String,
}

/// A validated scenario.
#[derive(Clone, Debug, PartialEq)]
pub struct Course {
    pub event_name: String,
    /// First comment or note of the file; for invented events it says so.
    pub note: String,
    /// Length of the course, km, when given.
    pub distance_km: Option<f64>,
    pub region: region::Region,
    pub weather: weather::Weather,
    pub field: field::RunnerField,
    pub beliefs: beliefs::Beliefs,
    pub effects: effects::Effects,
    /// Folder of the tag, resolved from the scenario's folder.
    pub tag_folder: PathBuf,
    /// The same as the scenario writes it.
    pub tag: String,
    pub points: Vec<timing_point::TimingPoint>,
    /// SHA-256 of the scenario file, by path as the user wrote it.
    pub file_hash: (String, String),
    assumed: Vec<Assumption>,
}

/// An antenna and where it stands.
#[derive(Clone, Copy, Debug)]
pub struct Placed<'c> {
    pub point: &'c timing_point::TimingPoint,
    pub line: &'c timing_point::Line,
    pub reader: &'c reader::Reader,
    pub antenna: &'c antenna::Antenna,
}

impl Course {
    /// Every antenna, in the order of the file.
    pub fn antennas(&self) -> impl Iterator<Item = Placed<'_>> {
        self.points.iter().flat_map(|point| {
            point.lines.iter().flat_map(move |line| {
                line.readers.iter().flat_map(move |reader| {
                    reader.antennas.iter().map(move |antenna| Placed { point, line, reader, antenna })
                })
            })
        })
    }

    /// Everything in force that nobody measured: beliefs, and defaults that were filled in.
    pub fn assumptions(&self) -> Vec<Assumption> {
        self.assumed.clone()
    }

    /// The finish.
    pub fn finish(&self) -> Option<&timing_point::TimingPoint> {
        self.points.iter().find(|p| p.is_finish)
    }
}
