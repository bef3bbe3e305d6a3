//! Raw chamber files of two invented tags, with faults put in on purpose.
//!
//! `alder`: one file per sample and mount, semicolons, decimal commas, Hz, reply in dBV, power steps of 0.2 dB; a
//! reflector makes a way 12 m longer and ripples every level by ±0.6 dB, and the free-air and 10 mm files of sample
//! C are swapped.
//! `birch`: one column per sample, tabs, MHz, two repeats; the second repeat over the phantom reads 1 dB higher, as
//! after a cable warmed up in the pause before it (see `minute`).
//! The bench: a 6 dBi antenna 1.2 m away, its gain as CSV, the cable as Touchstone, an empty-room file.

use super::designs::{self, DESIGNS, Mount, NOISE_SD_DB, mounts, rise_db};
use readodds::units::{amplitude_ratio_to_db, free_space_loss_db};
use std::fmt::Write;
use std::path::Path;

const DISTANCE_M: f64 = 1.2;
const MAX_GENERATOR_DBM: f64 = 40.0;
const STEP_DB: f64 = 0.2;
const REFLECTOR_WAY_M: f64 = 12.0;
const RIPPLE_DB: f64 = 0.6;
const DRIFT_DB: f64 = 1.0;
const NOISE_FLOOR_DBM: f64 = -95.0;
const OK: &str = "writing to a string never fails";

fn gain_dbi(freq_mhz: f64) -> f64 {
    6.0 + 0.004 * (freq_mhz - 900.0)
}
fn cable_db(freq_mhz: f64) -> f64 {
    1.5 + 0.002 * (freq_mhz - 900.0)
}
/// Generator level to incident power, dB.
pub fn forward_db(freq_mhz: f64) -> f64 {
    gain_dbi(freq_mhz) - cable_db(freq_mhz) - free_space_loss_db(freq_mhz, DISTANCE_M)
}
fn frequencies() -> impl Iterator<Item = f64> {
    (0..=50).map(|k| 850.0 + 2.0 * f64::from(k))
}
/// Ripple of the incident power that the reflector makes, dB.
fn ripple_db(freq_mhz: f64) -> f64 {
    RIPPLE_DB * (2.0 * std::f64::consts::PI * freq_mhz * 1e6 * REFLECTOR_WAY_M / 299_792_458.0).cos()
}

/// Generator level that woke the sample (`None`: it never did) and analyser level of its reply, dBm.
struct Reading {
    freq_mhz: f64,
    woke_dbm: Option<f64>,
    reply_dbm: Option<f64>,
}

/// Readings of one sample in one mount: `number` of the tag, `stream` of the noise, `extra` dB of the session.
fn readings(
    number: usize,
    sample: usize,
    mount: &Mount,
    stream: u64,
    extra: impl Fn(f64) -> f64,
) -> Vec<Reading> {
    let (offset, shift) = designs::sample(number, sample);
    let (placement, mut noise) = designs::noise(number, sample, stream);
    frequencies()
        .map(|freq_mhz| {
            let rise = rise_db(mount, freq_mhz, shift);
            let threshold = mount.best_dbm + rise + offset + placement + NOISE_SD_DB * noise.normal();
            let efficiency = mount.efficiency_db - 1.3 * rise - offset + 1.5 * NOISE_SD_DB * noise.normal();
            let needed = threshold - forward_db(freq_mhz) + extra(freq_mhz);
            // The search climbs in steps and stops at the first level that wakes the tag.
            let woke = (needed / STEP_DB).ceil() * STEP_DB;
            let woke_dbm = (woke <= MAX_GENERATOR_DBM).then_some(woke);
            let reply_dbm = woke_dbm.map(|woke| {
                let incident = woke + forward_db(freq_mhz);
                incident + efficiency + forward_db(freq_mhz)
            });
            Reading { freq_mhz, woke_dbm, reply_dbm }
        })
        .collect()
}

pub fn write(root: &Path) -> std::io::Result<()> {
    alder(&root.join("alder"))?;
    birch(&root.join("birch"))?;
    super::campaign::cedar(&root.join("cedar"))
}

