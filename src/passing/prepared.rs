//! What does not change from passing to passing: geometry, frame tables, channels, the order of places to visit.

use super::air_interface::SlotTimes;
use super::antenna_pattern::Radiator;
use super::body::Torsos;
use super::contention::FrameTable;
use super::learned::Learned;
use crate::course::Course;
use crate::course::region::Hopping;
use crate::tag::Tag;
use crate::units::{db_to_amplitude_ratio, db_to_power_ratio, wave_number_rad_m, wavelength_m};
use crate::vector::Vec3;
use std::sync::Arc;

/// Places along x are visited in bins of this length, strongest first, m.
pub const BIN_M: f64 = 0.25;

/// One frequency a reader uses.
#[derive(Clone, Copy, Debug)]
pub struct Channel {
    pub freq_mhz: f64,
    pub wave_number: f64,
    pub wavelength_m: f64,
    /// Free-air threshold as linear power, mW; for the question whether a tag is ever in reach.
    pub free_air_threshold_mw: f64,
}

/// A reflected copy of an antenna.
#[derive(Clone, Copy, Debug)]
pub struct Plane {
    pub at: Vec3,
    pub normal: Vec3,
}

#[derive(Clone, Debug)]
pub struct PreparedAntenna {
    pub name: String,
    pub radiator: Radiator,
    pub port_power_dbm: f64,
    pub port_power_mw: f64,
    /// Square root of the port power in mW.
    pub port_amplitude: f64,
    pub cable_loss_db: f64,
    /// Elements fed together beyond the radiator's own, m along its axis across.
    pub further_m: Vec<f64>,
    /// Lies on the road, under the road's water.
    pub flat: bool,
    /// Whether the road gives it an image (flat antennas have the ground in their pattern).
    pub ground: bool,
}

#[derive(Clone, Debug)]
pub struct PreparedReader {
    pub name: String,
    pub line: usize,
    /// Indices into the point's antennas, in port order.
    pub antennas: std::ops::Range<usize>,
    pub frames: FrameTable,
    pub channels: Vec<Channel>,
    pub longest_wavelength_m: f64,
    /// Order in which channels follow each other.
    pub hop_order: Vec<usize>,
    pub hop_dwell_s: f64,
    pub port_dwell_s: f64,
    /// Sensitivity with interference, dBm.
    pub sensitivity_dbm: f64,
    pub epc_bits: u32,
    /// Mean number of other tags contending at this reader, from the pilot.
    pub mean_contenders: f64,
}

#[derive(Clone, Debug)]
pub struct PreparedPoint {
    pub name: String,
    pub zone_m: f64,
    pub speed_factor: f64,
    pub antennas: Vec<PreparedAntenna>,
    pub readers: Vec<PreparedReader>,
    pub lines: Vec<String>,
    pub planes: Vec<Plane>,
    /// Neighbours per square metre of road.
    pub neighbours_per_m2: f64,
    pub road_width_m: f64,
    /// Bins of x, strongest first, for each placement row. Bin b covers x from −zone + b·BIN_M.
    pub visit_order: Vec<Vec<usize>>,
}

impl PreparedPoint {
    pub fn bins(&self) -> usize {
        (2.0 * self.zone_m / BIN_M).ceil() as usize
    }
}

/// Scenario and tag, worked out once.
#[derive(Clone, Debug)]
pub struct Prepared {
    pub course: Arc<Course>,
    pub tag: Arc<Tag>,
    pub points: Vec<PreparedPoint>,
    /// What bodies make of the tag; none with the body off.
    pub torsos: Option<Arc<Torsos>>,
    /// Middle of the channels in use, MHz: roads and torso are worked out there.
    pub mid_freq_mhz: f64,
    /// Beliefs learned from races, in place of those of scenario and tag.
    pub learned: Option<Arc<Learned>>,
}

impl Prepared {
    /// Geometry only; `pilot::settle` fills contention and the visiting order.
    pub fn geometry(course: Arc<Course>, tag: Arc<Tag>) -> Prepared {
        let channels = || course.points.iter().flat_map(|p| p.lines.iter()).flat_map(|l| l.readers.iter());
        let (low, high) = channels()
            .flat_map(|r| r.channels_mhz.iter().copied())
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), f| (a.min(f), b.max(f)));
        let mid_freq_mhz = 0.5 * (low + high);
        let torsos = course.effects.body.then(|| Torsos::at(mid_freq_mhz));
        let points = (0..course.points.len()).map(|i| prepare_point(&course, &tag, i)).collect();
        Prepared { course, tag, points, torsos, mid_freq_mhz, learned: None }
    }

    /// The same with every reader set `drop_db` lower (`attenuated`: by an attenuator in the cable, which costs the reply as much).
    pub fn lowered(&self, drop_db: f64, attenuated: bool) -> Prepared {
        let mut lowered = self.clone();
        for antenna in lowered.points.iter_mut().flat_map(|point| &mut point.antennas) {
            antenna.port_power_dbm -= drop_db;
            antenna.port_power_mw = db_to_power_ratio(antenna.port_power_dbm);
            antenna.port_amplitude = db_to_amplitude_ratio(antenna.port_power_dbm);
            antenna.cable_loss_db += if attenuated { drop_db } else { 0.0 };
        }
        lowered
    }
}

