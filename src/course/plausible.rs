//! Set-ups that a crew would not have meant: each doubt names the place, the value, the limit, the reason and a way out.
//!
//! Nothing here stops a forecast: every one of these can be meant. What cannot be is refused by the loader (`limits`), unlawful power by the commands
//! (`course::power`). Limits without a source are common practice.

use super::antenna::Antenna;
use super::{Course, Placed};
use crate::vector::Vec3;

/// Higher than this an antenna wakes few bibs, m.
const HIGH_M: f64 = 5.0;
/// Lower than this an antenna over the road is in the way of heads, m.
const HEAD_M: f64 = 2.3;
/// Farther from the road's edge than this a panel reads little, m.
const FAR_FROM_ROAD_M: f64 = 3.0;
/// Radiated power below which a port wakes hardly any tag at 1 m, dBm EIRP.
const WEAK_EIRP_DBM: f64 = 15.0;
/// An antenna whose gain towards every place of the runners lies this far below its peak faces away, dB.
const FACES_AWAY_DB: f64 = 9.0;
/// Median speeds of a field, m/s: a stroll and a sprint.
const SPEED_M_S: (f64, f64) = (0.8, 7.0);
/// Antennas of one reader beyond which each is seldom on.
const MANY_ANTENNAS: usize = 8;
/// Runners a minute beyond which a metre of road does not let them pass.
const DENSE_PER_MIN_M: f64 = 120.0;

/// Every doubt about a course, in the order of the file.
pub fn doubts(course: &Course) -> Vec<String> {
    let mut out = Vec::new();
    let speed_m_s = course.field.speed_m_s.median();
    if !(SPEED_M_S.0..=SPEED_M_S.1).contains(&speed_m_s) {
        out.push(format!(
            "field / speed_m_s: half the field is faster than {speed_m_s:.1} m/s, which is {:.0} km/h; fields run at {} to {} m/s: write metres a second, 10 km/h is 2.8",
            3.6 * speed_m_s,
            SPEED_M_S.0,
            SPEED_M_S.1
        ));
    }
    for point in &course.points {
        let per_m = point.flow_per_min / point.road_width_m;
        if per_m > DENSE_PER_MIN_M {
            out.push(format!(
                "{}: flow_per_min = {:.0} on {} m of road is {per_m:.0} a minute and metre, beyond {DENSE_PER_MIN_M:.0} nobody can run: check flow, wave and road_width_m",
                point.name, point.flow_per_min, point.road_width_m
            ));
        }
        for reader in point.lines.iter().flat_map(|line| &line.readers) {
            let count = reader.antennas.len();
            if count > MANY_ANTENNAS && reader.ports.is_none() {
                out.push(format!(
                    "{} / {}: {count} antennas on one reader take turns, so each is on {:.0} % of the time; readers have 4 or 8 ports as a rule: share them out over readers, or state `ports`",
                    point.name,
                    reader.name,
                    100.0 / count as f64
                ));
            }
        }
    }
    out.extend(course.antennas().flat_map(|at| {
        let place = [&at.point.name, &at.line.name, &at.reader.name, &at.antenna.name];
        let place = place.map(String::as_str).join(" / ");
        of_antenna(&at).into_iter().map(move |doubt| format!("{place}: {doubt}"))
    }));
    out
}

fn of_antenna(at: &Placed) -> Vec<String> {
    let (antenna, point) = (at.antenna, at.point);
    let half_road_m = 0.5 * point.road_width_m;
    let beside_m = antenna.y_m.abs() - half_road_m;
    let mut out = Vec::new();
    if antenna.x_m.abs() > point.zone_m {
        out.push(format!(
            "x_m = {} lies outside the zone of {} m in which reads count: move it, or widen zone_m",
            antenna.x_m, point.zone_m
        ));
    }
    if antenna.is_flat() && beside_m > 0.0 {
        out.push(format!(
            "y_m = {} lies beside the road ({half_road_m} m to either side of its middle): nobody runs over it; move it, or correct road_width_m",
            antenna.y_m
        ));
    }
    if antenna.z_m > HIGH_M {
        out.push(format!(
            "z_m = {} is very high: above {HIGH_M} m few bibs wake; write metres above the road, not feet",
            antenna.z_m
        ));
    } else if !antenna.is_flat() && antenna.z_m < HEAD_M && beside_m < 0.0 {
        out.push(format!(
            "stands in the road, {} m up and {:.1} m inside its edge: runners will hit it; put it beside the road or above {HEAD_M} m",
            antenna.z_m, -beside_m
        ));
    }
    if beside_m > FAR_FROM_ROAD_M {
        out.push(format!(
            "y_m = {} is {beside_m:.1} m from the road's edge, beyond {FAR_FROM_ROAD_M} m a bib is seldom woken: move it closer",
            antenna.y_m
        ));
    }
    let eirp_dbm = antenna.port_power_dbm() + antenna.gain_dbi;
    if eirp_dbm < WEAK_EIRP_DBM {
        out.push(format!(
            "power_dbm = {} makes {eirp_dbm:.1} dBm EIRP, below {WEAK_EIRP_DBM} hardly any tag wakes, yet the port takes its turn from the others: raise it, or leave the antenna out",
            antenna.power_dbm
        ));
    }
    let short_db = most_towards_runners_db(antenna, half_road_m, point.zone_m);
    if short_db < -FACES_AWAY_DB {
        out.push(format!(
            "azimuth_deg = {}, elevation_deg = {} faces away: towards the runners it is {:.0} dB below its peak at best; turn it to the road",
            antenna.azimuth_deg, antenna.elevation_deg, -short_db
        ));
    }
    out
}