pub fn bench(folder: &Path) -> std::io::Result<()> {
    std::fs::create_dir_all(folder)?;
    let mut gain =
        "# Invented gain of the invented bench, made by examples/make_demo_data.\nfreq_mhz,gain_dbi\n"
            .to_owned();
    let mut cable =
        "! Invented cable of the invented bench, made by examples/make_demo_data.\n# MHz S DB R 50\n"
            .to_owned();
    for k in 0..=12 {
        let freq = 840.0 + 10.0 * f64::from(k);
        writeln!(gain, "{freq},{:.3}", gain_dbi(freq)).expect(OK);
        let loss = -cable_db(freq);
        writeln!(cable, "{freq} -26 0 {loss:.3} -40 {loss:.3} -40 -26 0").expect(OK);
    }
    std::fs::write(folder.join("antenna_gain.csv"), gain)?;
    std::fs::write(folder.join("cable.s2p"), cable)
}

pub fn head(name: &str, note: &str, spacer_mm: f64, price: f64) -> String {
    format!(
        "# Invented raw readings of the invented tag {name}, made by examples/make_demo_data; nothing here was measured.\n\
         name = \"{name}\"\nnote = \"Invented tag: {note}\"\nown_spacer_mm = {spacer_mm:?}\nprice = {price}\n\
         level = \"raw\"\ntaken = \"invented: generator, analyser and one antenna in a chamber\"\n"
    )
}

pub fn setup(reply_unit: &str) -> String {
    format!(
        "\n[setup]\ndistance_m = {DISTANCE_M}\nantenna_gain_file = \"antenna_gain.csv\"\ncable_loss_file = \"cable.s2p\"\n\
         antenna_largest_dimension_m = 0.3\nmax_generator_dbm = {MAX_GENERATOR_DBM:?}\npower_step_db = {STEP_DB}\n{reply_unit}\
         \n[uncertainty]\ngenerator_sd_db = 0.2\nanalyser_sd_db = 0.3\ncable_sd_db = 0.1\ngain_sd_db = 0.3\n\
         distance_half_width_m = 0.02\ngenerator_reflection = 0.2\nantenna_reflection = 0.1\npositioning_sd_db = 0.15\n"
    )
}

fn alder(folder: &Path) -> std::io::Result<()> {
    bench(folder)?;
    let design = &DESIGNS[0];
    let mut toml = head(design.name, design.note, design.spacer_mm, design.price);
    toml += "\n[export]\nseparator = \"semicolon\"\ndecimal = \"comma\"\nskip_lines = 1\ncomment = \"%\"\nno_answer = [\"---\"]\n\n\
             [columns]\nfreq = { name = \"F/Hz\", unit = \"Hz\" }\nthreshold = { name = \"Pgen/dBm\", unit = \"dBm\" }\n\
             reply = { name = \"Urx/dBV\", unit = \"dBV\" }\n";
    toml += &setup("impedance_ohm = 50.0\n");
    let comma = |value: f64, digits: usize| format!("{value:.digits$}").replace('.', ",");
    for sample in 0..design.samples {
        let letter = char::from(b'A' + sample as u8);
        for (m, mount) in mounts(design).iter().enumerate() {
            // Sample C: whoever named the files mixed up the first two.
            let place = if sample == 2 && m < 2 { 1 - m } else { m };
            let file = format!("{letter}_{}.txt", ["free_air", "10mm", "close"][place]);
            let mut text = format!(
                "% Invented readings of the invented tag {}, made by examples/make_demo_data.\n\
                 Session of an invented chamber\n\nF/Hz;Pgen/dBm;Urx/dBV\n",
                design.name
            );
            for r in readings(0, sample, mount, m as u64, ripple_db) {
                let generator = r.woke_dbm.map_or("---".to_owned(), |p| comma(p, 1));
                // dBm to dBV across 50 ohm.
                let dbv = r.reply_dbm.map(|p| p - 30.0 + 0.5 * amplitude_ratio_to_db(50.0));
                let reply = dbv.map_or("---".to_owned(), |v| comma(v, 2));
                writeln!(text, "{:.0};{generator};{reply}", r.freq_mhz * 1e6).expect(OK);
            }
            std::fs::write(folder.join(&file), text)?;
            write!(
                toml,
                "\n[[sweep]]\nfile = \"{letter}_{}.txt\"\nsample = \"{letter}\"\n",
                ["free_air", "10mm", "close"][m]
            )
            .expect(OK);
            match mount.gap_mm {
                None => writeln!(toml, "phantom = \"none\"").expect(OK),
                Some(gap) => writeln!(toml, "phantom = \"saline_torso\"\ngap_mm = {gap:?}").expect(OK),
            }
        }
    }
    let mut quiet = "% Invented readings of the empty room, made by examples/make_demo_data.\nTag removed\n\nF/Hz;Pgen/dBm;Urx/dBV\n".to_owned();
    for freq in frequencies() {
        let dbv = NOISE_FLOOR_DBM - 30.0 + 0.5 * amplitude_ratio_to_db(50.0);
        writeln!(quiet, "{:.0};20,0;{}", freq * 1e6, comma(dbv, 2)).expect(OK);
    }
    std::fs::write(folder.join("empty_room.txt"), quiet)?;
    toml += "\n[[sweep]]\nfile = \"empty_room.txt\"\nquiet_room = true\n";
    std::fs::write(folder.join("tag.toml"), toml)
}

