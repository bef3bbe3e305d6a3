//! One timing point: its lines, its road, its flow.

use super::reader::Reader;
use super::surface::Surface;
use crate::random::quantity::Quantity;

/// A metal plane (gantry leg, truck, barrier): adds an image of each antenna with reflection -1.
#[derive(Clone, Debug)]
pub struct MetalPlane {
    pub name: String,
    /// A point of the plane, m.
    pub x_m: f64,
    pub y_m: f64,
    /// Direction of the plane's normal, degrees (vertical planes only).
    pub normal_azimuth_deg: f64,
}

/// One row of antennas across the road.
#[derive(Clone, Debug)]
pub struct Line {
    pub name: String,
    pub readers: Vec<Reader>,
}

#[derive(Clone, Debug)]
pub struct TimingPoint {
    pub name: String,
    /// Whether a miss here means no finish time.
    pub is_finish: bool,
    /// Detection rate promised, 0..1.
    pub target: f64,
    /// Runners per minute in the stretch that counts.
    pub flow_per_min: f64,
    pub road_width_m: f64,
    /// Factor on the field's speed at this point.
    pub speed_factor: f64,
    /// Lateral place of the runner, m from the middle (crossing draw), folded back at the road's edges.
    pub lateral_m: Quantity,
    /// Half length of the stretch in which reads count as this point's, m.
    pub zone_m: f64,
    pub surface: Surface,
    pub lines: Vec<Line>,
    pub planes: Vec<MetalPlane>,
}

impl TimingPoint {
    /// All antennas with their line and reader indices, in file order.
    pub fn antennas(&self) -> impl Iterator<Item = (usize, usize, &super::antenna::Antenna)> {
        self.lines.iter().enumerate().flat_map(|(l, line)| {
            line.readers
                .iter()
                .enumerate()
                .flat_map(move |(r, reader)| reader.antennas.iter().map(move |a| (l, r, a)))
        })
    }
}
