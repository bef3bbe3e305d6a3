//! Link profiles of the air interface and the reader sensitivity we assume for them.

use super::walk::Section;
use crate::diag::codes;
use crate::limits;
use schemars::JsonSchema;
use serde::Serialize;

/// Division ratio of the air interface.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DivideRatio {
    Eight,
    SixtyFourThirds,
}

impl DivideRatio {
    pub fn value(self) -> f64 {
        match self {
            DivideRatio::Eight => 8.0,
            DivideRatio::SixtyFourThirds => 64.0 / 3.0,
        }
    }
}

/// Link profile of ISO/IEC 18000-63.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LinkProfile {
    /// Length of a data-0, µs (6.25..=25).
    pub tari_us: f64,
    /// Data-0 plus data-1, µs (2.5..=3 Tari).
    pub rtcal_us: f64,
    /// Sets the backscatter link frequency, µs (1.1..=3 RTcal).
    pub trcal_us: f64,
    pub divide_ratio: DivideRatio,
    /// 1 (FM0), 2, 4 or 8.
    pub miller: u8,
    /// Long preamble.
    pub trext: bool,
}

impl LinkProfile {
    /// Backscatter link frequency, kHz.
    pub fn blf_khz(&self) -> f64 {
        self.divide_ratio.value() / self.trcal_us * 1e3
    }
}

/// How a link profile is written: a name, or its lengths.
#[derive(Clone, Debug, Serialize, JsonSchema)]
#[serde(untagged)]
pub enum LinkForm {
    /// fm0_640, miller2_320, miller4_320, miller4_250, miller8_250 or fm0_40 (line code and backscatter link frequency, kHz).
    Name(String),
    /// Own lengths.
    Own(OwnLinkForm),
}

/// `[point.line.reader.link]` as written.
#[derive(Clone, Debug, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct OwnLinkForm {
    /// Length of a data-0, µs.
    pub tari_us: f64,
    /// Data-0 plus data-1, µs; 2.5 to 3 Tari.
    pub rtcal_us: f64,
    /// Sets the backscatter link frequency, µs; 1.1 to 3 RTcal.
    pub trcal_us: f64,
    /// `8` or `64/3`.
    pub divide_ratio: String,
    /// 1 (FM0), 2, 4 or 8.
    pub miller: u8,
    /// Long preamble.
    pub trext: bool,
}

impl From<&LinkProfile> for LinkForm {
    fn from(link: &LinkProfile) -> LinkForm {
        match PROFILES.iter().find(|(_, profile)| profile == link) {
            Some((name, _)) => LinkForm::Name((*name).to_owned()),
            None => LinkForm::Own(OwnLinkForm {
                tari_us: link.tari_us,
                rtcal_us: link.rtcal_us,
                trcal_us: link.trcal_us,
                divide_ratio: match link.divide_ratio {
                    DivideRatio::Eight => "8",
                    DivideRatio::SixtyFourThirds => "64/3",
                }
                .to_owned(),
                miller: link.miller,
                trext: link.trext,
            }),
        }
    }
}

const fn profile(tari_us: f64, rtcal_us: f64, trcal_us: f64, miller: u8, trext: bool) -> LinkProfile {
    LinkProfile { tari_us, rtcal_us, trcal_us, divide_ratio: DivideRatio::SixtyFourThirds, miller, trext }
}

/// Named profiles: line code and backscatter link frequency in kHz. Lengths within the ranges of ISO/IEC
/// 18000-63 (Tari: Soares Boaventura and Borges Carvalho, Radio Frequency Identification Engineering, 2025,
/// table 4.1; RTcal and TRcal from memory); the choice of the six is ours.
pub const PROFILES: [(&str, LinkProfile); 6] = [
    ("fm0_640", profile(6.25, 15.625, 100.0 / 3.0, 1, false)),
    ("miller2_320", profile(12.5, 31.25, 200.0 / 3.0, 2, false)),
    ("miller4_320", profile(12.5, 31.25, 200.0 / 3.0, 4, false)),
    ("miller4_250", profile(25.0, 75.0, 256.0 / 3.0, 4, false)),
    ("miller8_250", profile(25.0, 62.5, 256.0 / 3.0, 8, true)),
    ("fm0_40", LinkProfile { divide_ratio: DivideRatio::Eight, ..profile(25.0, 75.0, 200.0, 1, true) }),
];

