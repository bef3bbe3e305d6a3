//! Uncertainty components of a referred threshold from what `tag.toml` states about the bench.
//!
//! Generator, cable, gain and mismatch belong to the laboratory: a wrong constant shifts every tag alike. The distance
//! belongs to the session. Placing the tag and the power step belong to the single sweep or reading.
//! Source: JCGM 100:2008 (GUM), 4.3; a relative error δd/d of the distance is 20/ln 10·δd/d in dB.

use super::raw_file::RawFile;
use super::raw_refer::Bench;
use super::stat::budget::{Component, Reach, Shape};
use super::stat::mismatch::mismatch_shape;

/// dB per relative error of a distance.
const DB_PER_RELATIVE_DISTANCE: f64 = 20.0 / std::f64::consts::LN_10;

/// Components of a threshold in dB. Nothing stated, nothing assumed: the list may be empty.
pub fn components(file: &RawFile, bench: &Bench, freq_mhz: f64) -> Vec<Component> {
    let (u, setup) = (&file.uncertainty, &file.setup);
    let mut out = Vec::new();
    let mut normal = |name: &str, sd: Option<f64>, reach: Reach| {
        if let Some(standard) = sd.filter(|sd| *sd > 0.0) {
            out.push(Component::new(name, Shape::Normal { standard }, reach));
        }
    };
    normal("generator level", u.generator_sd_db, Reach::Laboratory);
    normal("cable loss", u.cable_sd_db, Reach::Laboratory);
    normal("antenna gain", u.gain_sd_db, Reach::Laboratory);
    normal("placing the tag", u.positioning_sd_db, Reach::Reading);
    if let (Some(half_width), Some(distance)) = (u.distance_half_width_m, setup.distance_m)
        && half_width > 0.0
    {
        let shape = Shape::Rectangular { half_width };
        let sensitivity = DB_PER_RELATIVE_DISTANCE / distance;
        out.push(Component::new("distance", shape, Reach::Session).with_sensitivity(sensitivity));
    }
    if let (Some(a), Some(b)) = (u.generator_reflection, bench.reflection_at(freq_mhz))
        && a * b > 0.0
    {
        out.push(Component::new("mismatch", mismatch_shape(a, b), Reach::Laboratory));
    }
    if let Some(step) = setup.power_step_db.filter(|s| *s > 0.0) {
        out.push(Component::new("power step", Shape::Step { step }, Reach::Reading));
    }
    out
}
