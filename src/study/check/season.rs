//! The same questions of a whole season: every scenario of its calendar and what-ifs, every tag.

use super::{CoverVerdict, Finding, Gravity, cover, cover_findings, set_up_findings};
use crate::diag::Diagnostic;
use crate::study::provenance::{InputFile, SCHEMA_VERSION, warning_lines};
use crate::study::season::Season;
use crate::study::season::resolve::Resolved;
use serde::Serialize;

/// The answer of `check` on a season.
#[derive(Clone, Debug, Serialize)]
pub struct SeasonCheck {
    pub schema_version: u32,
    pub version: String,
    pub season: String,
    pub note: String,
    /// Scenarios of the calendar and of the what-ifs.
    pub scenarios: usize,
    pub tags: Vec<String>,
    /// Most serious first.
    pub findings: Vec<Finding>,
    pub warnings: Vec<String>,
    pub inputs: Vec<InputFile>,
}

impl SeasonCheck {
    pub fn is_clear(&self) -> bool {
        self.findings.iter().all(|f| f.gravity != Gravity::Problem)
    }
}

/// Checks a season that loaded.
pub fn check_season(season: &Season, resolved: &Resolved, warnings: &[Diagnostic]) -> SeasonCheck {
    let mut findings = set_up_findings(&resolved.set_up());
    for site in &resolved.sites {
        for tag in &resolved.tags {
            let cover = cover::check(&site.course, tag.curve.covered_mhz());
            if cover.verdict == CoverVerdict::Covered {
                continue;
            }
            let mut found = Vec::new();
            cover_findings(&cover, &tag.name, &site.course, &mut found);
            for mut finding in found {
                // A tag not swept in a band is barred from its races, no more.
                finding.gravity = finding.gravity.min(Gravity::Warning);
                finding.place = format!("{} with {}", site.course.file_hash.0, tag.name);
                if !findings.contains(&finding) {
                    findings.push(finding);
                }
            }
        }
    }
    findings.sort_by_key(|f| std::cmp::Reverse(f.gravity as u8));
    let input = |(path, sha256): &(String, String)| InputFile { path: path.clone(), sha256: sha256.clone() };
    SeasonCheck {
        schema_version: SCHEMA_VERSION,
        version: env!("CARGO_PKG_VERSION").to_owned(),
        season: season.name.clone(),
        note: season.note.clone(),
        scenarios: resolved.sites.len(),
        tags: resolved.tags.iter().map(|tag| tag.name.clone()).collect(),
        findings,
        warnings: warning_lines(warnings),
        inputs: resolved.file_hashes.iter().map(input).collect(),
    }
}
