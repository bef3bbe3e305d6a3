//! The five invented tags as rows of plain numbers, and one reading of one of them.

use readodds::random::{Purpose, Stream};
use readodds::units::power_ratio_to_db;

pub const SEED: u64 = 2026;
pub const MAX_POWER_DBM: f64 = 12.0;
const OFFSET_SD_DB: f64 = 0.6;
const SHIFT_SD_MHZ: f64 = 1.4;
const PLACEMENT_SD_DB: f64 = 0.15;
pub const NOISE_SD_DB: f64 = 0.12;

pub struct Mount {
    pub file: &'static str,
    /// Gap with the own spacer, mm; `None` in free air.
    pub gap_mm: Option<f64>,
    pub best_dbm: f64,
    pub resonance_mhz: f64,
    pub half_width_mhz: f64,
    pub efficiency_db: f64,
    /// Incident power at which the backscatter is read, dBm.
    pub read_at_dbm: f64,
}

pub struct Design {
    pub name: &'static str,
    pub note: &'static str,
    pub spacer_mm: f64,
    pub price: f64,
    pub samples: usize,
    /// Best threshold (dBm), resonance, half width (MHz), efficiency (dB): free air, 10 mm, own spacer on the phantom.
    pub mounts: [[f64; 4]; 3],
}

pub const DESIGNS: [Design; 5] = [
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

/// One sample's own offset (dB) and shift (MHz): the same in every mount.
pub fn sample(number: usize, sample: usize) -> (f64, f64) {
    let mut own = Stream::new(SEED, Purpose::Campaign, number as u64, sample as u64, 0);
    (OFFSET_SD_DB * own.normal(), SHIFT_SD_MHZ * own.normal())
}

/// Noise of one sample in one mount; the first draw is the error of placing it, dB.
pub fn noise(number: usize, sample: usize, stream: u64) -> (f64, Stream) {
    let mut noise = Stream::new(SEED, Purpose::Campaign, number as u64, sample as u64, 1 + stream);
    (PLACEMENT_SD_DB * noise.normal(), noise)
}

/// Rise of the threshold above its best at a frequency, dB.
pub fn rise_db(mount: &Mount, freq_mhz: f64, shift_mhz: f64) -> f64 {
    let away = freq_mhz - mount.resonance_mhz - shift_mhz;
    let width = mount.half_width_mhz * if away > 0.0 { 1.2 } else { 1.0 };
    power_ratio_to_db(1.0 + (away / width) * (away / width))
}

/// Free air, 10 mm, own spacer on the phantom.
pub fn mounts(design: &Design) -> [Mount; 3] {
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
