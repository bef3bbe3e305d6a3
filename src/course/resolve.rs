//! A scenario as written: the form with every default filled in, and its JSON Schema.

use super::Course;
use super::antenna::AntennaForm;
use super::beliefs::BeliefsForm;
use super::effects::Effects;
use super::field::FieldForm;
use super::reader::ReaderForm;
use super::region::RegionForm;
use super::timing_point::PointForm;
use super::weather::WeatherForm;
use schemars::JsonSchema;
use serde::Serialize;
use std::collections::BTreeMap;

/// `[event]` as written.
#[derive(Clone, Debug, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct EventForm {
    /// Name in reports.
    pub name: String,
    /// Length of the course, km; only used for a default flow.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub distance_km: Option<f64>,
}

/// A scenario file.
#[derive(Clone, Debug, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ScenarioForm {
    /// What the file is about; invented events say so.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub note: String,
    /// Folder of the tag, counted from the folder of this file.
    pub tag: String,
    /// The event.
    pub event: EventForm,
    /// Radio rules in force.
    pub region: RegionForm,
    /// Weather of the race day.
    pub weather: WeatherForm,
    /// The runners.
    pub field: FieldForm,
    /// What nobody has measured yet.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub beliefs: Option<BeliefsForm>,
    /// Physical effects switched on or off.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub effects: Option<Effects>,
    /// Keys every timing point takes unless it says otherwise.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub every_point: Option<PointForm>,
    /// Keys every reader takes unless it says otherwise.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub every_reader: Option<ReaderForm>,
    /// Keys every antenna takes unless it says otherwise.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub every_antenna: Option<AntennaForm>,
    /// The timing points, in course order.
    pub point: Vec<PointForm>,
    /// What one could add or change at a timing point; read by `redundancy`.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub candidate: Vec<CandidateForm>,
}

/// `[[candidate]]` as written: either `copy_line`, or changes by path, or both.
#[derive(Clone, Debug, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct CandidateForm {
    /// Name in reports.
    pub name: String,
    /// What it costs, in money of your choice; needed for the search of the cheapest layout.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cost: Option<f64>,
    /// Timing point; default the finish.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub point: Option<String>,
    /// Line of that point to copy, with readers of its own.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub copy_line: Option<String>,
    /// How far along the running direction the copy is moved, m; default 3.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub moved_x_m: Option<f64>,
    /// Keys to set, by path.
    #[serde(skip_serializing_if = "BTreeMap::is_empty")]
    pub set: BTreeMap<String, serde_json::Value>,
    /// Entries to add to lists, by path.
    #[serde(skip_serializing_if = "BTreeMap::is_empty")]
    pub add: BTreeMap<String, serde_json::Value>,
    /// Keys or entries to remove, by path.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub remove: Vec<String>,
}

impl From<&Course> for ScenarioForm {
    fn from(c: &Course) -> ScenarioForm {
        ScenarioForm {
            note: c.note.clone(),
            tag: c.tag.clone(),
            event: EventForm { name: c.event_name.clone(), distance_km: c.distance_km },
            region: (&c.region).into(),
            weather: (&c.weather).into(),
            field: (&c.field).into(),
            beliefs: Some((&c.beliefs).into()),
            effects: Some(c.effects),
            every_point: None,
            every_reader: None,
            every_antenna: None,
            point: c.points.iter().map(Into::into).collect(),
            candidate: Vec::new(),
        }
    }
}

impl Course {
    /// The scenario with every default filled in, as TOML. Loading it again from the same folder gives the
    /// same course.
    pub fn resolved_toml(&self) -> String {
        toml::to_string(&ScenarioForm::from(self)).expect("plain tables, numbers and text always serialise")
    }
}