/// Gain towards the best place of the runners, relative to the peak, dB.
fn most_towards_runners_db(antenna: &Antenna, half_road_m: f64, zone_m: f64) -> f64 {
    let (boresight, up, across) = antenna.axes();
    let from = Vec3::new(antenna.x_m, antenna.y_m, antenna.z_m);
    let fall_db = |to: Vec3| {
        let k = (to - from) * (1.0 / (to - from).norm().max(0.1));
        let phi = libm::atan2(k.dot(across), k.dot(boresight)).to_degrees();
        let theta = libm::asin(k.dot(up).clamp(-1.0, 1.0)).to_degrees();
        let cut =
            |angle: f64, width: f64| (12.0 * (angle / width) * (angle / width)).min(antenna.front_to_back_db);
        let fall = cut(phi, antenna.horizontal_beamwidth_deg) + cut(theta, antenna.vertical_beamwidth_deg);
        fall.min(antenna.front_to_back_db)
    };
    let mut least = f64::INFINITY;
    for i in 0..=12 {
        let x = -zone_m + zone_m * f64::from(i) / 6.0;
        for y in [-1.0, -0.5, 0.0, 0.5, 1.0] {
            least = least.min(fall_db(Vec3::new(x, y * half_road_m, 1.2)));
        }
    }
    -least
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::path::Path;

    fn of(field: &str, point: &str, antenna: &str) -> Vec<String> {
        let text = format!(
            "tag = \"t\"\nevent = {{ name = \"a\" }}\nregion = {{ key = \"usa\" }}\nweather = {{ key = \"dry\" }}\n\
             field = {{ runners = 900{field} }}\n[[point]]\nname = \"finish\"\nfinish = true\nroad_width_m = 5\n{point}\n[[point.line]]\n\
             [[point.line.reader]]\nantenna = [{antenna}]\n"
        );
        let (course, _) = crate::course::from_text("t", &text, Path::new("")).expect("valid");
        doubts(&course)
    }

    #[test]
    fn what_a_crew_would_not_have_meant_is_named() {
        let (flow, mat) = ("flow_per_min = 60", "{ kind = \"mat\", y_m = 0, power_dbm = 29 }");
        assert_eq!(of("", flow, mat), Vec::<String>::new());
        let many = vec![mat; 20].join(", ");
        for (found, words) in [
            (of(", speed_m_s = 10", flow, mat), "36 km/h"),
            (of("", "flow_per_min = 900", mat), "180 a minute and metre"),
            (of("", flow, &many), "20 antennas on one reader"),
            (of("", flow, "{ kind = \"mat\", y_m = 3.5, power_dbm = 29 }"), "beside the road"),
            (of("", flow, "{ kind = \"mat\", y_m = 0, x_m = 9, power_dbm = 29 }"), "outside the zone of 6 m"),
            (of("", flow, "{ kind = \"side_panel\", y_m = 3, z_m = 10, power_dbm = 28 }"), "not feet"),
            (of("", flow, "{ kind = \"side_panel\", y_m = 1.5, power_dbm = 28 }"), "runners will hit it"),
            (
                of("", flow, "{ kind = \"overhead\", y_m = 0, z_m = 2.0, power_dbm = 28 }"),
                "runners will hit it",
            ),
            (
                of("", flow, "{ kind = \"side_panel\", y_m = 12, power_dbm = 28 }"),
                "9.5 m from the road's edge",
            ),
            (of("", flow, "{ kind = \"mat\", y_m = 0, power_dbm = 0 }"), "takes its turn"),
            (
                of("", flow, "{ kind = \"side_panel\", y_m = 3, azimuth_deg = 90, power_dbm = 28 }"),
                "faces away",
            ),
            (
                of("", flow, "{ kind = \"side_panel\", y_m = 3, elevation_deg = 90, power_dbm = 28 }"),
                "faces away",
            ),
        ] {
            assert!(found.iter().any(|doubt| doubt.contains(words)), "{words}: {found:?}");
        }
    }

    #[test]
    fn no_shipped_scenario_is_doubted() {
        let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("scenarios");
        let mut seen = 0;
        for folder in [root.clone(), root.join("seasons")] {
            for entry in std::fs::read_dir(folder).expect("listed") {
                let path = entry.expect("entry").path();
                if path.extension().is_some_and(|e| e == "toml") && !path.ends_with("lantern-coast.toml") {
                    let (course, _) = crate::course::load(&path).expect("shipped scenario loads");
                    assert_eq!(doubts(&course), Vec::<String>::new(), "{}", path.display());
                    seen += 1;
                }
            }
        }
        assert!(seen > 9, "{seen}");
    }
}
