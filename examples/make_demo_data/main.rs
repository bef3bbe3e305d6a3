//! Makes all of `demo-data`: `cargo run --example make_demo_data -- demo-data`: five invented tags, already referred
//! (`tags`), and the raw chamber files of three of them, with faults put in on purpose (`raw`).
//!
//! Every tag is a row of plain numbers below; nothing in it was measured. In each mount the threshold follows one
//! resonance, P(f) = best + 10·log10(1 + ((f − f0)/w)²), with w the half width at 3 dB, 1.2 times wider above f0.
//! The body lowers the resonance and costs gain: +6 to +10 dB at 10 mm and +14 to +28 dB at about 2 mm for a plain
//! dipole. Source of these shifts: computed gain of a half-wave and a short dipole over muscle (C. Gabriel's
//! permittivity, 915 MHz) at 10 and 2 mm; the tags that stand the body better are free inventions.
//! The backscatter efficiency holds the tag's gain twice, so it falls by about twice the shift in dB; off resonance
//! by 1.3 times the threshold's rise, because both chip states are mismatched.
//! Samples: a common offset and a frequency shift each, small placement errors per mount, reading noise.
//! The draws come from the crate's counter-based streams, so the files are the same on every run.

mod campaign;
mod designs;
mod raw;

use designs::{DESIGNS, Design, MAX_POWER_DBM, Mount, NOISE_SD_DB, mounts, rise_db};
use std::fmt::Write;
use std::path::Path;

fn main() -> std::io::Result<()> {
    let root = std::env::args().nth(1).unwrap_or_else(|| "demo-data".into());
    for (number, design) in DESIGNS.iter().enumerate() {
        let folder = Path::new(&root).join("tags").join(design.name);
        std::fs::create_dir_all(&folder)?;
        let mounts = mounts(design);
        std::fs::write(folder.join("tag.toml"), tag_toml(design, &mounts))?;
        for (m, mount) in mounts.iter().enumerate() {
            std::fs::write(folder.join(mount.file), sweep_csv(design, number, mount, m))?;
        }
    }
    raw::write(&Path::new(&root).join("raw"))
}

fn tag_toml(design: &Design, mounts: &[Mount]) -> String {
    let files = mounts.iter().map(|m| format!("\"{}\"", m.file)).collect::<Vec<_>>().join(", ");
    format!(
        "# Invented tag, made by examples/make_demo_data; nothing here was measured.\n\
         name = \"{}\"\n\
         note = \"Invented tag: {}\"\n\
         own_spacer_mm = {:?}\n\
         price = {}\n\
         level = \"referred\"\n\
         taken = \"invented: {} samples, 850 to 950 MHz in 2 MHz steps, power raised to {MAX_POWER_DBM} dBm at the tag\"\n\
         lab_bias_sd_db = 0.5\n\
         sweeps = [{files}]\n",
        design.name, design.note, design.spacer_mm, design.price, design.samples,
    )
}

fn sweep_csv(design: &Design, number: usize, mount: &Mount, m: usize) -> String {
    let mut out = format!(
        "# Invented readings of the invented tag {}, made by examples/make_demo_data: one resonance per mount, drawn sample offsets and noise.\n\
         sample,phantom,gap_mm,freq_mhz,threshold_dbm,backscatter_db,backscatter_at_dbm,link\n",
        design.name,
    );
    let (phantom, gap) = match mount.gap_mm {
        None => ("none", String::new()),
        Some(gap) => ("saline_torso", gap.to_string()),
    };
    for sample in 0..design.samples {
        let (offset, shift) = designs::sample(number, sample);
        let (placement, mut noise) = designs::noise(number, sample, m as u64);
        let letter = char::from(b'A' + sample as u8);
        for k in 0..=50 {
            let freq_mhz = 850.0 + 2.0 * f64::from(k);
            let rise = rise_db(mount, freq_mhz, shift);
            let threshold = mount.best_dbm + rise + offset + placement + NOISE_SD_DB * noise.normal();
            let backscatter = mount.efficiency_db - 1.3 * rise - offset + 1.5 * NOISE_SD_DB * noise.normal();
            let level = if threshold > MAX_POWER_DBM {
                format!(">{MAX_POWER_DBM:.1}")
            } else {
                format!("{threshold:.2}")
            };
            // A tag that sleeps at the reading power sends nothing back: unknown, not zero.
            let (backscatter, at) = if threshold <= mount.read_at_dbm {
                (format!("{backscatter:.2}"), format!("{:.1}", mount.read_at_dbm))
            } else {
                (String::new(), String::new())
            };
            writeln!(out, "{letter},{phantom},{gap},{freq_mhz},{level},{backscatter},{at},m4_blf256")
                .expect("writing to a string never fails");
        }
    }
    out
}
