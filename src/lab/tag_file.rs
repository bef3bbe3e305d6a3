//! `tag.toml`: what a tag is called, how its sweeps were taken, and what is assumed about its spread.

use super::link_profile::{self, LinkProfileFile};
use super::stat::few::Ground;
use super::stat::sigma_posterior::{PRIOR_DEGREES, PRIOR_SCALE_DB, Prior};
use super::toml_text;
use crate::diag::{Diagnostic, Source};
use crate::limits;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::sync::Arc;

/// Standard uncertainty of a laboratory's absolute level when its tag.toml gives none, dB.
/// Source: our estimate; published backscatter measurements reach ±0.5 dB with a reference modulator
/// (Kuester et al., IEEE Trans. Microwave Theory Tech. 2012, doi 10.1109/TMTT.2012.2195017, abstract).
pub const DEFAULT_LAB_BIAS_SD_DB: f64 = 0.7;
/// Scale of the prior on the spread of the frequency shift between samples, MHz. Source: our estimate.
pub const SHIFT_PRIOR_SCALE_MHZ: f64 = 2.0;

/// Whether the sweeps are as the instruments read them, or already incident power at the tag.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum SweepLevel {
    /// Already referred to the tag: `predict` reads the folder as it is.
    Referred,
    /// Instrument readings: `lab` refers them.
    Raw,
}

/// What is assumed about the spread between samples before and beside the measurement.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SpreadFile {
    /// Scale of the half-t prior on the spread of the common offset, dB. Default 1.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub offset_prior_db: Option<f64>,
    /// Scale of the half-t prior on the spread of the frequency shift, MHz. Default 2.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub shift_prior_mhz: Option<f64>,
    /// Degrees of freedom of both priors, 1 (half-Cauchy) to 1000 (half-normal in effect). Default 4.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub prior_degrees: Option<f64>,
    /// Standard deviation of the common offset, when it is known from elsewhere, dB.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub offset_sd_db: Option<f64>,
    /// Standard deviation of the frequency shift, when it is known from elsewhere, MHz.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub shift_sd_mhz: Option<f64>,
}

impl SpreadFile {
    /// How the offsets of the samples are judged; `noise_variance` of each offset, dB².
    pub fn offset_ground(&self, noise_variance: f64) -> Ground {
        let scale = self.offset_prior_db.unwrap_or(PRIOR_SCALE_DB);
        Ground { prior: self.prior(scale), noise_variance, known: self.offset_sd_db }
    }
    /// How the shifts of the samples are judged; `noise_variance` of each shift, MHz².
    pub fn shift_ground(&self, noise_variance: f64) -> Ground {
        let scale = self.shift_prior_mhz.unwrap_or(SHIFT_PRIOR_SCALE_MHZ);
        Ground { prior: self.prior(scale), noise_variance, known: self.shift_sd_mhz }
    }
    fn prior(&self, scale: f64) -> Prior {
        Prior { scale, degrees: self.prior_degrees.unwrap_or(PRIOR_DEGREES) }
    }
    /// Reports every number outside its limits.
    pub fn check(&self, range: &mut impl FnMut(&[&str], Option<f64>, f64, f64, &str, &str)) {
        range(&["spread", "offset_prior_db"], self.offset_prior_db, 0.05, 10.0, "dB", "scale of the prior");
        range(&["spread", "shift_prior_mhz"], self.shift_prior_mhz, 0.05, 50.0, "MHz", "scale of the prior");
        range(
            &["spread", "prior_degrees"],
            self.prior_degrees,
            1.0,
            1000.0,
            "",
            "degrees of freedom of the prior",
        );
        range(&["spread", "offset_sd_db"], self.offset_sd_db, 0.0, 10.0, "dB", "a known spread");
        range(&["spread", "shift_sd_mhz"], self.shift_sd_mhz, 0.0, 50.0, "MHz", "a known spread");
    }
}

/// The file `tag.toml` of a referred tag.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct TagFile {
    /// Name shown in reports.
    pub name: String,
    /// One line about the tag; for an invented tag it says so.
    #[serde(default)]
    pub note: String,
    /// The tag's own spacer between its antenna and the body surface, mm, 0 to 50.
    pub own_spacer_mm: f64,
    /// Price per tag, in the currency of your choice.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub price: Option<f64>,
    /// `referred` (to the tag) or `raw` (as the instruments read).
    pub level: SweepLevel,
    /// How the sweeps were taken, in your own words.
    #[serde(default)]
    pub taken: String,
    /// Standard uncertainty of the laboratory's absolute level, dB: common to all tags it measured.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lab_bias_sd_db: Option<f64>,
    /// Standard deviation of placing a sample in a mount, dB, where the sweeps do not show it (one sample or one mount).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub placing_sd_db: Option<f64>,
    /// CSV files of the sweeps, relative to this file. Default: every `.csv` file in the folder.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sweeps: Option<Vec<String>>,
    /// Which phantom makes the curve when the sweeps hold more than one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub phantom: Option<String>,
    /// Which link profile makes the curve when the sweeps hold more than one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub link: Option<String>,
    /// Which batch is the approved prototype when the sweeps name batches.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub prototype_batch: Option<String>,
    /// Step of the power search behind the thresholds, dB: each lies within half a step of the number given.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub power_step_db: Option<f64>,
    #[serde(default, skip_serializing_if = "is_default")]
    pub spread: SpreadFile,
    /// What the names of link profiles stand for.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub link_profile: Vec<LinkProfileFile>,
    /// What `lab` found wrong with the measurement when it wrote this folder.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub finding: Vec<FindingFile>,
}