/// What a reader takes when nothing is said: slow enough to be robust, quick enough for a crowd.
const DEFAULT: (&str, LinkProfile) = PROFILES[3];

pub const SENSITIVITY_SOURCE: &str = "our estimate: -80 dBm (example value of Soares Boaventura and Borges Carvalho, Radio Frequency Identification Engineering, 2025, table 3.3) at 62.5 kbit/s, moved by 10 log10 of the bit rate";

/// Sensitivity assumed for a link profile, dBm, to a tenth.
pub fn default_sensitivity_dbm(link: &LinkProfile) -> f64 {
    let bit_rate_khz = link.blf_khz() / f64::from(link.miller);
    ((-80.0 + 10.0 * libm::log10(bit_rate_khz / 62.5)) * 10.0).round() / 10.0
}

/// Reads `link` of a reader.
pub fn read(section: &Section) -> LinkProfile {
    const KEY: &str = "link";
    let Some(found) = section.find(KEY) else {
        section.walk.assume("reader.link".to_owned(), DEFAULT.0.to_owned(), "our estimate");
        return DEFAULT.1;
    };
    if !found.value.is_table() {
        return section.choice(KEY, &PROFILES).unwrap_or(DEFAULT.1);
    }
    let table = section.section_of(KEY, &found, KEY);
    let help = "an own link needs tari_us, rtcal_us, trcal_us, divide_ratio, miller and trext";
    let tari = table.number_required("tari_us", &limits::TARI_US, help);
    let rtcal = table.number_required("rtcal_us", &limits::RTCAL_US, help);
    let trcal = table.number_required("trcal_us", &limits::TRCAL_US, help);
    let ratios = [("8", DivideRatio::Eight), ("64/3", DivideRatio::SixtyFourThirds)];
    let divide_ratio = table.choice("divide_ratio", &ratios);
    let miller = table.whole("miller", &limits::MILLER);
    let trext = table.boolean("trext");
    for (key, set) in [
        ("divide_ratio", table.find("divide_ratio").is_some()),
        ("miller", table.find("miller").is_some()),
        ("trext", table.find("trext").is_some()),
    ] {
        if !set {
            table.missing(key, help);
        }
    }
    table.finish();
    let note = |key: &'static str, message: String| {
        let span = table.find(key).map_or(table.span.clone(), |f| f.span);
        table.walk.note(
            table
                .walk
                .error(codes::LINK_TIMING, &span, message)
                .label("ISO/IEC 18000-63, from memory")
                .help("take a named profile if unsure: fm0_640, miller2_320, miller4_320, miller4_250, miller8_250, fm0_40"),
        );
    };
    if let Some(value) = miller.filter(|m| ![1, 2, 4, 8].contains(m)) {
        note("miller", format!("miller = {value} is none of 1, 2, 4, 8"));
    }
    // A hundredth of slack: lengths are often written rounded.
    let outside = |value: f64, low: f64, high: f64| value < 0.99 * low || value > 1.01 * high;
    if let (Some(tari), Some(rtcal)) = (tari, rtcal)
        && outside(rtcal, 2.5 * tari, 3.0 * tari)
    {
        note("rtcal_us", format!("rtcal_us = {rtcal} is outside 2.5 to 3 times tari_us = {tari}"));
    }
    if let (Some(rtcal), Some(trcal)) = (rtcal, trcal)
        && outside(trcal, 1.1 * rtcal, 3.0 * rtcal)
    {
        note("trcal_us", format!("trcal_us = {trcal} is outside 1.1 to 3 times rtcal_us = {rtcal}"));
    }
    LinkProfile {
        tari_us: tari.unwrap_or(DEFAULT.1.tari_us),
        rtcal_us: rtcal.unwrap_or(DEFAULT.1.rtcal_us),
        trcal_us: trcal.unwrap_or(DEFAULT.1.trcal_us),
        divide_ratio: divide_ratio.unwrap_or(DEFAULT.1.divide_ratio),
        miller: miller.unwrap_or(4) as u8,
        trext: trext.unwrap_or(false),
    }
}
