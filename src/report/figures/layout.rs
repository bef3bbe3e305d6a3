//! A timing point drawn to scale: antennas, beams, road edges, metal planes, from above, from the side, along the road.
//!
//! The half-power beam is the cone of directions 3 dB under the peak, φ = φ₃/2·cos t, θ = θ₃/2·sin t in the antenna's own
//! axes. From above it is drawn where it meets the height of the tags; from the side, as its outline up to `REACH_M`.

use crate::course::antenna::Antenna;
use crate::course::timing_point::TimingPoint;
use crate::passing::antenna_pattern::Radiator;
use crate::report::figure::{Along, Anchor, Layer, Mark};
use crate::report::palette::{Dash, Ink, Marker, Style};
use crate::vector::Vec3;
use std::f64::consts::PI;

/// Side of the square that stands for an antenna, m: scenarios state no housing.
pub const HOUSING_M: f64 = 0.3;
/// How far a beam is drawn, m.
const REACH_M: f64 = 3.0;

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum View {
    /// x to the right, y up.
    Above,
    /// x to the right, z up.
    Side,
    /// As the runners see it: their right to the right, z up.
    Front,
}

impl View {
    fn flat(self, p: Vec3) -> (f64, f64) {
        match self {
            View::Above => (p.x, p.y),
            View::Side => (p.x, p.z),
            View::Front => (-p.y, p.z),
        }
    }
}

/// Everything fixed at a timing point, back to front.
pub fn layers(point: &TimingPoint, view: View, tag_height_m: [f64; 3]) -> Vec<Layer> {
    let mut out = Vec::new();
    let half = 0.5 * point.road_width_m;
    let edge = Style::plain(Ink::Soft).wide(1.6);
    let along = match view {
        View::Above => Some(Along::Y),
        View::Front => Some(Along::X),
        View::Side => None,
    };
    for (along, at) in along.iter().flat_map(|along| [(*along, -half), (*along, half)]) {
        out.push(Layer::new("edge of the road", edge, Mark::Rule { along, at, label: String::new() }));
    }
    if view != View::Above {
        let [low, middle, high] = tag_height_m;
        let band = Mark::Shade { along: Along::Y, from: low, to: high, label: String::new() };
        out.push(Layer::new("heights of 9 tags in 10", Style::plain(Ink::Faint), band));
        let rule = Mark::Rule { along: Along::Y, at: middle, label: String::new() };
        out.push(Layer::new("", Style::plain(Ink::Soft).dashed(Dash::Dot), rule));
    }
    for plane in &point.planes {
        if view == View::Above {
            let (sin, cos) = libm::sincos(plane.normal_azimuth_deg.to_radians());
            let points = vec![
                (plane.x_m - 20.0 * sin, plane.y_m + 20.0 * cos),
                (plane.x_m + 20.0 * sin, plane.y_m - 20.0 * cos),
            ];
            let style = Style::plain(Ink::Plum).wide(3.0);
            out.push(Layer::new("metal plane", style, Mark::Line { points, markers: false }));
        }
    }
    for (_, _, antenna) in point.antennas() {
        let beam = Style { ink: Ink::Ruby, dash: Dash::Short, marker: Marker::Disc, hatch: 0, width_px: 1.3 };
        let points = beam_outline(antenna, view, tag_height_m[1]);
        if points.len() > 2 {
            // On a paper line, so that the dashes are seen on dark cells, too.
            let mark = Mark::Outline { points, filled: false, tip: String::new() };
            out.push(Layer::new("", Style::plain(Ink::Paper).wide(2.4), mark.clone()));
            out.push(Layer::new("half-power beam", beam, mark));
        }
    }
    for (line, _, antenna) in point.antennas() {
        let body =
            Style { ink: Ink::Moss, dash: Dash::Solid, marker: Marker::Square, hatch: 3, width_px: 1.2 };
        let tip = format!(
            "{}, line {}: {} dBm at the reader, {} dBi, at ({}, {}, {}) m",
            antenna.name,
            point.lines[line].name,
            antenna.power_dbm,
            antenna.gain_dbi,
            antenna.x_m,
            antenna.y_m,
            antenna.z_m
        );
        let points = housing(antenna, view);
        let edge = Mark::Outline { points: points.clone(), filled: false, tip: String::new() };
        out.push(Layer::new("", Style::plain(Ink::Paper).wide(3.2), edge));
        out.push(Layer::new("antenna", body, Mark::Outline { points, filled: true, tip }));
    }
    if view == View::Above && point.lines.len() > 1 {
        for line in &point.lines {
            let places: Vec<f64> =
                line.readers.iter().flat_map(|r| r.antennas.iter().map(|a| a.x_m)).collect();
            let x = places.iter().sum::<f64>() / places.len().max(1) as f64;
            let mark = Mark::Note { at: (x, 100.0), text: line.name.clone(), anchor: Anchor::Middle };
            out.push(Layer::new("", Style::plain(Ink::Text), mark));
        }
    }
    out
}