/// A finding as it travels with the sweeps.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct FindingFile {
    /// Name of the kind.
    pub kind: String,
    /// A forecast needs `--despite-findings` to go on.
    pub serious: bool,
    /// Mount, sample or file it is about.
    pub about: String,
    /// What was seen and what to do.
    pub words: String,
}

impl FindingFile {
    /// In a sentence.
    pub fn sentence(&self) -> String {
        format!("{} ({}): {}", self.kind, self.about, self.words)
    }
}

fn is_default(spread: &SpreadFile) -> bool {
    *spread == SpreadFile::default()
}

/// Reads and checks the text of a referred tag's `tag.toml`.
pub fn read(source: &Arc<Source>) -> Result<TagFile, Vec<Diagnostic>> {
    if let Some(raw) = declared_raw(source) {
        return Err(vec![raw]);
    }
    let file: TagFile = toml_text::read(source)?;
    let mut found = Vec::new();
    let mut range = |path: &[&str], value: Option<f64>, min: f64, max: f64, unit: &str, why: &str| {
        let Some(value) = value else { return };
        if !(value >= min && value <= max) {
            let key = path.last().copied().unwrap_or("");
            found.push(
                Diagnostic::error(
                    "tag-range",
                    format!(
                        "{key} = {value} is outside {min}..={max}{}{unit}",
                        if unit.is_empty() { "" } else { " " }
                    ),
                )
                .at(source, toml_text::place(source, path))
                .label(why.to_owned()),
            );
        }
    };
    range(&["own_spacer_mm"], Some(file.own_spacer_mm), 0.0, 50.0, "mm", "thickness of the tag's own spacer");
    range(&["price"], file.price, 0.0, 1e6, "", "price per tag");
    range(&["lab_bias_sd_db"], file.lab_bias_sd_db, 0.0, 10.0, "dB", "standard uncertainty of the level");
    range(&["placing_sd_db"], file.placing_sd_db, 0.0, 10.0, "dB", "placing a sample in a mount");
    range(&["power_step_db"], file.power_step_db, 0.0, 6.0, "dB", "step of the power search");
    file.spread.check(&mut range);
    link_profile::check(&file.link_profile, source, &mut found);
    if file.name.trim().is_empty() {
        found.push(
            Diagnostic::error("tag-name", "the name is empty")
                .at(source, toml_text::place(source, &["name"]))
                .help("the name is shown in every report"),
        );
    }
    let texts = [
        ("name", &file.name, limits::MOST_NAME),
        ("note", &file.note, limits::MOST_TEXT),
        ("taken", &file.taken, limits::MOST_TEXT),
    ];
    for (key, text, most) in texts {
        if text.chars().count() > most {
            found.push(
                Diagnostic::error("tag-name", format!("`{key}` is longer than {most} characters"))
                    .at(source, toml_text::place(source, &[key]))
                    .label("shown in every report")
                    .help("say it shorter"),
            );
        }
    }
    for finding in &file.finding {
        for (text, most) in [
            (&finding.kind, limits::MOST_NAME),
            (&finding.about, limits::MOST_TEXT),
            (&finding.words, limits::MOST_TEXT),
        ] {
            if text.chars().count() > most {
                found.push(
                    Diagnostic::error(
                        "tag-name",
                        format!("a text of a finding is longer than {most} characters"),
                    )
                    .at(source, toml_text::place(source, &["finding"]))
                    .label("shown in every report")
                    .help("write the folder again with `readodds lab --write`"),
                );
            }
        }
    }
    for name in file.sweeps.iter().flatten() {
        let path = std::path::Path::new(name);
        if path.is_absolute() || name.contains("..") {
            found.push(
                Diagnostic::error("tag-sweeps", format!("sweep file {name:?} lies outside the tag folder"))
                    .at(source, toml_text::place(source, &["sweeps"]))
                    .help("keep the sweeps beside tag.toml, so that the folder can be copied as one"),
            );
        }
    }
    if found.is_empty() { Ok(file) } else { Err(found) }
}

/// A raw file has other keys: say so before complaining about them.
fn declared_raw(source: &Arc<Source>) -> Option<Diagnostic> {
    let table: toml::Table = toml::from_str(&source.text).ok()?;
    (table.get("level")?.as_str()? == "raw").then(|| {
        Diagnostic::error("tag-raw", "these sweeps are as the instruments read them (level = \"raw\")")
            .at(source, toml_text::place(source, &["level"]))
            .help(
                "run `readodds lab` on this folder first: it writes a referred folder that can be read here",
            )
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn all_limits_are_checked_at_once() {
        let text = "name = ' '\nown_spacer_mm = -1\nlevel = 'referred'\nprice = nan\nlab_bias_sd_db = inf\n\
                    sweeps = ['../other.csv']\n[spread]\noffset_sd_db = 11\n";
        let found = read(&Source::new("tag.toml", text)).expect_err("six problems");
        let places: Vec<_> = found.iter().map(|d| d.place().expect("placed")).collect();
        assert_eq!(
            places,
            [
                "tag.toml:2:17",
                "tag.toml:4:9",
                "tag.toml:5:18",
                "tag.toml:8:16",
                "tag.toml:1:8",
                "tag.toml:6:10"
            ]
        );
    }

    #[test]
    fn raw_folders_are_sent_to_the_lab() {
        let source = Source::new("tag.toml", "name = 'x'\nlevel = 'raw'\n[generator]\nunit = 'dBm'\n");
        assert_eq!(read(&source).expect_err("raw")[0].code, "tag-raw");
    }
}
