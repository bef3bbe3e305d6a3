//! One reader: its antennas, link profile, session, sensitivity, and how it takes its turns.

use super::antenna::{self, Antenna, AntennaForm};
use super::link::{self, LinkForm};
use super::region::Region;
use super::walk::Section;
use crate::diag::codes;
use crate::limits;
use schemars::JsonSchema;
use serde::Serialize;

pub use super::link::{DivideRatio, LinkProfile};

/// Inventoried flag the reader works with.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Session {
    S0,
    S1,
    S2,
    S3,
}

impl Session {
    pub const NAMES: [(&str, Session); 4] =
        [("S0", Session::S0), ("S1", Session::S1), ("S2", Session::S2), ("S3", Session::S3)];
    pub fn key(self) -> &'static str {
        Session::NAMES[self as usize].0
    }
    /// Shortest time a read tag keeps quiet, s. Source: EPC Gen2 v1.2, 6.3.2.2, persistence values
    /// (second-hand: S1 0.5 to 5 s, S2 and S3 more than 2 s once out of the field; S0 ends with the power).
    fn least_persistence_s(self) -> f64 {
        [0.0, 0.5, 2.0, 2.0][self as usize]
    }
}

#[derive(Clone, Debug, PartialEq)]
pub struct Reader {
    pub name: String,
    pub link: LinkProfile,
    pub session: Session,
    /// How long a read tag keeps quiet once read, s (0 for S0).
    pub persistence_s: f64,
    /// Received power at which 90 % of 128-bit replies decode in this link profile, dBm.
    pub sensitivity_dbm: f64,
    /// Rise of the sensitivity by other readers and leakage, dB.
    pub interference_db: f64,
    /// EPC length, bits.
    pub epc_bits: u32,
    /// Time on one port before the next, s.
    pub port_dwell_s: f64,
    /// Time on one frequency before the next, s (at most the region's).
    pub hop_dwell_s: f64,
    /// Frequencies in use, MHz (a subset of the region's, or pinned).
    pub channels_mhz: Vec<f64>,
    /// Pins the frame length to a number of slots; `None`: the power of two that serves the contenders best.
    pub frame_slots: Option<u32>,
    /// Pins the round's duration, s; `None`: from the air interface.
    pub round_s: Option<f64>,
    /// Connectors it has, multiplexers included; `None`: not stated.
    pub ports: Option<u32>,
    pub antennas: Vec<Antenna>,
}

/// `[[point.line.reader]]` as written; every key but `name` and `antenna` may also stand in `[every_reader]`.
#[derive(Clone, Debug, Default, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ReaderForm {
    /// Name in reports; default `reader 1` and so on.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
    /// Link profile: fm0_640, miller2_320, miller4_320, miller4_250, miller8_250, fm0_40 or a table.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub link: Option<LinkForm>,
    /// S0, S1, S2 or S3.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub session: Option<String>,
    /// How long a read tag keeps quiet, s.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub persistence_s: Option<f64>,
    /// Received power at which 90 % of 128-bit replies decode, dBm.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sensitivity_dbm: Option<f64>,
    /// Rise of the sensitivity by other readers and leakage, dB.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub interference_db: Option<f64>,
    /// EPC length, bits, a multiple of 16.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub epc_bits: Option<u32>,
    /// Time on one port before the next, s.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub port_dwell_s: Option<f64>,
    /// Time on one channel before the next, s; at most the region's.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub hop_dwell_s: Option<f64>,
    /// Channels in use, MHz; default: the region's.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub channels_mhz: Option<Vec<f64>>,
    /// Pins the frame length, slots.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub frame_slots: Option<u32>,
    /// Pins the duration of a round, s.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub round_s: Option<f64>,
    /// Connectors for antennas, multiplexers included; more antennas are refused.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ports: Option<u32>,
    /// Its antennas, at most 32.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub antenna: Vec<AntennaForm>,
}

impl From<&Reader> for ReaderForm {
    fn from(r: &Reader) -> ReaderForm {
        ReaderForm {
            name: Some(r.name.clone()),
            link: Some((&r.link).into()),
            session: Some(r.session.key().to_owned()),
            persistence_s: Some(r.persistence_s),
            sensitivity_dbm: Some(r.sensitivity_dbm),
            interference_db: Some(r.interference_db),
            epc_bits: Some(r.epc_bits),
            port_dwell_s: Some(r.port_dwell_s),
            hop_dwell_s: Some(r.hop_dwell_s),
            channels_mhz: Some(r.channels_mhz.clone()),
            frame_slots: r.frame_slots,
            round_s: r.round_s,
            ports: r.ports,
            antenna: r.antennas.iter().map(Into::into).collect(),
        }
    }
}

/// Most antennas of one reader.
const MOST_ANTENNAS: usize = 32;

