//! Set-ups that a crew would not have meant: each doubt names the place, the value, the limit, the reason and a way out.
//!
//! Nothing here stops a forecast, all are warnings: every one of these can be meant. What cannot be is refused by the loader (`limits`), unlawful power by the commands
//! (`course::power`). Limits without a source are common practice.

use super::antenna::Antenna;
use super::timing_point::{Line, TimingPoint};
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
/// Median speeds of a field, m/s: a stroll, and 10 km in less than 28 min by half of all runners.
const SPEED_M_S: (f64, f64) = (0.8, 6.0);
/// Antennas of one reader beyond which each is seldom on, and the same where `ports` says that so many were meant.
const MANY_ANTENNAS: usize = 8;
const MANY_MEANT_ANTENNAS: usize = 16;
/// What stands in the road up to this height is stumbled over, above it is run into, m.
const TRIP_M: f64 = 1.0;
/// An antenna turned up by more than `LOOKS_UP_DEG` whose boresight passes the middle of the road above `OVER_HEADS_M` lights the sky.
const LOOKS_UP_DEG: f64 = 15.0;
const OVER_HEADS_M: f64 = 2.5;
/// Antennas nearer to each other than this and turned alike, cosine of 30 degrees, cover the same runners, m.
const SAME_PLACE_M: f64 = 0.05;
const TURNED_ALIKE: f64 = 0.866;
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
            let (most, way_out) = match reader.ports {
                None => (MANY_ANTENNAS, "share them out over readers, or state `ports`"),
                Some(_) => (MANY_MEANT_ANTENNAS, "share them out over readers"),
            };
            if count > most {
                out.push(format!(
                    "{} / {}: {count} antennas on one reader take turns, so each is on {:.0} % of the time; readers have 4 or 8 ports as a rule, beyond {most} a runner is past before each had its turn: {way_out}",
                    point.name,
                    reader.name,
                    100.0 / count as f64
                ));
            }
        }
        out.extend(backup_before_the_finish(point));
        out.extend(same_place(point));
    }
    out.extend(course.antennas().flat_map(|at| {
        let place = [&at.point.name, &at.line.name, &at.reader.name, &at.antenna.name];
        let place = place.map(String::as_str).join(" / ");
        of_antenna(&at).into_iter().map(move |doubt| format!("{place}: {doubt}"))
    }));
    out
}

/// A later line of a finish that runners cross before the first one: reads there come before the runner has finished.
fn backup_before_the_finish(point: &TimingPoint) -> Vec<String> {
    let xs = |line: &Line| -> Vec<f64> {
        line.readers.iter().flat_map(|reader| &reader.antennas).map(|antenna| antenna.x_m).collect()
    };
    let Some((first, later)) = point.lines.split_first().filter(|_| point.is_finish) else {
        return Vec::new();
    };
    let first_m = xs(first).into_iter().fold(f64::INFINITY, f64::min);
    later
        .iter()
        .filter_map(|line| {
            let last_m = xs(line).into_iter().fold(f64::NEG_INFINITY, f64::max);
            (last_m < first_m).then(|| {
                format!(
                    "{} / {}: x_m = {last_m} is crossed before `{}` at {first_m}: a backup of a finish stands behind it, reads before it are no finish; x_m counts along the running direction: change its sign, or the order of the lines",
                    point.name, line.name, first.name
                )
            })
        })
        .collect()
}