fn prepare_point(course: &Course, tag: &Tag, index: usize) -> PreparedPoint {
    let point = &course.points[index];
    let mut antennas = Vec::new();
    let mut readers = Vec::new();
    for (line_index, line) in point.lines.iter().enumerate() {
        for reader in &line.readers {
            let first = antennas.len();
            for antenna in &reader.antennas {
                let port_power_dbm = antenna.port_power_dbm();
                antennas.push(PreparedAntenna {
                    name: antenna.name.clone(),
                    radiator: Radiator::new(antenna, course.effects.antenna_pattern),
                    port_power_dbm,
                    port_power_mw: db_to_power_ratio(port_power_dbm),
                    port_amplitude: db_to_amplitude_ratio(port_power_dbm),
                    cable_loss_db: antenna.cable_loss_db,
                    further_m: Radiator::further_m(antenna),
                    flat: antenna.is_flat(),
                    ground: course.effects.ground && !antenna.is_flat(),
                });
            }
            let times = SlotTimes::new(&reader.link, reader.epc_bits);
            readers.push(PreparedReader {
                name: reader.name.clone(),
                line: line_index,
                antennas: first..antennas.len(),
                frames: FrameTable::new(&times, reader.frame_slots, reader.round_s),
                channels: reader
                    .channels_mhz
                    .iter()
                    .map(|&freq_mhz| Channel {
                        freq_mhz,
                        wave_number: wave_number_rad_m(freq_mhz),
                        wavelength_m: wavelength_m(freq_mhz),
                        free_air_threshold_mw: db_to_power_ratio(tag.curve.value(freq_mhz, f64::INFINITY).0),
                    })
                    .collect(),
                longest_wavelength_m: reader
                    .channels_mhz
                    .iter()
                    .map(|&f| wavelength_m(f))
                    .fold(0.0, f64::max),
                hop_order: hop_order(course.region.hopping, reader.channels_mhz.len()),
                hop_dwell_s: reader.hop_dwell_s,
                port_dwell_s: reader.port_dwell_s,
                sensitivity_dbm: reader.sensitivity_dbm + reader.interference_db,
                epc_bits: reader.epc_bits,
                mean_contenders: 0.0,
            });
        }
    }
    let mean_speed_m_s = course.field.speed_m_s.mean() * point.speed_factor;
    let neighbours_per_m2 = if course.effects.neighbours {
        point.flow_per_min / (60.0 * mean_speed_m_s.max(0.3) * point.road_width_m)
    } else {
        0.0
    };
    let bins = (2.0 * point.zone_m / BIN_M).ceil() as usize;
    PreparedPoint {
        name: point.name.clone(),
        zone_m: point.zone_m,
        speed_factor: point.speed_factor,
        antennas,
        readers,
        lines: point.lines.iter().map(|l| l.name.clone()).collect(),
        planes: point
            .planes
            .iter()
            .map(|p| Plane {
                at: Vec3::new(p.x_m, p.y_m, 0.0),
                normal: Vec3::from_azimuth_elevation_deg(p.normal_azimuth_deg, 0.0),
            })
            .collect(),
        neighbours_per_m2,
        road_width_m: point.road_width_m,
        // Until the pilot has spoken: from the line outwards.
        visit_order: vec![outwards(bins); course.field.placements.len()],
    }
}

fn outwards(bins: usize) -> Vec<usize> {
    let mut order: Vec<usize> = (0..bins).collect();
    order.sort_by_key(|&b| (2 * b).abs_diff(bins));
    order
}

/// Channel order: in turn, or a fixed shuffle that uses each channel once before any comes again.
fn hop_order(hopping: Hopping, channels: usize) -> Vec<usize> {
    match hopping {
        Hopping::InTurn => (0..channels).collect(),
        Hopping::PseudoRandom => {
            // A stride coprime to the count visits all; near the golden section neighbours in time lie far apart in frequency.
            let mut stride = ((channels as f64 * 0.618) as usize).max(1);
            while gcd(stride, channels) != 1 {
                stride += 1;
            }
            (0..channels).map(|i| i * stride % channels).collect()
        }
    }
}

fn gcd(a: usize, b: usize) -> usize {
    if b == 0 { a } else { gcd(b, a % b) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hop_orders_use_every_channel_once() {
        for n in 1..=60 {
            for hopping in [Hopping::InTurn, Hopping::PseudoRandom] {
                let mut order = hop_order(hopping, n);
                order.sort_unstable();
                assert_eq!(order, (0..n).collect::<Vec<_>>());
            }
        }
    }
}
