//! What the antennas of a reader promise in one bin of x, judged once for all rounds there.
//!
//! An antenna is promising where its bare direct ray in the middle of the bin would wake every sample; those bins are asked first.
//! It is shut where not even the luckiest sample could wake, or where no round could reach the floor of the staircase:
//!
//!   λ/4πd₁ · ( √G₁·F₁ + (images)·√G₀·F₁ ) + (most of the scattered waves at d₁) < needed
//!
//! (further elements fed together count like images, and d₁ is that of the nearest element)
//!
//! with d₁ the least distance in the bin, F₁ the most a tag takes at any gap of this crossing, images the number of reflected rays
//! (none is nearer than the direct ray nor stronger than the peak gain) and G₁ the most gain towards any place of the bin. For the last:
//! φ² + θ² ≥ α² for the angle α from boresight whose parts are φ and θ (a right triangle on the sphere has a shorter hypotenuse than a
//! flat one), so G ≤ G₀ − min(12(α/α₃)², A) with α₃ the wider of the two beamwidths; α is taken as small as the bin allows.
//! What is needed is the least of threshold plus losses over the gaps of this crossing and the channels of the reader.

use super::crossing::{Crossing, Reading, Workspace, waves_of};
use super::four_at_once::{self, LANES};
use super::link::{NEAREST_M, Scene};
use super::prepared::{BIN_M, PreparedReader};
use crate::tag::closeness;
use crate::units::db_to_amplitude_ratio;
use crate::vector::Vec3;
use std::f64::consts::PI;

/// Antennas of a reader in one bin, a bit for each port.
#[derive(Clone, Copy, Debug, Default)]
pub struct Promises {
    pub promising: u64,
    /// The bare direct ray would wake the tag in free air.
    pub in_reach: u64,
    /// Neither promising nor shut.
    pub open: u64,
}

/// Judges the antennas of a reader in the bin around `middle`; with a `floor` (amplitude ratio) it also says which are open.
pub fn judge(
    crossing: &Crossing,
    scene: &Scene,
    reader: &PreparedReader,
    reading: &Reading,
    middle: Vec3,
    floor: Option<f64>,
    work: &mut Workspace,
) -> Promises {
    let channel = &reader.channels[0];
    let antennas = &scene.antennas()[reader.antennas.clone()];
    let half_bin_m = 0.5 * BIN_M + crossing.overhang_m(reading.schedule.round_s());
    let half_m = (half_bin_m * half_bin_m + crossing.stride.bounce_m().powi(2)).sqrt();
    let mut out = Promises::default();
    for first in (0..antennas.len()).step_by(LANES) {
        let radiators = std::array::from_fn(|l| &antennas[(first + l).min(antennas.len() - 1)].radiator);
        let view = four_at_once::view(radiators, middle, half_m);
        for (l, antenna) in antennas[first..].iter().take(LANES).enumerate() {
            // Elements fed together add in phase at best.
            let in_phase = (1 + antenna.further_m.len()) as f64;
            let (port, bare) = (first + l, in_phase * view.bare[l] * channel.wavelength_m / (4.0 * PI));
            let reach_m = antenna.further_m.iter().fold(0.0_f64, |most, along_m| most.max(along_m.abs()));
            let near_m = (view.near_m[l] - reach_m).max(NEAREST_M);
            let bit = 1 << port;
            if bare * bare * antenna.port_power_mw >= channel.free_air_threshold_mw {
                out.in_reach |= bit;
            }
            if bare * antenna.port_amplitude >= reading.sure_amplitude {
                out.promising |= bit;
            } else if let (Some(floor), Some(least)) = (floor, reading.least_amplitude) {
                let front = crossing.most_taken;
                let planes = scene.race.prepared.points[scene.point].planes.len();
                let others = (usize::from(antenna.ground) + planes + antenna.further_m.len()) as f64;
                let longest_m = reader.longest_wavelength_m;
                let rays = (view.most[l] + others * antenna.radiator.peak_amplitude) * front;
                let mut most = rays * longest_m / (4.0 * PI * near_m);
                if let Some(waves) = waves_of(crossing, scene, work, reader.antennas.start + port) {
                    most += waves.bound(view.near_m[l], longest_m);
                }
                if most * antenna.port_amplitude >= least * floor {
                    out.open |= bit;
                }
            }
        }
    }
    out
}

