//! One timing point: its lines, its road, its flow.

use super::reader::{self, Reader, ReaderForm};
use super::region::Region;
use super::surface::{self, Surface, SurfaceForm};
use super::walk::Section;
use crate::diag::codes;
use crate::limits;
use crate::random::quantity::{Quantity, QuantityForm};
use schemars::JsonSchema;
use serde::Serialize;

/// A metal plane (gantry leg, truck, barrier): adds an image of each antenna with reflection -1.
#[derive(Clone, Debug, PartialEq)]
pub struct MetalPlane {
    pub name: String,
    /// A point of the plane, m.
    pub x_m: f64,
    pub y_m: f64,
    /// Direction of the plane's normal, degrees (vertical planes only).
    pub normal_azimuth_deg: f64,
}

/// One row of antennas across the road.
#[derive(Clone, Debug, PartialEq)]
pub struct Line {
    pub name: String,
    pub readers: Vec<Reader>,
}

#[derive(Clone, Debug, PartialEq)]
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

/// `[[point.plane]]` as written.
#[derive(Clone, Debug, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct PlaneForm {
    /// Name in reports.
    pub name: String,
    /// A point of the plane along the running direction, m.
    pub x_m: f64,
    /// A point of the plane across the road, m.
    pub y_m: f64,
    /// Direction of the plane's normal, degrees from the running direction.
    pub normal_azimuth_deg: f64,
}

/// `[[point.line]]` as written.
#[derive(Clone, Debug, Default, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct LineForm {
    /// Name in reports; default `line 1` and so on.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
    /// Its readers, at most 16.
    pub reader: Vec<ReaderForm>,
}

/// Runners started together.
#[derive(Clone, Debug, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct WaveForm {
    /// Runners of one wave.
    pub runners: f64,
    /// Minutes the wave takes to cross the line.
    pub minutes: f64,
}

/// `[[point]]` as written; keys below the name may also stand in `[every_point]`, except finish, line and
/// plane.
#[derive(Clone, Debug, Default, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct PointForm {
    /// Name in reports.
    pub name: String,
    /// Whether a miss here means no finish time; exactly one point is the finish.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub finish: Option<bool>,
    /// Detection rate promised.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub target: Option<f64>,
    /// Runners per minute in the stretch that counts.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub flow_per_min: Option<f64>,
    /// Instead of flow_per_min: a wave start.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub wave: Option<WaveForm>,
    /// Width of the road, m.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub road_width_m: Option<f64>,
    /// Factor on the field's speed here.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub speed_factor: Option<f64>,
    /// Lateral place of the runner from the middle, m.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lateral_m: Option<QuantityForm>,
    /// Half length of the stretch whose reads count, m.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub zone_m: Option<f64>,
    /// The road under the point.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub surface: Option<SurfaceForm>,
    /// Metal planes nearby.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub plane: Vec<PlaneForm>,
    /// Its lines, at most 8.
    pub line: Vec<LineForm>,
}

impl From<&TimingPoint> for PointForm {
    fn from(p: &TimingPoint) -> PointForm {
        PointForm {
            name: p.name.clone(),
            finish: Some(p.is_finish),
            target: Some(p.target),
            flow_per_min: Some(p.flow_per_min),
            wave: None,
            road_width_m: Some(p.road_width_m),
            speed_factor: Some(p.speed_factor),
            lateral_m: Some(p.lateral_m.into()),
            zone_m: Some(p.zone_m),
            surface: Some((&p.surface).into()),
            plane: p
                .planes
                .iter()
                .map(|plane| PlaneForm {
                    name: plane.name.clone(),
                    x_m: plane.x_m,
                    y_m: plane.y_m,
                    normal_azimuth_deg: plane.normal_azimuth_deg,
                })
                .collect(),
            line: p
                .lines
                .iter()
                .map(|line| LineForm {
                    name: Some(line.name.clone()),
                    reader: line.readers.iter().map(Into::into).collect(),
                })
                .collect(),
        }
    }
}

/// What a point is read with.
pub struct Surroundings<'s> {
    pub region: Option<&'s Region>,
    pub film_mm: Quantity,
    pub runners: u64,
    pub distance_km: Option<f64>,
    pub every_surface: &'s Section<'s>,
    pub every_reader: &'s Section<'s>,
    pub every_antenna: &'s Section<'s>,
}

const MOST_LINES: usize = 8;
const MOST_READERS: usize = 16;
const MOST_PLANES: usize = 8;

