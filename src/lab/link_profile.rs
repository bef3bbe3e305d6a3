//! What the name of a link profile stands for: the settings of the air interface at which a sweep was taken.

use super::toml_text;
use crate::diag::{Diagnostic, Source};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::sync::Arc;

/// `[[link_profile]]` of tag.toml.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct LinkProfileFile {
    /// The name used in the sweeps.
    pub name: String,
    /// Length of a data-0, µs, 6.25 to 25.
    pub tari_us: f64,
    /// Backscatter link frequency, kHz, 40 to 640.
    pub blf_khz: f64,
    /// 1 (FM0), 2, 4 or 8.
    pub miller: u8,
}

impl LinkProfileFile {
    fn code(&self) -> String {
        if self.miller == 1 { "FM0".to_owned() } else { format!("Miller {}", self.miller) }
    }

    /// Which settings differ from those of another profile, in words; `None` when none does.
    pub fn instead_of(&self, other: &LinkProfileFile) -> Option<String> {
        let number = |a: f64, b: f64, before: &str, unit: &str| {
            (a != b).then(|| format!("{before}{a} instead of {b} {unit}"))
        };
        let parts = [
            number(self.tari_us, other.tari_us, "Tari ", "µs"),
            number(self.blf_khz, other.blf_khz, "link frequency ", "kHz"),
            (self.miller != other.miller).then(|| format!("{} instead of {}", self.code(), other.code())),
        ];
        let parts: Vec<String> = parts.into_iter().flatten().collect();
        (!parts.is_empty()).then(|| parts.join(", "))
    }
}

/// Checks the limits of the air interface and that names are unique.
/// Source: ISO/IEC 18000-63, 6.3.1 (Tari 6.25 to 25 µs, link frequency 40 to 640 kHz, Miller 2, 4, 8 or FM0), from memory.
pub fn check(profiles: &[LinkProfileFile], source: &Arc<Source>, found: &mut Vec<Diagnostic>) {
    let place = || toml_text::place(source, &["link_profile"]);
    for (i, profile) in profiles.iter().enumerate() {
        let name = &profile.name;
        let mut wrong = |what: String, why: &str| {
            let message = format!("link profile {name:?}: {what}");
            found.push(Diagnostic::error("tag-range", message).at(source, place()).help(why));
        };
        if !(profile.tari_us >= 6.25 && profile.tari_us <= 25.0) {
            wrong(
                format!("tari_us = {} is outside 6.25..=25 µs", profile.tari_us),
                "the length of a data-0 in µs",
            );
        }
        if !(profile.blf_khz >= 40.0 && profile.blf_khz <= 640.0) {
            wrong(
                format!("blf_khz = {} is outside 40..=640 kHz", profile.blf_khz),
                "the backscatter link frequency in kHz, not in Hz",
            );
        }
        if ![1, 2, 4, 8].contains(&profile.miller) {
            wrong(format!("miller = {} is none of 1, 2, 4, 8", profile.miller), "1 stands for FM0");
        }
        if profiles[..i].iter().any(|other| other.name == *name) {
            wrong("named twice".to_owned(), "one table [[link_profile]] for each name");
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn differences_are_named_and_limits_held() {
        let one = |tari_us, blf_khz, miller| LinkProfileFile { name: "x".into(), tari_us, blf_khz, miller };
        let (slow, fast) = (one(12.5, 256.0, 4), one(6.25, 256.0, 1));
        assert_eq!(
            fast.instead_of(&slow).expect("differs"),
            "Tari 6.25 instead of 12.5 µs, FM0 instead of Miller 4"
        );
        assert_eq!(slow.instead_of(&slow), None);
        let mut found = Vec::new();
        let source = Source::new("tag.toml", "name = 'x'\n");
        check(std::slice::from_ref(&slow), &source, &mut found);
        assert!(found.is_empty());
        check(&[one(f64::NAN, 640_000.0, 3), slow], &source, &mut found);
        assert_eq!(found.len(), 4);
    }
}