/// Antennas of a point, on whatever line or reader, that stand on one another.
fn same_place(point: &TimingPoint) -> Vec<String> {
    let all: Vec<(&Line, &Antenna)> = point
        .lines
        .iter()
        .flat_map(|line| line.readers.iter().map(move |reader| (line, reader)))
        .flat_map(|(line, reader)| reader.antennas.iter().map(move |antenna| (line, antenna)))
        .collect();
    let place = |a: &Antenna| Vec3::new(a.x_m, a.y_m, a.z_m);
    let mut out = Vec::new();
    for (n, (line, antenna)) in all.iter().enumerate() {
        let twin = all[..n].iter().find(|(_, other)| {
            (place(antenna) - place(other)).norm() < SAME_PLACE_M
                && antenna.axes().0.dot(other.axes().0) > TURNED_ALIKE
        });
        if let Some((its_line, twin)) = twin {
            out.push(format!(
                "{} / {} / {}: x_m = {}, y_m = {} is the place of {} / {}, nearer than {SAME_PLACE_M} m and turned alike: it sees no runner that the other does not; move it, or leave it out",
                point.name, line.name, antenna.name, antenna.x_m, antenna.y_m, its_line.name, twin.name
            ));
        }
    }
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
    } else if !antenna.is_flat() && antenna.z_m < HEAD_M && beside_m <= 0.0 {
        let (harm, way_out) = if antenna.z_m <= TRIP_M {
            ("it is a trip hazard", "lay it flat on the road, or put it beside")
        } else {
            ("runners will hit it", "put it beside the road or above")
        };
        let limit = if antenna.z_m <= TRIP_M { String::new() } else { format!(" {HEAD_M} m") };
        out.push(format!(
            "z_m = {}, y_m = {} stands in the road or on its edge, {:.1} m inside: {harm}; {way_out}{limit}",
            antenna.z_m, antenna.y_m, -beside_m
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
    } else if antenna.elevation_deg > LOOKS_UP_DEG && !antenna.is_flat() {
        let passes_m = antenna.z_m + antenna.y_m.abs() * libm::tan(antenna.elevation_deg.to_radians());
        if passes_m > OVER_HEADS_M {
            out.push(format!(
                "elevation_deg = {} looks {passes_m:.1} m high over the middle of the road, above {OVER_HEADS_M} m there are no bibs; elevation counts upwards: a high antenna looks down with a minus",
                antenna.elevation_deg
            ));
        }
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
            (of(", speed_m_s = 6.9", flow, mat), "25 km/h"),
            (of("", flow, &format!("{mat}, {mat}")), "sees no runner that the other does not"),
            (of("", flow, "{ kind = \"mat\", y_m = 0, z_m = 0.5, power_dbm = 29 }"), "trip hazard"),
            (
                of("", flow, "{ kind = \"side_panel\", y_m = 3, elevation_deg = 45, power_dbm = 28 }"),
                "looks 4.2 m high",
            ),
            (of("", flow, "{ kind = \"side_panel\", y_m = 2.5, power_dbm = 28 }"), "runners will hit it"),
            (
                of("", flow, "{ kind = \"overhead\", y_m = 2.5, z_m = 2.0, power_dbm = 28 }"),
                "runners will hit it",
            ),
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
    fn many_ports_and_a_backup_before_the_finish_are_named() {
        let mats = |count: usize| -> String {
            let at =
                |n: usize| format!("{{ kind = \"mat\", y_m = {}, power_dbm = 29 }}", 0.1 * n as f64 - 1.0);
            (0..count).map(at).collect::<Vec<_>>().join(", ")
        };
        let flow = "flow_per_min = 60";
        let with_ports = |count: usize| of("", flow, &format!("{}]\nports = 32\n# [", mats(count)));
        assert!(with_ports(20).iter().any(|doubt| doubt.contains("20 antennas")), "{:?}", with_ports(20));
        assert_eq!(with_ports(12), Vec::<String>::new());
        let backup_at = |x_m: f64| {
            let second = format!(
                "{}]\n[[point.line]]\n[[point.line.reader]]\nantenna = [{{ kind = \"mat\", x_m = {x_m}, y_m = 0, power_dbm = 29 }}",
                mats(1)
            );
            of("", flow, &second)
        };
        assert!(backup_at(-5.0)[0].contains("change its sign"), "{:?}", backup_at(-5.0));
        assert_eq!(backup_at(5.0), Vec::<String>::new());
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
