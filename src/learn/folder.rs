//! Learned beliefs as a folder: `learned.toml` says what they came from and where they hold, `learned.csv` has the vectors.
//!
//! They hold for one tag, band, set of beliefs and build; whatever does not agree is refused, but for another tag or band: there what belongs to the tag stays as
//! its samples say. Files that were changed by hand are refused: a belief of one's own belongs in the scenario.

use super::RACE_EFFECT_RANGE_DB;
use super::posterior::Posterior;
use super::vectors::INNER;
use crate::course::Course;
use crate::diag::{Checked, Diagnostic, Source, codes};
use crate::estimate::rows_file::BUILD;
use crate::files::whole_folder::Files;
use crate::files::written::hash;
use crate::lab::text::{self, TextFile};
use crate::passing::Prepared;
use crate::passing::draw::{RACE_DIMS, RaceDraw};
use crate::passing::learned::{Learned, Vector};
use crate::passing::unknowns::{Layer, UNKNOWNS, Unknown};
use crate::tag::Tag;
use serde::{Deserialize, Serialize};
use std::path::Path;

const FORMAT: &str = "readodds learned beliefs";
const FORMAT_VERSION: u32 = 2;
/// Vectors kept of each group.
const KEPT: usize = 8;
/// Groups lighter than this are left out.
const LIGHT: f64 = 1e-7;
/// Longest text of a description, bytes.
const MOST_TEXT: usize = 2000;
pub const DESCRIPTION: &str = "learned.toml";
pub const VECTORS: &str = "learned.csv";

/// An outcome file it was learned from.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LearnedFrom {
    pub name: String,
    pub path: String,
    pub sha256: String,
}

/// Where learned beliefs hold.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Ties {
    /// Hash of the program's sources: another build may mean other things by the same vector.
    pub build: String,
    pub tag: String,
    /// Hash over the hashes of the tag's files.
    pub tag_sha256: String,
    pub region: String,
    /// Hash of all beliefs and effects of the scenario.
    pub beliefs_sha256: String,
}

impl Ties {
    pub fn of(course: &Course, tag: &Tag) -> Ties {
        let mut files: Vec<&str> = tag.file_hashes.iter().map(|(_, hash)| hash.as_str()).collect();
        files.sort_unstable();
        Ties {
            build: BUILD.to_owned(),
            tag: tag.name.clone(),
            tag_sha256: hash(files.concat().as_bytes()),
            region: course.region.key.clone(),
            beliefs_sha256: hash(format!("{:?}{:?}", course.beliefs, course.effects).as_bytes()),
        }
    }
}

/// `learned.toml`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Description {
    pub format: String,
    pub format_version: u32,
    pub race_effect_db: f64,
    pub effective_groups: f64,
    /// Why it should not be believed without more ado, in sentences.
    pub doubts: Vec<String>,
    pub vectors_sha256: String,
    pub ties: Ties,
    pub learned_from: Vec<LearnedFrom>,
}

/// Learned beliefs as read.
pub struct LearnedFolder {
    pub description: Description,
    vectors: Vec<Vector>,
    /// Path, SHA-256.
    pub file_hashes: Vec<(String, String)>,
}

fn kept() -> impl Iterator<Item = &'static Unknown> {
    UNKNOWNS.iter().filter(|u| u.layer == Layer::NobodyKnows)
}