fn birch(folder: &Path) -> std::io::Result<()> {
    bench(folder)?;
    let design = &DESIGNS[1];
    let letters: Vec<char> = (0..design.samples).map(|s| char::from(b'A' + s as u8)).collect();
    let mut toml = head(design.name, design.note, design.spacer_mm, design.price);
    toml += "\n[export]\nseparator = \"tab\"\nno_answer = [\"n/a\"]\n\n\
             [columns]\nfreq = { name = \"MHz\", unit = \"MHz\" }\nthreshold = { unit = \"dBm\" }\nreply = { unit = \"dBm\" }\n";
    toml += &setup("");
    let columns: Vec<String> = letters
        .iter()
        .map(|l| format!("  {{ sample = \"{l}\", threshold = \"{l} woke at\", reply = \"{l} reply\" }},\n"))
        .collect();
    for (m, mount) in mounts(design).iter().enumerate() {
        for repeat in 0..2u64 {
            let file = format!("{}_{}.tsv", ["free_air", "10mm", "close"][m], repeat + 1);
            let warm = if m > 0 && repeat == 1 { DRIFT_DB } else { 0.0 };
            let all: Vec<Vec<Reading>> = (0..design.samples)
                .map(|sample| readings(1, sample, mount, 10 + 2 * m as u64 + repeat, |_| warm))
                .collect();
            let mut text = format!(
                "# Invented readings of the invented tag {}, made by examples/make_demo_data.\nMHz",
                design.name
            );
            for l in &letters {
                write!(text, "\t{l} woke at\t{l} reply").expect(OK);
            }
            for (k, freq) in frequencies().enumerate() {
                write!(text, "\n{freq}").expect(OK);
                for sample in &all {
                    let cell = |v: Option<f64>| v.map_or("n/a".to_owned(), |v| format!("{v:.2}"));
                    write!(text, "\t{}\t{}", cell(sample[k].woke_dbm), cell(sample[k].reply_dbm)).expect(OK);
                }
            }
            std::fs::write(folder.join(&file), text + "\n")?;
            // First repeats in a row; a pause; then the second ones.
            let minute = [[0, 20], [40, 180], [60, 200]][m][repeat as usize];
            write!(
                toml,
                "\n[[sweep]]\nfile = \"{file}\"\nrepeat = \"{}\"\nminute = {minute:?}.0\n",
                repeat + 1
            )
            .expect(OK);
            match mount.gap_mm {
                None => writeln!(toml, "phantom = \"none\"").expect(OK),
                Some(gap) => writeln!(toml, "phantom = \"saline_torso\"\ngap_mm = {gap:?}").expect(OK),
            }
            write!(toml, "samples = [\n{}]\n", columns.concat()).expect(OK);
        }
    }
    std::fs::write(folder.join("tag.toml"), toml)
}