/// Least of threshold plus losses over gaps and channels, as the square root of mW.
pub fn least_amplitude(
    crossing: &Crossing,
    reader: &PreparedReader,
    first_curve: usize,
    work: &mut Workspace,
) -> f64 {
    let (narrow_mm, wide_mm) = crossing.stride.gap_range_mm();
    let (far, near) = (closeness(wide_mm), closeness(narrow_mm.max(0.0)));
    let curve = &crossing.race.prepared.tag.curve;
    let mut least_dbm = f64::INFINITY;
    for (channel, place) in reader.channels.iter().zip(first_curve..) {
        let at = work.curves[place].get_or_insert_with(|| crossing.curve_at(channel.freq_mhz));
        // Both parts are straight lines in the closeness between its knots: the least stands at a knot or at an end.
        let knots = curve.closeness_knots().iter().copied().filter(|s| (far..near).contains(s));
        for s in knots.chain([far, near]) {
            least_dbm = least_dbm.min(curve.join(at, s).0 + crossing.losses_db(s));
        }
    }
    db_to_amplitude_ratio(least_dbm + crossing.race.draw.threshold_offset_db())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::course::weather::Wetness;
    use crate::passing::draw::{crossing_uniforms, runner_uniforms};
    use crate::passing::pass::{neighbours_of, pass};
    use crate::passing::trace::each_round;
    use crate::passing::{CrossingDraw, CrossingId, RaceContext, RaceDraw, RunnerDraw, prepare};
    use std::path::Path;
    use std::sync::Arc;

    /// No round of an antenna that is shut in a bin lies above the floor: mats, panels over a road, panels beside metal.
    #[test]
    fn shut_antennas_have_no_round_above_the_floor() {
        let root = Path::new(env!("CARGO_MANIFEST_DIR"));
        let (mut shut, mut rounds) = (0, 0);
        for (scenario, tag) in [
            ("half-marathon-rain-eu-lower.toml", "dogwood"),
            ("city-10k-dry-usa.toml", "alder"),
            ("finish-panels-overhead-japan.toml", "alder"),
        ] {
            let (course, _) = crate::course::load(&root.join("scenarios").join(scenario)).unwrap();
            let (tag, _) = crate::tag::load(&root.join("demo-data/tags").join(tag)).unwrap();
            let prepared = prepare(Arc::new(course), Arc::new(tag));
            let race = RaceContext::new(&prepared, RaceDraw::draw(&prepared.course, &prepared.tag, 3, 0));
            let last = prepared.points.len() - 1;
            let mut work = Workspace::new();
            for passing in 0..24 {
                let course = &prepared.course;
                let row = passing as usize % course.field.placements.len();
                let wetness = Wetness::ALL[passing as usize % 3];
                let u = runner_uniforms(3, 0, passing);
                let runner = RunnerDraw::from_uniforms(course, &race.draw, row, wetness, &u);
                let id = CrossingId { seed: 3, race: 0, passing, point: last as u64 };
                let draw = CrossingDraw::from_uniforms(course, id, &crossing_uniforms(id));
                let crossing = Crossing::new(&race, &runner, &draw);
                pass(&crossing, &mut work);
                let point = crossing.point();
                let mut neighbours = Vec::new();
                neighbours_of(&crossing, &mut neighbours);
                let scene = Scene { race: &race, point: last, neighbours: &neighbours };
                // A floor well above the least one, so that many bins are shut.
                let floor_db = 8.0;
                let floor = db_to_amplitude_ratio(floor_db);
                for (index, reader) in point.readers.iter().enumerate() {
                    let mut reading = work.reading(index);
                    let least = least_amplitude(&crossing, reader, reading.first_curve, &mut work);
                    reading.least_amplitude = Some(least);
                    let judged: Vec<Promises> = (0..point.bins())
                        .map(|bin| {
                            let middle_x = (bin as f64 + 0.5) * BIN_M - point.zone_m;
                            let middle = crossing.stride.mean_place(middle_x / crossing.stride.speed_m_s);
                            judge(&crossing, &scene, reader, &reading, middle, Some(floor), &mut work)
                        })
                        .collect();
                    each_round(&crossing, &scene, index, 1, |round| {
                        let bin = ((round.at.x + point.zone_m) / BIN_M) as usize;
                        let Promises { promising, open, .. } = judged[bin.min(point.bins() - 1)];
                        let port = round.antenna - reader.antennas.start;
                        rounds += 1;
                        if (promising | open) >> port & 1 == 0 {
                            shut += 1;
                            let margin_db =
                                round.incident_dbm - round.threshold_dbm + runner.sample_offset_db;
                            assert!(margin_db < floor_db, "{scenario} {passing} {margin_db}");
                        }
                    });
                }
            }
        }
        assert!(shut > rounds / 5, "{shut} of {rounds}: the bound should be of use");
    }
}
