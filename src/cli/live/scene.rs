//! What the page works on: the scenario's text with the page's changes, its forecast, and where things stand.

use crate::cli::inputs::cover;
use crate::course::{self, Course, plausible, power};
use crate::diag::render::{Style, render_all};
use crate::estimate::run::{Plan, Precision};
use crate::passing::{Prepared, prepare};
use crate::study::overlay_text::set;
use crate::study::predict::{Forecast, predict};
use crate::study::provenance::findings_of;
use crate::tag::{self, Tag};
use serde::Deserialize;
use serde_json::{Value, json};
use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// One key set on the page: a path of the scenario and a number or a text.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Set {
    pub path: String,
    pub value: Scalar,
}

#[derive(Deserialize)]
#[serde(untagged)]
pub enum Scalar {
    Whole(i64),
    Number(f64),
    Text(String),
}

pub struct Scene {
    pub path: PathBuf,
    pub seed: u64,
    pub despite_findings: bool,
    text: String,
    tags: HashMap<PathBuf, Arc<Tag>>,
    /// Forecasts of the file as it was opened, by number of worlds.
    pinned: HashMap<u64, Forecast>,
}

impl Scene {
    pub fn new(path: &Path, text: String, seed: u64, despite_findings: bool) -> Scene {
        let (tags, pinned) = (HashMap::new(), HashMap::new());
        Scene { path: path.to_owned(), seed, despite_findings, text, tags, pinned }
    }

    /// The text with the changes made; words for people when one cannot be made.
    pub fn changed(&self, changes: &[Set]) -> Result<String, String> {
        let mut document: toml_edit::DocumentMut =
            self.text.parse().map_err(|e: toml_edit::TomlError| e.to_string())?;
        for change in changes {
            let value = match &change.value {
                Scalar::Whole(n) => (*n).into(),
                Scalar::Number(v) => (*v).into(),
                Scalar::Text(text) => text.as_str().into(),
            };
            set(&mut document, &change.path, value).map_err(|refused| refused.to_string())?;
        }
        Ok(document.to_string())
    }

    /// Loads a text as if it were the file.
    pub fn load(&mut self, text: &str) -> Result<Prepared, String> {
        let words = |found: Vec<_>| render_all(&found, Style::PLAIN);
        let folder = self.path.parent().unwrap_or(Path::new(""));
        let (course, _) = course::from_text(&self.path.display().to_string(), text, folder).map_err(words)?;
        let tag = match self.tags.get(&course.tag_folder) {
            Some(tag) => tag.clone(),
            None => {
                let tag = Arc::new(tag::load(&course.tag_folder).map_err(words)?.0);
                self.tags.insert(course.tag_folder.clone(), tag.clone());
                tag
            }
        };
        let findings = findings_of([&*tag]);
        if !findings.is_empty() && !self.despite_findings {
            return Err(format!("{}\n--despite-findings goes on all the same", findings.join("\n")));
        }
        cover(&course, &tag).map_err(|failure| match failure {
            crate::cli::failure::Failure::Files(found) => words(found),
            other => format!("{other:?}"),
        })?;
        Ok(prepare(Arc::new(course), tag))
    }

    fn forecast(&self, prepared: &Prepared, worlds: u64) -> Forecast {
        let precision = Precision { relative: 0.1, runners: 1.0, max_passings: 1_000_000 };
        let plan = Plan { seed: self.seed, precision, worlds: Some(worlds), passings_per_world: PASSINGS };
        // Seconds at most: Ctrl-C is heard when it is done, and a second one ends at once.
        predict(prepared, &plan, &[], &|| false)
    }

    /// The forecast of the changed text beside that of the file, on the same draws.
    pub fn answer(&mut self, changes: &[Set], worlds: u64) -> Result<Value, String> {
        let text = self.changed(changes)?;
        let prepared = self.load(&text)?;
        if !self.pinned.contains_key(&worlds) {
            let opened = self.load(&self.text.clone())?;
            let pinned = self.forecast(&opened, worlds);
            self.pinned.insert(worlds, pinned);
        }
        let now = self.forecast(&prepared, worlds);
        Ok(json!({
            "worlds": now.worlds,
            "tag": now.tag.name,
            "now": now.points.iter().map(told).collect::<Vec<_>>(),
            "pinned": self.pinned[&worlds].points.iter().map(told).collect::<Vec<_>>(),
            "unlawful": power::unlawful(&prepared.course),
            "doubts": plausible::doubts(&prepared.course),
            "plan": plan(&prepared.course),
        }))
    }
}

/// Passings of a world.
const PASSINGS: u64 = crate::estimate::run::PASSINGS_PER_WORLD;

fn told(point: &crate::study::predict::PointForecast) -> Value {
    json!({
        "name": point.name,
        "missed": point.missed.mean,
        "p05": point.missed.p05,
        "p95": point.missed.p95,
        "miss_rate": point.miss_rate,
        "kept": point.promise.kept().value,
        "target": point.promise.target,
        "causes": point.causes,
    })
}

/// Roads and antennas as they stand, each with its path.
fn plan(course: &Course) -> Value {
    let mut antennas = Vec::new();
    for (p, point) in course.points.iter().enumerate() {
        for (l, line) in point.lines.iter().enumerate() {
            for (r, reader) in line.readers.iter().enumerate() {
                for (a, antenna) in reader.antennas.iter().enumerate() {
                    antennas.push(json!({
                        "path": format!("point.{}.line.{}.reader.{}.antenna.{}", p + 1, l + 1, r + 1, a + 1),
                        "point": p, "line": line.name, "name": antenna.name, "x_m": antenna.x_m, "y_m": antenna.y_m,
                        "z_m": antenna.z_m, "azimuth_deg": antenna.azimuth_deg, "power_dbm": antenna.power_dbm,
                    }));
                }
            }
        }
    }
    let roads: Vec<Value> =
        course.points.iter().map(|p| json!({"name": p.name, "road_width_m": p.road_width_m})).collect();
    json!({
        "event": course.event_name, "note": course.note, "runners": course.field.runners, "tag": course.tag,
        "weather": course.weather.key, "roads": roads, "antennas": antennas,
    })
}
