//! The timing point from above, from the side and along the road, with the odds of a read.

use super::layout::{self, View};
use crate::course::timing_point::TimingPoint;
use crate::report::figure::{Axis, Figure, Heat, Height, Layer, Mark, Panel, Switch};
use crate::report::palette::{Ink, Style};
use crate::report::scale::Scale;
use crate::report::table::{Cell, Show, Table};
use crate::report::words::listed;
use crate::study::footprint::{Footprint, WetnessMap};

const CUTS: [f64; 7] = [0.02, 0.1, 0.25, 0.5, 0.75, 0.9, 0.98];

/// Metres of road over which the read odds are at least one half, averaged over the lateral places.
fn covered_m(footprint: &Footprint, map: &WetnessMap) -> f64 {
    let cells = map.read_odds.iter().flatten().filter(|p| **p >= 0.5).count();
    cells as f64 * footprint.cell_x_m / footprint.y_m.len() as f64
}

/// Heat maps over the plan, dry and soaked, with the layout to scale from three sides.
pub fn plan(footprint: &Footprint, point: &TimingPoint, key: &str) -> Figure {
    let ([x_antennas, y_ends, z_ends], reach) = layout::extent(point, footprint.tag_height_m);
    let read =
        footprint.maps.iter().flat_map(|m| &m.read_odds).flat_map(|row| row.iter().zip(&footprint.x_m));
    let x_ends = read
        .filter(|(p, _)| **p >= CUTS[0])
        .fold(x_antennas, |(low, high), (_, x)| (low.min(x - 0.3), high.max(x + 0.3)));
    let x = Axis::new("along the road, m; runners come from the left", linear(x_ends));
    let y = Axis::new("across the road, m; the runners' left is up", linear(y_ends));
    let z = Axis::new("height, m", linear(z_ends));
    let above = |map: &WetnessMap| {
        let heat = Heat {
            x0: footprint.x_m[0],
            dx: footprint.cell_x_m,
            y0: footprint.y_m[0],
            dy: footprint.cell_y_m,
            values: map.read_odds.clone(),
            cuts: CUTS,
            quantity: "odds of a read within a quarter metre".into(),
            percent: true,
        };
        let mut layers = vec![Layer::new("", Style::plain(Ink::Text), Mark::Heat(heat))];
        layers.extend(layout::layers(point, View::Above, footprint.tag_height_m));
        let title = format!("from above, {} bibs", map.wetness);
        let mut panel = panel(&title, x.clone(), y.clone(), layers);
        panel.switch = Switch::new("bibs", &map.wetness);
        panel
    };
    let mut panels: Vec<Panel> = footprint.maps.iter().map(above).collect();
    let side = layout::layers(point, View::Side, footprint.tag_height_m);
    panels.push(panel("from the side", Axis { label: "along the road, m".into(), ..x }, z.clone(), side));
    let front = layout::layers(point, View::Front, footprint.tag_height_m);
    // As wide as the view beside it, so that both are to one scale.
    let reach = reach.max(0.5 * (x_ends.1 - x_ends.0));
    let across = Axis::new("across the road, m to the runners' right", linear((-reach, reach)));
    panels.push(panel("as the runners see it", across, z, front));
    let mut table = Table::new(&[
        ("wetness", "bibs", Show::Fixed(0)),
        ("y_m", "across the road, m", Show::Fixed(2)),
        ("x_m", "along the road, m", Show::Fixed(2)),
        ("read_odds", "read within the cell", Show::Percent),
    ]);
    for map in &footprint.maps {
        for (y, row) in footprint.y_m.iter().zip(&map.read_odds) {
            for (x, odds) in footprint.x_m.iter().zip(row) {
                if (x_ends.0..=x_ends.1).contains(x) {
                    table.row([Cell::from(map.wetness.as_str()), (*y).into(), (*x).into(), (*odds).into()]);
                }
            }
        }
    }
    let whole_m = footprint.cell_x_m * footprint.x_m.len() as f64;
    let length = |m: &WetnessMap| match covered_m(footprint, m) {
        length if length < 0.05 => format!("nowhere with {} bibs", m.wetness),
        length if length > whole_m - 0.05 => format!("along all {whole_m:.0} m with {} bibs", m.wetness),
        length => format!("along {length:.1} of {whole_m:.0} m with {} bibs", m.wetness),
    };
    let lengths: Vec<String> = footprint.maps.iter().map(length).collect();
    Figure {
        key: key.into(),
        title: format!("{}: a read is likely {}", footprint.point, listed(&lengths)),
        reading: format!(
            "To scale. Colour: odds that at least one round reads the tag while it covers that quarter metre; likely \
             means one half or more, averaged over the lateral places. {} runners for each place, in their usual \
             placements. Antennas are drawn as squares of {} m.",
            footprint.runners_per_place,
            layout::HOUSING_M
        ),
        source: "simulation of this scenario and tag; few runners for each place, so a picture and not the forecast".into(),
        assumed: "placements, gaps, water, neighbours and diffuse waves as listed under the assumptions".into(),
        columns: 2,
        panels,
        table,
    }
}

fn linear((low, high): (f64, f64)) -> Scale {
    Scale::Linear { low, high }
}

fn panel(title: &str, x: Axis, y: Axis, layers: Vec<Layer>) -> Panel {
    Panel { title: title.into(), x, y, height: Height::ToScale, layers, switch: None }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::draw::{Dress, draw};
    use crate::study::footprint::{Detail, footprint};
    use std::path::Path;
    use std::sync::Arc;

    #[test]
    fn the_table_holds_what_the_map_shows() {
        let (course, _) =
            crate::course::load::load(Path::new("scenarios/half-marathon-rain-eu-lower.toml")).unwrap();
        let (tag, _) = crate::tag::load(&course.tag_folder).unwrap();
        let prepared = crate::passing::prepare(Arc::new(course), Arc::new(tag));
        let last = prepared.points.len() - 1;
        let look = std::env::var_os("READODDS_LOOK");
        let detail = if look.is_some() {
            Detail::PICTURE
        } else {
            Detail { step_across_m: 1.5, runners: 2.0, fewest: 1 }
        };
        let result = footprint(&prepared, 1, last, detail);
        let point = &prepared.course.points[last];
        let plan = plan(&result, point, "plan");
        let svg = draw(&plan, Dress::Whole);
        assert!(svg.contains(&point.name) && !svg.contains("NaN"));
        crate::report::sample::keep(&plan);
        let odds: Vec<f64> = result.maps[0].read_odds.concat();
        let shown = plan.table.rows.iter().filter(|r| r[0] == Cell::from("dry"));
        assert!(shown.clone().count() > 10);
        assert!(shown.clone().all(|r| matches!(r[3], Cell::Number(v) if odds.contains(&v))));
    }
}