/// The files of a folder; `doubts` are repeated by every command that uses it.
pub fn files(
    posterior: &Posterior,
    prepared: &Prepared,
    from: Vec<LearnedFrom>,
    doubts: Vec<String>,
) -> Result<Files, String> {
    let csv = table(&kept_vectors(posterior), prepared).map_err(|e| e.to_string())?;
    let description = Description {
        format: FORMAT.to_owned(),
        format_version: FORMAT_VERSION,
        race_effect_db: prepared.tag.spread.race_effect_db,
        effective_groups: posterior.effective,
        doubts,
        vectors_sha256: hash(&csv),
        ties: Ties::of(&prepared.course, &prepared.tag),
        learned_from: from,
    };
    let body = toml::to_string(&description).map_err(|e| e.to_string())?;
    let text = format!(
        "# Written by readodds learn. Whole vectors of beliefs stand in {VECTORS}; no single one of them is a result.\n# Use: --learned FOLDER with predict, rank, redundancy, drivers and trial.\n{body}"
    );
    Ok(vec![(DESCRIPTION.to_owned(), text.into_bytes()), (VECTORS.to_owned(), csv)])
}

/// The vectors kept of a posterior: eight of each group, evenly by weight.
pub fn kept_vectors(posterior: &Posterior) -> Vec<Vector> {
    let mut out = Vec::new();
    for (group, of_group) in posterior.vector_weights(None).iter().enumerate() {
        let total: f64 = of_group.iter().sum();
        if total < LIGHT {
            continue;
        }
        let vectors = posterior.vectors(group);
        let (mut below, mut vector) = (of_group[0], 0);
        for k in 0..KEPT {
            let place = (k as f64 + 0.5) / KEPT as f64 * total;
            while below < place && vector + 1 < INNER {
                vector += 1;
                below += of_group[vector];
            }
            out.push(Vector { group, weight: total / KEPT as f64, u: vectors[vector] });
        }
    }
    out
}

/// One row a vector: group, weight, place in the unit cube of each unknown, and its value for people.
fn table(vectors: &[Vector], prepared: &Prepared) -> Result<Vec<u8>, csv::Error> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    let header = ["group".to_owned(), "weight".to_owned()];
    let places = kept().map(|u| format!("u_{}", u.key));
    writer.write_record(header.into_iter().chain(places).chain(kept().map(|u| u.key.to_owned())))?;
    for vector in vectors {
        let draw = RaceDraw::from_uniforms(&prepared.course, &prepared.tag, 0, &vector.u);
        let numbers = kept().map(|unknown| vector.u[unknown.dim].to_string());
        let values = kept().map(|unknown| format!("{:.4}", (unknown.value)(&draw)));
        let first = [vector.group.to_string(), vector.weight.to_string()];
        writer.write_record(first.into_iter().chain(numbers).chain(values))?;
    }
    writer.into_inner().map_err(|e| csv::Error::from(e.into_error()))
}

/// Reads a folder that `files` wrote.
pub fn load(folder: &Path) -> Checked<LearnedFolder> {
    let read = |name: &str| text::read(&folder.join(name)).map_err(|d| vec![*d]);
    from_texts(folder, read(DESCRIPTION)?, read(VECTORS)?)
}

/// The same from its files' texts.
pub fn from_texts(folder: &Path, toml: TextFile, csv: TextFile) -> Checked<LearnedFolder> {
    let broken = |source: &std::sync::Arc<Source>, why: String| {
        vec![
            Diagnostic::error(codes::LEARNED, why)
                .in_file(source)
                .help("learn it again: `readodds learn OUTCOME... --write FOLDER`"),
        ]
    };
    let description: Description = toml::from_str(&toml.source.text).map_err(|e| {
        broken(&toml.source, format!("this is no description of learned beliefs: {}", e.message()))
    })?;
    if description.format != FORMAT || description.format_version != FORMAT_VERSION {
        return Err(broken(&toml.source, "the file is of another format or version".to_owned()));
    }
    let effect = description.race_effect_db;
    if !RACE_EFFECT_RANGE_DB.contains(&effect) {
        let why = format!("races differ by {effect} dB in it, which no run writes");
        return Err(broken(&toml.source, why));
    }
    let texts = description.learned_from.iter().flat_map(|from| [&from.name, &from.path]);
    if let Some(long) = texts.chain(&description.doubts).find(|text| text.len() > MOST_TEXT) {
        let why = format!("a text of {} characters, {MOST_TEXT} at most", long.len());
        return Err(broken(&toml.source, why));
    }
    if description.vectors_sha256 != csv.sha256 {
        return Err(broken(
            &csv.source,
            format!("the vectors are not those that {DESCRIPTION} was written with"),
        ));
    }
    let vectors = vectors(&csv.source.text)
        .filter(|v| Learned::new(v.clone(), true).is_some())
        .ok_or_else(|| broken(&csv.source, "the vectors cannot be read".to_owned()))?;
    let path = |name: &str| folder.join(name).display().to_string();
    let file_hashes = vec![(path(DESCRIPTION), toml.sha256), (path(VECTORS), csv.sha256)];
    Ok((LearnedFolder { description, vectors, file_hashes }, Vec::new()))
}