/// Reads one reader; `number` counts from 1 and names it when the file does not.
pub fn read(section: &Section, number: usize, region: Option<&Region>, every_antenna: &Section) -> Reader {
    let link = link::read(section);
    let session = match section.find("session") {
        Some(_) => section.choice("session", &Session::NAMES).unwrap_or(Session::S1),
        None => {
            section.walk.assume("reader.session".to_owned(), "S1".to_owned(), "common practice");
            Session::S1
        }
    };
    let region_dwell_s = region.map_or(limits::HOP_DWELL_S.max, |r| r.dwell_s);
    let hop_dwell_s = section.number("hop_dwell_s", &limits::HOP_DWELL_S).unwrap_or(region_dwell_s);
    if let (Some(found), Some(region)) = (section.find("hop_dwell_s"), region)
        && hop_dwell_s > region.dwell_s
    {
        section.walk.note(
            section
                .walk
                .error(
                    codes::DWELL_TOO_LONG,
                    &found.span,
                    format!(
                        "hop_dwell_s = {hop_dwell_s} is above the {} s of {}",
                        region.dwell_s, region.name
                    ),
                )
                .label(region.source.clone())
                .help("shorten it, or leave the key out to take the region's dwell"),
        );
    }
    let persistence_s = section.number_or(
        "persistence_s",
        &limits::PERSISTENCE_S,
        session.least_persistence_s(),
        "EPC Gen2 v1.2, 6.3.2.2, the shortest time allowed for the session (second-hand)",
    );
    if session == Session::S0 && persistence_s > 0.0 {
        section.conflict(
            "persistence_s",
            "session",
            "session S0 forgets at once, so persistence_s must be 0",
            "take session S1 to S3, or leave persistence_s out",
        );
    }
    let reader = Reader {
        name: section.name("name").unwrap_or_else(|| format!("reader {number}")),
        link,
        session,
        persistence_s,
        sensitivity_dbm: section.number_or(
            "sensitivity_dbm",
            &limits::SENSITIVITY_DBM,
            link::default_sensitivity_dbm(&link),
            link::SENSITIVITY_SOURCE,
        ),
        interference_db: section.number_or("interference_db", &limits::INTERFERENCE_DB, 3.0, "our estimate"),
        epc_bits: read_epc_bits(section),
        port_dwell_s: section.number_or("port_dwell_s", &limits::PORT_DWELL_S, 0.05, "our estimate"),
        hop_dwell_s,
        channels_mhz: read_channels(section, region),
        frame_slots: section.whole("frame_slots", &limits::FRAME_SLOTS).map(|v| v as u32),
        round_s: section.number("round_s", &limits::ROUND_S),
        ports: section.whole("ports", &limits::PORTS).map(|v| v as u32),
        antennas: section
            .tables_in("antenna", "antenna", 1..=MOST_ANTENNAS)
            .into_iter()
            .enumerate()
            .flat_map(|(i, table)| antenna::read(&table.with_fallback(every_antenna), i + 1))
            .collect(),
    };
    section.finish();
    if let (Some(ports), Some(found)) = (reader.ports, section.find("ports"))
        && reader.antennas.len() > ports as usize
    {
        let message = format!("{} antennas on a reader of {ports} ports", reader.antennas.len());
        section.walk.note(
            section
                .walk
                .error(codes::COUNT, &found.span, message)
                .label("each antenna, and each element fed in turn, needs a port")
                .help("share the antennas out over readers, or state the ports of the multiplexer"),
        );
    }
    if reader.antennas.is_empty() && section.find_own("antenna").is_none() {
        section.missing(
            "antenna",
            "give at least one antenna, for example antenna = [{ kind = \"mat\", y_m = 0 }]",
        );
    }
    reader
}

fn read_epc_bits(section: &Section) -> u32 {
    const SOURCE: &str = "96 bits, the usual EPC length, common practice";
    let Some(found) = section.find("epc_bits") else {
        return section.number_or("epc_bits", &limits::EPC_BITS, 96.0, SOURCE) as u32;
    };
    let bits = section.whole("epc_bits", &limits::EPC_BITS).unwrap_or(96);
    if !bits.is_multiple_of(16) {
        section.walk.note(
            section
                .walk
                .error(codes::OUT_OF_RANGE, &found.span, format!("epc_bits = {bits} is not a multiple of 16"))
                .label("an EPC is made of 16-bit words")
                .help("96 and 128 are usual"),
        );
    }
    bits as u32
}

fn read_channels(section: &Section, region: Option<&Region>) -> Vec<f64> {
    let regional = region.map(|r| r.channels_mhz.clone()).unwrap_or_default();
    let Some(found) = section.find("channels_mhz") else { return regional };
    let Some(channels) = section.numbers("channels_mhz", &limits::FREQ_MHZ) else { return regional };
    if channels.is_empty() {
        section.walk.note(
            section
                .walk
                .error(codes::COUNT, &found.span, "`channels_mhz` is empty")
                .label("a reader needs a channel")
                .help("leave the key out to take the region's channels"),
        );
    }
    for &channel in &channels {
        let Some(region) = region else { break };
        if !region.contains(channel) {
            section.walk.note(
                section
                    .walk
                    .error(
                        codes::CHANNEL_OUTSIDE_BAND,
                        &found.span,
                        format!("channel {channel} MHz lies outside {}", region.bands_in_words()),
                    )
                    .label(region.source.clone())
                    .help("define a region of your own to work outside this one (shielded chamber only)"),
            );
        }
    }
    channels
}
