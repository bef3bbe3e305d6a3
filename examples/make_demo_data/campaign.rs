//! Raw files of one invented tag read in a longer campaign: batches, days and link profiles.
//!
//! `cedar`, one long table a file: vertical bars, kHz, generator level in mW, power steps of 0.2 dB.
//! `batches.txt`: six samples each of the prototype P and the batches W1 and W2 in three mounts. W1 is like P; W2 needs
//! 1.2 dB more, and 0.8 dB more than that on its spacer: the spacer came out thin.
//! `week.txt`: samples P1 to P3 in free air, twice a day on six days; on Thursday all read 1.5 dB higher (another
//! cable), on Tuesday the samples were placed carelessly (0.8 dB instead of 0.15 dB).
//! `links.txt`: the same three samples at two faster link profiles: 0.7 and 1.5 dB more needed.

use super::designs::{self, DESIGNS, Mount, NOISE_SD_DB, mounts, rise_db};
use super::raw::{bench, forward_db, head, setup};
use readodds::random::{Purpose, Stream};
use readodds::units::db_to_power_ratio;
use std::fmt::Write;
use std::path::Path;

const TAG: usize = 2;
const BATCHES: [(&str, f64, f64); 3] = [("P", 0.0, 0.0), ("W1", 0.1, 0.0), ("W2", 1.2, 0.8)];
const PER_BATCH: usize = 6;
const DAYS: [(&str, f64, f64); 6] = [
    ("Mon", 0.0, 0.15),
    ("Tue", 0.0, 0.8),
    ("Wed", 0.0, 0.15),
    ("Thu", 1.5, 0.15),
    ("Fri", 0.0, 0.15),
    ("Sat", 0.0, 0.15),
];
const LINKS: [(&str, f64); 3] = [("miller4_256", 0.0), ("miller2_320", 0.7), ("fm0_640", 1.5)];
const STEP_DB: f64 = 0.2;
const MINUTES_A_SWEEP: f64 = 3.0;
const OK: &str = "writing to a string never fails";
const COLUMNS: &str = "batch|sample|phantom|gap|link|day|run|minute|f/kHz|P/mW|reply/dBm\n";

/// Where a row belongs.
struct Row<'a> {
    batch: &'a str,
    sample: String,
    link: &'a str,
    day: &'a str,
    run: &'a str,
    minute: f64,
}

/// One sweep. `extra_db` raises the threshold, `placing_sd_db` is the error of placing the sample.
fn sweep(
    text: &mut String,
    row: &Row<'_>,
    number: usize,
    mount: &Mount,
    stream: u64,
    extra_db: f64,
    placing_sd_db: f64,
) {
    let (offset, shift) = designs::sample(TAG, number);
    // Samples of one batch are more alike than those of a whole production.
    let offset = 0.5 * offset + extra_db;
    let mut noise = Stream::new(designs::SEED, Purpose::Campaign, 50, number as u64, stream);
    let placing = placing_sd_db * noise.normal();
    for k in 0..=20 {
        let freq_mhz = 850.0 + 5.0 * f64::from(k);
        let rise = rise_db(mount, freq_mhz, shift);
        let threshold = mount.best_dbm + rise + offset + placing + NOISE_SD_DB * noise.normal();
        let efficiency = mount.efficiency_db - 1.3 * rise - offset + 1.5 * NOISE_SD_DB * noise.normal();
        // The search climbs in steps and stops at the first level that wakes the tag.
        let woke = ((threshold - forward_db(freq_mhz)) / STEP_DB).ceil() * STEP_DB;
        let reply = woke + 2.0 * forward_db(freq_mhz) + efficiency;
        let (phantom, gap) = match mount.gap_mm {
            None => ("none", String::new()),
            Some(gap) => ("saline_torso", gap.to_string()),
        };
        writeln!(
            text,
            "{}|{}|{phantom}|{gap}|{}|{}|{}|{}|{:.0}|{:.4}|{reply:.2}",
            row.batch,
            row.sample,
            row.link,
            row.day,
            row.run,
            row.minute,
            freq_mhz * 1e3,
            db_to_power_ratio(woke),
        )
        .expect(OK);
    }
}