fn vectors(text: &str) -> Option<Vec<Vector>> {
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let header = reader.headers().ok()?.clone();
    let dims: Option<Vec<(usize, usize)>> = kept()
        .map(|u| header.iter().position(|name| name == format!("u_{}", u.key)).map(|column| (column, u.dim)))
        .collect();
    let dims = dims?;
    let mut out: Vec<Vector> = Vec::new();
    for record in reader.records() {
        let record = record.ok()?;
        let number = |column: usize| record.get(column)?.parse::<f64>().ok();
        let mut u = [0.5; RACE_DIMS];
        for &(column, dim) in &dims {
            u[dim] = number(column).filter(|u| *u > 0.0 && *u < 1.0)?;
        }
        let group: usize = record.get(0)?.parse().ok()?;
        let weight = number(1).filter(|w| *w > 0.0 && *w <= 1.0)?;
        if out.last().is_some_and(|last| last.group > group) {
            return None;
        }
        out.push(Vector { group, weight, u });
    }
    Some(out)
}

impl LearnedFolder {
    /// The law of worlds for a set-up; the reasons why it does not hold there.
    pub fn law(&self, course: &Course, tag: &Tag) -> Result<Learned, Vec<String>> {
        let (own, here) = (&self.description.ties, Ties::of(course, tag));
        let mut reasons = Vec::new();
        if own.build != here.build {
            reasons.push("it was learned by another build of readodds, to which the same vector may have meant something else".to_owned());
        }
        if own.beliefs_sha256 != here.beliefs_sha256 {
            reasons.push(format!(
                "the beliefs or effects of {} are not those it was learned under",
                course.file_hash.0
            ));
        }
        if !reasons.is_empty() {
            return Err(reasons);
        }
        Ok(Learned::new(self.vectors.clone(), self.is_of(course, tag)).expect("looked at when read"))
    }

    /// The tag with what is learned about it: how far races differ, and where that comes from.
    pub fn tell(&self, tag: &Tag) -> Tag {
        let mut tag = tag.clone();
        tag.spread.race_effect_db = self.description.race_effect_db;
        tag.file_hashes.extend(self.file_hashes.iter().cloned());
        tag.learned_from = Some(self.words());
        tag
    }

    /// What it was learned from, in words.
    pub fn words(&self) -> String {
        let names: Vec<&str> = self.description.learned_from.iter().map(|from| from.name.as_str()).collect();
        let shown = names.iter().take(4).copied().collect::<Vec<_>>().join(", ");
        let more = if names.len() > 4 { format!(" and {} more", names.len() - 4) } else { String::new() };
        let doubts: String = self.description.doubts.iter().map(|doubt| format!(" {doubt}")).collect();
        format!("Beliefs learned from {shown}{more}.{doubts}")
    }

    /// Whether it was learned with this tag in this band; if not, what belongs to the tag is left out.
    pub fn is_of(&self, course: &Course, tag: &Tag) -> bool {
        let (own, here) = (&self.description.ties, Ties::of(course, tag));
        own.tag_sha256 == here.tag_sha256 && own.region == here.region
    }
}
