//! The page of one passing.

use super::{assumed, inputs, run};
use crate::passing::Prepared;
use crate::passing::trace::TraceRow;
use crate::report::cautions::CAUTIONS;
use crate::report::figures::explain::{antennas, margins};
use crate::report::page::Page;
use crate::report::table::{Cell, Show, Table};
use crate::study::explain::PassingStory;
use crate::study::provenance::{Provenance, assumptions};

/// The page; the story must carry its rounds.
pub fn page(story: &PassingStory, prepared: &Prepared, seed: u64) -> Page {
    let point = prepared.points.iter().find(|p| p.name == story.point);
    let sensitivity_dbm = |row: &TraceRow| {
        point
            .and_then(|p| p.readers.iter().find(|r| r.name == row.reader && p.lines[r.line] == row.line))
            .map_or(f64::NAN, |r| r.sensitivity_dbm)
    };
    let mut drawn = Table::new(&[
        ("quantity", "drawn for this passing and race", Show::Fixed(0)),
        ("value", "value", Show::Fixed(2)),
    ]);
    let d = &story.draw;
    drawn.row([Cell::from("bib"), Cell::from(format!("{}, {}", d.placement, d.wetness))]);
    for (what, value) in [
        ("speed, m/s", d.speed_m_s),
        ("place across the road, m to the left", d.lateral_m),
        ("tag height, m", d.tag_height_m),
        ("gap to the body, mm", d.gap_mm),
        ("resonance lowered by, MHz", d.resonance_shift_mhz),
        ("film loss, dB each way", d.film_loss_db),
        ("cover loss, dB each way", d.cover_loss_db),
        ("this sample's offset, dB", d.sample_offset_db),
        ("this sample's shift, MHz", d.sample_shift_mhz),
        ("lean, degrees", d.lean_deg),
        ("yaw, degrees", d.yaw_deg),
        ("steps per minute", d.steps_per_min),
        ("neighbours", d.neighbours as f64),
        ("nearest neighbour, m", d.nearest_neighbour_m.unwrap_or(f64::NAN)),
        ("threshold error of the race (lab, samples, batch), dB", d.threshold_offset_db),
        ("Rician K, dB", d.rician_k_db),
        ("rear floor, dB", d.rear_floor_db),
        ("body loss beyond the phantom, dB", d.body_loss_db),
    ] {
        drawn.row([Cell::from(what), Cell::from(value)]);
    }
    let figure = margins(story, &sensitivity_dbm);
    let provenance = Provenance::new(seed, &prepared.course, &prepared.tag);
    let mut words = story.words.clone();
    if let Some(first) = words.get_mut(0..1) {
        first.make_ascii_uppercase();
    }
    let mut page = Page {
        study: "explain".into(),
        subject: format!(
            "{}, {}, race {}, passing {}",
            prepared.course.event_name, story.point, story.race, story.passing
        ),
        note: prepared.course.note.clone(),
        answer: format!("{}.", words.trim_end_matches('.')),
        caption: "How near each antenna came".into(),
        table: antennas(story),
        hinges: vec![],
        cautions: CAUTIONS.iter().map(|c| (*c).to_string()).collect(),
        figures: vec![figure],
        assumptions: assumed(&assumptions(&prepared.course)),
        inputs: inputs(&provenance),
        run: run(&provenance),
    };
    page.run.extend((0..drawn.rows.len()).map(|r| (drawn.shown(r, 0), drawn.shown(r, 1))));
    page
}