/// Ends of x, y and z that hold every antenna, beam and metal plane, and the road; and how far from the middle the view
/// along the road reaches, m.
pub fn extent(point: &TimingPoint, tag_height_m: [f64; 3]) -> ([(f64, f64); 3], f64) {
    let half = 0.5 * point.road_width_m;
    let mut ends = [(-1.5_f64, 1.5_f64), (-half, half), (0.0, 2.2)];
    let mut reach = half;
    let mut hold = |axis: usize, at: f64| ends[axis] = (ends[axis].0.min(at), ends[axis].1.max(at));
    for (_, _, antenna) in point.antennas() {
        for (axis, at) in [antenna.x_m, antenna.y_m, antenna.z_m].into_iter().enumerate() {
            hold(axis, at);
        }
        for (x, y) in beam_outline(antenna, View::Above, tag_height_m[1]) {
            hold(0, x);
            hold(1, y);
        }
        // What goes into the ground is not drawn.
        for (x, z) in beam_outline(antenna, View::Side, tag_height_m[1]) {
            hold(0, x);
            hold(2, z);
        }
        for (y, _) in beam_outline(antenna, View::Front, tag_height_m[1]) {
            reach = reach.max(y.abs());
        }
    }
    for plane in &point.planes {
        // A plane along the road stands beside it, one across the road over it.
        let across = libm::cos(plane.normal_azimuth_deg.to_radians()).abs() > 0.7;
        if across { hold(0, plane.x_m) } else { hold(1, plane.y_m) }
    }
    let ends =
        [(ends[0].0 - 0.4, ends[0].1 + 0.4), (ends[1].0 - 0.4, ends[1].1 + 0.7), (-0.15, ends[2].1 + 0.2)];
    (ends, reach + 0.3)
}

/// The square of the antenna's face, projected.
fn housing(antenna: &Antenna, view: View) -> Vec<(f64, f64)> {
    let radiator = Radiator::new(antenna, true);
    let (a, b) = (radiator.across * (0.5 * HOUSING_M), radiator.up * (0.5 * HOUSING_M));
    // Some depth, so that a face seen edge-on is still to be seen.
    let depth = radiator.boresight * 0.05;
    let corners = [a + b, a - b, -a - b, b - a];
    hull(
        corners
            .iter()
            .flat_map(|c| [radiator.at + *c, radiator.at + *c - depth])
            .map(|p| view.flat(p))
            .collect(),
    )
}

