//! Makes the five invented tags of `demo-data/tags`: `cargo run --example make_demo_data -- demo-data/tags`.
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

use readodds::random::{Purpose, Stream};
use readodds::units::power_ratio_to_db;
use std::fmt::Write;
use std::path::Path;

const SEED: u64 = 2026;
const MAX_POWER_DBM: f64 = 12.0;
const OFFSET_SD_DB: f64 = 0.6;
const SHIFT_SD_MHZ: f64 = 1.4;
const PLACEMENT_SD_DB: f64 = 0.15;
const NOISE_SD_DB: f64 = 0.12;

struct Mount {
    file: &'static str,
    /// Gap with the own spacer, mm; `None` in free air.
    gap_mm: Option<f64>,
    best_dbm: f64,
    resonance_mhz: f64,
    half_width_mhz: f64,
    efficiency_db: f64,
    /// Incident power at which the backscatter is read, dBm.
    read_at_dbm: f64,
}

struct Design {
    name: &'static str,
    note: &'static str,
    spacer_mm: f64,
    price: f64,
    samples: usize,
    /// Best threshold (dBm), resonance, half width (MHz), efficiency (dB): free air, 10 mm, own spacer on the phantom.
    mounts: [[f64; 4]; 3],
}

const DESIGNS: [Design; 5] = [
    Design {
        name: "alder",
        note: "a plain dipole, best in free air and poor close to the body",
        spacer_mm: 1.5,
        price: 0.11,
        samples: 4,
        mounts: [[-20.2, 918.0, 42.0, -3.5], [-12.4, 902.0, 48.0, -18.5], [1.5, 884.0, 60.0, -43.0]],
    },
    Design {
        name: "birch",
        note: "a body-tolerant design, steady in all mounts",
        spacer_mm: 2.0,
        price: 0.38,
        samples: 5,
        mounts: [[-17.2, 912.0, 75.0, -6.5], [-16.0, 908.0, 80.0, -8.5], [-13.2, 902.0, 85.0, -14.0]],
    },
    Design {
        name: "cedar",
        note: "a thick 3 mm spacer and a high threshold",
        spacer_mm: 3.0,
        price: 0.29,
        samples: 3,
        mounts: [[-15.4, 905.0, 65.0, -7.5], [-13.6, 900.0, 70.0, -10.5], [-10.2, 893.0, 75.0, -17.5]],
    },
    Design {
        name: "dogwood",
        note: "tuned to the lower European band (865 to 868 MHz)",
        spacer_mm: 2.0,
        price: 0.21,
        samples: 3,
        mounts: [[-18.8, 884.0, 22.0, -4.5], [-14.2, 868.0, 26.0, -13.0], [-8.5, 864.0, 32.0, -24.0]],
    },
    Design {
        name: "elm",
        note: "a small dipole that often does not wake close to the body",
        spacer_mm: 1.5,
        price: 0.08,
        samples: 3,
        mounts: [[-17.6, 928.0, 48.0, -5.0], [-9.4, 908.0, 52.0, -20.5], [10.2, 886.0, 55.0, -58.0]],
    },
];

fn main() -> std::io::Result<()> {
    let root = std::env::args().nth(1).unwrap_or_else(|| "demo-data/tags".into());
    for (number, design) in DESIGNS.iter().enumerate() {
        let folder = Path::new(&root).join(design.name);
        std::fs::create_dir_all(&folder)?;
        let mounts = mounts(design);
        std::fs::write(folder.join("tag.toml"), tag_toml(design, &mounts))?;
        for (m, mount) in mounts.iter().enumerate() {
            std::fs::write(folder.join(mount.file), sweep_csv(design, number, mount, m))?;
        }
    }
    Ok(())
}

fn mounts(design: &Design) -> [Mount; 3] {
    let places = [
        ("free_air.csv", None),
        ("phantom_10mm.csv", Some(10.0)),
        ("phantom_close.csv", Some(design.spacer_mm)),
    ];
    let read_at_dbm = [-6.0, 0.0, MAX_POWER_DBM];
    std::array::from_fn(|m| {
        let [best_dbm, resonance_mhz, half_width_mhz, efficiency_db] = design.mounts[m];
        let (file, gap_mm) = places[m];
        Mount {
            file,
            gap_mm,
            best_dbm,
            resonance_mhz,
            half_width_mhz,
            efficiency_db,
            read_at_dbm: read_at_dbm[m],
        }
    })
}

fn tag_toml(design: &Design, mounts: &[Mount]) -> String {
    let files = mounts.iter().map(|m| format!("\"{}\"", m.file)).collect::<Vec<_>>().join(", ");
    format!(
        "# Invented tag, made by examples/make_demo_data.rs; nothing here was measured.\n\
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
        "# Invented readings of the invented tag {}, made by examples/make_demo_data.rs: one resonance per mount, drawn sample offsets and noise.\n\
         sample,phantom,gap_mm,freq_mhz,threshold_dbm,backscatter_db,backscatter_at_dbm,link\n",
        design.name,
    );
    let (phantom, gap) = match mount.gap_mm {
        None => ("none", String::new()),
        Some(gap) => ("saline_torso", gap.to_string()),
    };
    for sample in 0..design.samples {
        // The sample's own stream gives the same offset and shift in every mount.
        let mut own = Stream::new(SEED, Purpose::Campaign, number as u64, sample as u64, 0);
        let (offset, shift) = (OFFSET_SD_DB * own.normal(), SHIFT_SD_MHZ * own.normal());
        let mut noise = Stream::new(SEED, Purpose::Campaign, number as u64, sample as u64, 1 + m as u64);
        let placement = PLACEMENT_SD_DB * noise.normal();
        let letter = char::from(b'A' + sample as u8);
        for k in 0..=50 {
            let freq_mhz = 850.0 + 2.0 * f64::from(k);
            let away = freq_mhz - mount.resonance_mhz - shift;
            let width = mount.half_width_mhz * if away > 0.0 { 1.2 } else { 1.0 };
            let rise = power_ratio_to_db(1.0 + (away / width) * (away / width));
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