fn batches() -> String {
    let mut text = String::new();
    for (b, (batch, extra, close)) in BATCHES.iter().enumerate() {
        for s in 0..PER_BATCH {
            for (m, mount) in mounts(&DESIGNS[TAG]).iter().enumerate() {
                let number = PER_BATCH * b + s;
                let row = Row {
                    batch,
                    sample: format!("{batch}-{}", s + 1),
                    link: LINKS[0].0,
                    day: "",
                    run: "",
                    minute: MINUTES_A_SWEEP * (3 * number + m) as f64,
                };
                let extra = extra + if m == 2 { *close } else { 0.0 };
                sweep(&mut text, &row, number, mount, m as u64, extra, 0.15);
            }
        }
    }
    text
}

fn week() -> String {
    let mut text = String::new();
    let mount = &mounts(&DESIGNS[TAG])[0];
    for (d, (day, extra, placing)) in DAYS.iter().enumerate() {
        for run in 0..2usize {
            for s in 0..3usize {
                let row = Row {
                    batch: "P",
                    sample: format!("P-{}", s + 1),
                    link: LINKS[0].0,
                    day,
                    run: ["1", "2"][run],
                    minute: 1440.0 * (d + 1) as f64 + MINUTES_A_SWEEP * (3 * run + s) as f64,
                };
                sweep(&mut text, &row, s, mount, 100 + (2 * d + run) as u64, *extra, *placing);
            }
        }
    }
    text
}

fn links() -> String {
    let mut text = String::new();
    for (l, (link, extra)) in LINKS.iter().enumerate().skip(1) {
        for s in 0..3usize {
            for m in [0, 2] {
                let row = Row {
                    batch: "P",
                    sample: format!("P-{}", s + 1),
                    link,
                    day: "",
                    run: "",
                    minute: 9000.0 + MINUTES_A_SWEEP * (6 * l + 2 * s + m / 2) as f64,
                };
                let stream = (200 + 10 * l + m) as u64;
                sweep(&mut text, &row, s, &mounts(&DESIGNS[TAG])[m], stream, *extra, 0.15);
            }
        }
    }
    text
}

pub fn cedar(folder: &Path) -> std::io::Result<()> {
    bench(folder)?;
    let design = &DESIGNS[TAG];
    let mut toml = head(design.name, design.note, design.spacer_mm, design.price);
    toml += "prototype_batch = \"P\"\nlink = \"miller4_256\"\n\n\
             [export]\nseparator = \"pipe\"\n\n\
             [columns]\nfreq = { name = \"f/kHz\", unit = \"kHz\" }\nthreshold = { name = \"P/mW\", unit = \"mW\" }\n\
             reply = { name = \"reply/dBm\", unit = \"dBm\" }\nbatch = \"batch\"\nsample = \"sample\"\nphantom = \"phantom\"\n\
             gap_mm = \"gap\"\nlink = \"link\"\nday = \"day\"\nrepeat = \"run\"\nminute = \"minute\"\n";
    toml += &setup("");
    for (name, tari, blf, miller) in
        [("miller4_256", 25.0, 256.0, 4), ("miller2_320", 12.5, 320.0, 2), ("fm0_640", 6.25, 640.0, 1)]
    {
        write!(toml, "\n[[link_profile]]\nname = \"{name}\"\ntari_us = {tari:?}\nblf_khz = {blf:?}\nmiller = {miller}\n")
            .expect(OK);
    }
    for (file, rows) in [("batches.txt", batches()), ("week.txt", week()), ("links.txt", links())] {
        let first = format!(
            "# Invented readings of the invented tag {}, made by examples/make_demo_data.\n",
            design.name
        );
        std::fs::write(folder.join(file), format!("{first}{COLUMNS}{rows}"))?;
        write!(toml, "\n[[sweep]]\nfile = \"{file}\"\n").expect(OK);
    }
    std::fs::write(folder.join("tag.toml"), toml)
}