/// Reads one timing point.
pub fn read<'s>(section: &'s Section<'s>, around: &Surroundings<'s>) -> TimingPoint {
    let name = section.name("name");
    if section.find_own("name").is_none() {
        section.missing("name", "name the timing point, for example name = \"10 km\"");
    }
    let is_finish = section.boolean_own("finish").unwrap_or(false);
    let road_width_m = section.number_or("road_width_m", &limits::ROAD_WIDTH_M, 6.0, "our estimate");
    let point = TimingPoint {
        name: name.unwrap_or_default(),
        is_finish,
        target: section.number_or("target", &limits::TARGET, 0.998, "common practice: better than 99.8 %"),
        flow_per_min: read_flow(section, around),
        road_width_m,
        speed_factor: section.number_or(
            "speed_factor",
            &limits::SPEED_FACTOR,
            if is_finish { 0.881 } else { 1.0 },
            "1, and 0.881 at the finish: median of second half over whole race of 37250 marathon finishers (jakevdp/marathon-data), computed",
        ),
        lateral_m: section.quantity_or(
            "lateral_m",
            &limits::LATERAL_M,
            Quantity::Normal { mean: 0.0, sd: 0.9 },
            "our estimate",
        ),
        zone_m: section.number_or("zone_m", &limits::ZONE_M, 6.0, "our estimate"),
        surface: surface::read(
            &section.table("surface", "surface").with_fallback(around.every_surface),
            around.film_mm,
        ),
        lines: read_lines(section, around),
        planes: section
            .tables("plane", "plane", MOST_PLANES)
            .iter()
            .enumerate()
            .map(|(i, table)| read_plane(table, i + 1))
            .collect(),
    };
    section.finish();
    point
}

fn read_flow(section: &Section, around: &Surroundings) -> f64 {
    section.conflict(
        "flow_per_min",
        "wave",
        "both `flow_per_min` and `wave` are given",
        "keep one of the two",
    );
    if let Some(found) = section.find("wave") {
        let wave = section.section_of("wave", &found, "wave");
        let help = "a wave is { runners = 500, minutes = 4 }";
        let runners = wave.number_required("runners", &limits::RUNNERS, help);
        let minutes = wave.number_required("minutes", &limits::WAVE_MINUTES, help);
        wave.finish();
        let flow = runners.unwrap_or(0.0) / minutes.unwrap_or(1.0);
        if let Err(message) = limits::FLOW_PER_MIN.check(flow) {
            section.walk.note(
                section
                    .walk
                    .error(codes::OUT_OF_RANGE, &found.span, format!("this wave means {message}"))
                    .label(limits::FLOW_PER_MIN.why)
                    .help("give the wave more minutes"),
            );
        }
        return flow;
    }
    if section.find("flow_per_min").is_some() {
        return section.number("flow_per_min", &limits::FLOW_PER_MIN).unwrap_or(0.0);
    }
    let Some(distance_km) = around.distance_km else {
        section.missing(
            "flow_per_min",
            "give flow_per_min, or wave = { runners, minutes }, or distance_km in [event] for the rule 0.6 N / D",
        );
        return 0.0;
    };
    let flow = (0.6 * around.runners as f64 / distance_km * 10.0).round() / 10.0;
    section.number_or(
        "flow_per_min",
        &limits::FLOW_PER_MIN,
        flow.min(limits::FLOW_PER_MIN.max),
        "0.6 N / D runners per minute at the peak: Road Running Technical Council handbook, chapter Finish line theory, eq. 1 (usually an over-estimate)",
    )
}

fn read_lines<'s>(section: &'s Section<'s>, around: &Surroundings<'s>) -> Vec<Line> {
    let lines: Vec<Line> = section
        .tables_in("line", "line", 1..=MOST_LINES)
        .iter()
        .enumerate()
        .map(|(i, table)| {
            let readers: Vec<Reader> = table
                .tables_in("reader", "reader", 1..=MOST_READERS)
                .into_iter()
                .enumerate()
                .map(|(r, reader_table)| {
                    let reader_table = reader_table.with_fallback(around.every_reader);
                    reader::read(&reader_table, r + 1, around.region, around.every_antenna)
                })
                .collect();
            let line =
                Line { name: table.name("name").unwrap_or_else(|| format!("line {}", i + 1)), readers };
            table.finish();
            if line.readers.is_empty() && table.find_own("reader").is_none() {
                table.missing("reader", "give the line a reader: [[point.line.reader]]");
            }
            line
        })
        .collect();
    if lines.is_empty() && section.find_own("line").is_none() {
        section.missing("line", "give the point a line: [[point.line]]");
    }
    lines
}

fn read_plane(section: &Section, number: usize) -> MetalPlane {
    let help = "a plane needs x_m, y_m and normal_azimuth_deg";
    let plane = MetalPlane {
        name: section.name("name").unwrap_or_else(|| format!("plane {number}")),
        x_m: section.number_required("x_m", &limits::PLANE_M, help).unwrap_or(0.0),
        y_m: section.number_required("y_m", &limits::PLANE_M, help).unwrap_or(0.0),
        normal_azimuth_deg: section
            .number_required("normal_azimuth_deg", &limits::AZIMUTH_DEG, help)
            .unwrap_or(0.0),
    };
    section.finish();
    plane
}
