//! The page of one passing.

use super::{assumed, frame};
use crate::passing::Prepared;
use crate::passing::trace::TraceRow;
use crate::report::explain_text::outcome;
use crate::report::figures::explain::{antennas, margins};
use crate::report::page::Page;
use crate::report::table::{Cell, Show, Table};
use crate::report::words::{grouped, listed};
use crate::study::explain::{Answer, AntennaBest, PassingStory};
use crate::study::provenance::assumptions;

/// The page of an answer with one passing, rounds and all.
pub fn page(answer: &Answer, prepared: &Prepared) -> Page {
    let story = &answer.passings[0];
    let point = prepared.points.iter().find(|p| p.name == story.point);
    let sensitivity_dbm = |row: &TraceRow| {
        point
            .and_then(|p| p.readers.iter().find(|r| r.name == row.reader && p.lines[r.line] == row.line))
            .map_or(f64::NAN, |r| r.sensitivity_dbm)
    };
    let figure = margins(story, &sensitivity_dbm);
    let mut words = story.words.clone();
    if let Some(first) = words.get_mut(0..1) {
        first.make_ascii_uppercase();
    }
    Page {
        subject: format!(
            "{}, {}, race {}, passing {}",
            prepared.course.event_name, story.point, story.race, story.passing
        ),
        note: prepared.course.note.clone(),
        answer: format!("{} {}.", outcome(story), words.trim_end_matches('.')),
        caption: "How near each antenna came".into(),
        table: antennas(story),
        hinges_heading: "What decided it".into(),
        hinges: decided(story),
        figures: vec![figure],
        further: vec![("Drawn for this passing and its race".into(), drawn(story))],
        ..frame("explain", &answer.provenance, assumed(&assumptions(&prepared.course)))
    }
}

/// How near the best antennas came, and what stood against and for the tag.
fn decided(story: &PassingStory) -> Vec<String> {
    let mut best: Vec<(f64, &AntennaBest)> =
        story.antennas.iter().filter_map(|a| a.best_margin_db.map(|m| (m, a))).collect();
    best.sort_by(|a, b| b.0.total_cmp(&a.0));
    let near = |(margin, a): &(f64, &AntennaBest)| {
        let way = if *margin < 0.0 { "short of waking the tag" } else { "to spare" };
        let awake =
            format!("awake in {} of {} rounds", grouped(a.awake_rounds as u64), grouped(a.rounds as u64));
        format!("{} of {}: {:.1} dB {way} at best, {awake}.", a.antenna, a.line, margin.abs())
    };
    let mut out: Vec<String> = best.iter().take(3).map(near).collect();
    let d = &story.draw;
    let losses = [
        ("threshold error of the race", d.threshold_offset_db),
        ("this sample against the average", d.sample_offset_db),
        ("water film, each way", d.film_loss_db),
        ("clothing over the bib, each way", d.cover_loss_db),
        ("body beyond the phantom", d.body_loss_db),
    ];
    for (heading, sign) in [("Against the tag", 1.0), ("For the tag", -1.0)] {
        let mut parts: Vec<_> = losses.iter().filter(|(_, db)| sign * db >= 0.05).collect();
        parts.sort_by(|a, b| (sign * b.1).total_cmp(&(sign * a.1)));
        let parts: Vec<String> =
            parts.iter().map(|(what, db)| format!("{what} {:.1} dB", db.abs())).collect();
        if !parts.is_empty() {
            out.push(format!("{heading}: {}.", listed(&parts)));
        }
    }
    out
}

/// Every quantity drawn.
fn drawn(story: &PassingStory) -> Table {
    let d = &story.draw;
    let mut table = Table::new(&[
        ("quantity", "quantity", Show::Fixed(0)),
        ("value", "value", Show::Fixed(2)),
        ("unit", "unit", Show::Fixed(0)),
    ]);
    table.row([Cell::from("bib"), format!("{}, {}", d.placement, d.wetness).into(), "".into()]);
    for (what, value, unit) in [
        ("speed", d.speed_m_s, "m/s"),
        ("place across the road, to the left of the middle", d.lateral_m, "m"),
        ("tag height", d.tag_height_m, "m"),
        ("bounce, up and down", d.bounce_m, "m"),
        ("sway of the trunk", d.sway_deg, "degrees"),
        ("flutter, share of the air gap", d.flutter_share, ""),
        ("gap to the body", d.gap_mm, "mm"),
        ("resonance lowered by", d.resonance_shift_mhz, "MHz"),
        ("film loss", d.film_loss_db, "dB each way"),
        ("cover loss", d.cover_loss_db, "dB each way"),
        ("this sample's offset", d.sample_offset_db, "dB"),
        ("this sample's shift", d.sample_shift_mhz, "MHz"),
        ("lean", d.lean_deg, "degrees"),
        ("yaw", d.yaw_deg, "degrees"),
        ("steps", d.steps_per_min, "a minute"),
        ("nearest neighbour", d.nearest_neighbour_m.unwrap_or(f64::NAN), "m"),
        ("threshold error of the race: lab, samples, batch", d.threshold_offset_db, "dB"),
        ("scatter loss", d.scatter_loss_db, "dB"),
        ("crosswise response, below the other", d.cross_polar_db, "dB"),
        ("factor on how closely bibs cling", d.cling_factor, ""),
        ("body loss beyond the phantom", d.body_loss_db, "dB"),
    ] {
        table.row([Cell::from(what), Cell::from(value), unit.into()]);
    }
    table.row([Cell::from("neighbours within 4 m"), grouped(d.neighbours.len() as u64).into(), "".into()]);
    for (reader, tags) in &story.contenders {
        let what = format!("tags contending at {reader}, this one included");
        table.row([Cell::from(what), grouped(u64::from(*tags)).into(), "".into()]);
    }
    table
}