fn beam_outline(antenna: &Antenna, view: View, tag_height_m: f64) -> Vec<(f64, f64)> {
    let radiator = Radiator::new(antenna, true);
    let half = |deg: f64| (0.5 * deg).to_radians().min(0.49 * PI);
    let (wide, tall) = (half(antenna.horizontal_beamwidth_deg), half(antenna.vertical_beamwidth_deg));
    // Inner cones round the far end off.
    let ring = [1.0, 0.75, 0.5, 0.25].into_iter().flat_map(|part| (0..72).map(move |i| (part, i))).map(
        |(part, i)| {
            let (sin, cos) = libm::sincos(2.0 * PI * f64::from(i) / 72.0);
            let (sin_phi, cos_phi) = libm::sincos(part * wide * cos);
            let (sin_theta, cos_theta) = libm::sincos(part * tall * sin);
            radiator.boresight * (cos_theta * cos_phi)
                + radiator.across * (cos_theta * sin_phi)
                + radiator.up * sin_theta
        },
    );
    let mut points: Vec<(f64, f64)> = ring
        .map(|k| {
            let length = match view {
                View::Above if k.z.abs() > 1e-9 => {
                    let meet = (tag_height_m - radiator.at.z) / k.z;
                    if meet > 0.0 { meet.min(REACH_M) } else { REACH_M }
                }
                _ => REACH_M,
            };
            view.flat(radiator.at + k * length)
        })
        .collect();
    let level = radiator.boresight.z.abs() < 0.2;
    if view != View::Above || level {
        points.extend([view.flat(radiator.at), view.flat(radiator.at + radiator.boresight * REACH_M)]);
    }
    hull(points)
}

/// Convex hull, counter-clockwise. Source: A. M. Andrew, Inf. Process. Lett. 9 (1979) 216-219 (monotone chain).
fn hull(mut points: Vec<(f64, f64)>) -> Vec<(f64, f64)> {
    points.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
    points.dedup();
    let turn =
        |a: (f64, f64), b: (f64, f64), c: (f64, f64)| (b.0 - a.0) * (c.1 - a.1) - (b.1 - a.1) * (c.0 - a.0);
    let chain = |points: &mut dyn Iterator<Item = (f64, f64)>| {
        let mut out: Vec<(f64, f64)> = Vec::new();
        for p in points {
            while out.len() > 1 && turn(out[out.len() - 2], out[out.len() - 1], p) <= 0.0 {
                out.pop();
            }
            out.push(p);
        }
        out.pop();
        out
    };
    let mut out = chain(&mut points.iter().copied());
    out.extend(chain(&mut points.iter().rev().copied()));
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::course::antenna::Polarisation;

    fn antenna(z_m: f64, azimuth_deg: f64, elevation_deg: f64) -> Antenna {
        Antenna {
            name: "a".into(),
            x_m: 1.0,
            y_m: -2.0,
            z_m,
            azimuth_deg,
            elevation_deg,
            gain_dbi: 6.0,
            horizontal_beamwidth_deg: 60.0,
            vertical_beamwidth_deg: 60.0,
            front_to_back_db: 20.0,
            polarisation: Polarisation::Circular { axial_ratio_db: 1.0, right_handed: true },
            elements: crate::course::elements::Elements::ONE,
            power_dbm: 30.0,
            cable_loss_db: 1.0,
        }
    }

    #[test]
    fn a_mat_is_a_square_and_its_beam_a_circle_of_half_the_width() {
        let mat = antenna(0.0, 0.0, 90.0);
        let square = housing(&mat, View::Above);
        assert_eq!(square.len(), 4);
        assert!(
            square
                .iter()
                .all(|(x, y)| ((x - 1.0).abs() - 0.15).abs() < 1e-9 && ((y + 2.0).abs() - 0.15).abs() < 1e-9)
        );
        let radius = 1.2 * (30f64).to_radians().tan();
        for (x, y) in beam_outline(&mat, View::Above, 1.2) {
            let r = libm::hypot(x - 1.0, y + 2.0);
            assert!(r > 0.85 * radius && r < 1.3 * radius, "{r} {radius}");
        }
    }
    #[test]
    fn a_side_antenna_looks_across_the_road() {
        let side = antenna(1.5, 90.0, 0.0);
        let beam = beam_outline(&side, View::Above, 1.2);
        assert!(beam.iter().any(|(_, y)| *y > 0.9) && beam.iter().all(|(_, y)| *y >= -2.0 - 1e-9));
    }
    #[test]
    fn hull_keeps_only_the_corners() {
        let points = vec![(0.0, 0.0), (1.0, 0.0), (0.5, 0.5), (1.0, 1.0), (0.0, 1.0), (0.5, 0.0)];
        assert_eq!(hull(points), [(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)]);
        assert!(hull(vec![(0.0, 0.0)]).len() < 3);
    }
}
