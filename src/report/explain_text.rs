//! One passing as text or CSV.

use super::visible::cell;
use super::words::{grouped, percent, rate_percent, table, wrap};
use crate::passing::trace::TraceRow;
use crate::study::explain::PassingStory;

/// Columns of the trace, in this order.
pub const TRACE_COLUMNS: [&str; 24] = [
    "time_s",
    "x_m",
    "y_m",
    "z_m",
    "yaw_deg",
    "gap_mm",
    "line",
    "reader",
    "antenna",
    "freq_mhz",
    "direct_dbm",
    "direct_screens_db",
    "reflected_dbm",
    "scattered_dbm",
    "losses_db",
    "incident_dbm",
    "measured_dbm",
    "threshold_dbm",
    "backscatter_db",
    "received_dbm",
    "awake",
    "powered_share",
    "heard_odds",
    "alone_odds",
];

/// The story of one passing: draw, antennas, and the strongest rounds.
pub fn story_text(story: &PassingStory, most_rounds: usize) -> String {
    let d = &story.draw;
    let mut out = format!("{}, race {}, passing {}\n", story.point, story.race, story.passing);
    out.push_str(&wrap(&format!("{}.", story.words), 100, "  "));
    out.push_str(&format!("  Miss odds of this very sample: {}\n\n", odds(story.miss_odds)));
    out.push_str("Drawn for this passing\n");
    let mut rows = vec![
        vec!["speed".into(), format!("{:.2} m/s", d.speed_m_s)],
        vec!["place across the road".into(), format!("{:+.2} m", d.lateral_m)],
        vec!["tag height".into(), format!("{:.2} m", d.tag_height_m)],
        vec!["bib".into(), format!("{}, {}", d.placement, d.wetness)],
        vec!["gap to the body".into(), format!("{:.1} mm", d.gap_mm)],
        vec!["resonance lowered by".into(), format!("{:.1} MHz", d.resonance_shift_mhz)],
        vec!["film and cover loss".into(), format!("{:.2} dB each way", d.film_loss_db + d.cover_loss_db)],
        vec!["this sample".into(), format!("{:+.2} dB, {:+.2} MHz", d.sample_offset_db, d.sample_shift_mhz)],
        vec!["lean, yaw".into(), format!("{:.1}, {:.1} deg", d.lean_deg, d.yaw_deg)],
        vec!["steps".into(), format!("{:.0} per min", d.steps_per_min)],
        vec![
            "sway, flutter, bounce".into(),
            format!("{:.1} deg, {} of the gap, {:.3} m", d.sway_deg, percent(d.flutter_share), d.bounce_m),
        ],
        vec!["neighbours within 4 m".into(), d.neighbours.len().to_string()],
    ];
    if let Some(nearest) = d.nearest_neighbour_m {
        rows.push(vec!["nearest neighbour".into(), format!("{nearest:.2} m")]);
    }
    for (reader, tags) in &story.contenders {
        rows.push(vec![format!("tags contending at {reader}"), tags.to_string()]);
    }
    out.push_str(&table(&["quantity", "value"], &rows));
    out.push_str("\nDrawn for this race\n");
    out.push_str(&table(
        &["quantity", "value"],
        &[
            vec!["threshold error (lab, samples, batch)".into(), format!("{:+.2} dB", d.threshold_offset_db)],
            vec!["scatter loss".into(), format!("{:+.1} dB", d.scatter_loss_db)],
            vec!["crosswise response".into(), format!("-{:.1} dB", d.cross_polar_db)],
            vec!["cling factor".into(), format!("{:.2}", d.cling_factor)],
            vec!["body loss beyond the phantom".into(), format!("{:+.2} dB", d.body_loss_db)],
        ],
    ));
    out.push_str("\nAntennas\n");
    let rows: Vec<Vec<String>> = story
        .antennas
        .iter()
        .map(|a| {
            vec![
                format!("{} / {}", a.line, a.antenna),
                a.best_margin_db.map_or("-".into(), |m| format!("{m:+.1} dB")),
                format!("{} of {}", grouped(a.awake_rounds as u64), grouped(a.rounds as u64)),
                percent(a.best_heard_odds),
                odds(a.read_odds),
            ]
        })
        .collect();
    out.push_str(&table(
        &["line / antenna", "best margin", "awake rounds", "heard at best", "read odds"],
        &rows,
    ));
    if !story.rounds.is_empty() {
        let mut strongest: Vec<_> = story.rounds.iter().collect();
        strongest.sort_by(|a, b| {
            (b.incident_dbm - b.threshold_dbm).total_cmp(&(a.incident_dbm - a.threshold_dbm))
        });
        strongest.truncate(most_rounds);
        strongest.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
        out.push_str(&format!(
            "\nThe {} strongest of {} rounds, powers in dBm: direct, reflected and scattered waves add with their\nphases to the incident power (all rounds: --format csv; all ways with phases: --format json)\n",
            strongest.len(),
            grouped(story.rounds.len() as u64)
        ));
        let rows: Vec<Vec<String>> = strongest
            .iter()
            .map(|r| {
                vec![
                    format!("{:+.3}", r.time_s),
                    format!("{:+.2}", r.x_m),
                    r.antenna.clone(),
                    format!("{:.1}", r.gap_mm),
                    format!("{:.1}", r.direct().part_dbm),
                    r.reflected_dbm().map_or("-".into(), |dbm| format!("{dbm:.1}")),
                    r.scattered.as_ref().map_or("-".into(), |s| format!("{:.1}", s.part_dbm)),
                    format!("{:.1}", r.incident_dbm),
                    format!("{:.1}", r.threshold_dbm),
                    format!("{:.1}", r.received_dbm),
                    awake(r).into(),
                    percent(r.heard_odds),
                ]
            })
            .collect();
        out.push_str(&table(
            &[
                "time s",
                "x m",
                "antenna",
                "gap mm",
                "direct",
                "reflected",
                "scattered",
                "incident",
                "threshold",
                "received",
                "awake",
                "heard",
            ],
            &rows,
        ));
    }
    out
}

/// Under power and started, or not.
fn awake(r: &TraceRow) -> &'static str {
    match (r.awake, r.incident_dbm >= r.threshold_dbm) {
        (true, _) => "yes",
        (false, true) => "starting",
        (false, false) => "no",
    }
}

/// What became of it, in one sentence.
pub fn outcome(story: &PassingStory) -> String {
    let by = match story.antennas.iter().filter(|a| a.read_odds > 0.5).count() {
        0 => "no antenna is likely to read it".to_owned(),
        1 => "one antenna is likely to read it".to_owned(),
        n => format!("{n} of {} antennas are likely to read it", story.antennas.len()),
    };
    let said = if story.miss_odds > 0.5 {
        "missed"
    } else if story.miss_odds > 0.05 {
        "in doubt"
    } else {
        "read"
    };
    format!("This runner is {said}: odds of a miss {}, {by}.", odds(story.miss_odds))
}

fn odds(p: f64) -> String {
    // Smaller numbers are the model's arithmetic, not odds anybody could bet on.
    if p > 0.0 && p < 1e-12 {
        "below 1e-12".to_owned()
    } else if p > 0.0 && p < 1e-3 {
        format!("{p:.1e}")
    } else if p > 0.999 && p < 1.0 {
        format!("1 - {:.1e}", 1.0 - p)
    } else {
        rate_percent((p * 1e4).round() / 1e4)
    }
}

/// The worst passings, a paragraph each.
pub fn worst_text(point: &str, stories: &[PassingStory], races: u64) -> String {
    if stories.is_empty() {
        return format!(
            "At {point} no passing with odds of a miss was met in the first {races} race days looked at.\n"
        );
    }
    let mut out =
        format!("The passings that hurt most at {point}, over the first {races} race days, worst first\n");
    for (i, story) in stories.iter().enumerate() {
        out.push_str(&wrap(
            &format!(
                "{}. {}. Miss odds {}; such bibs are {} of the field. (race {}, passing {})",
                i + 1,
                story.words,
                odds(story.miss_odds),
                percent(story.kind_share),
                story.race,
                story.passing
            ),
            100,
            "  ",
        ));
    }
    out.push_str(&wrap("Replay one: readodds explain SCENARIO --point NAME --race N --passing N", 100, "  "));
    out
}

/// All rounds as CSV with a header line; floats in full precision.
pub fn trace_csv(story: &PassingStory) -> Result<String, csv::Error> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(TRACE_COLUMNS)?;
    let or_empty = |part: Option<f64>| part.map_or(String::new(), |dbm| dbm.to_string());
    for r in &story.rounds {
        writer.write_record([
            r.time_s.to_string(),
            r.x_m.to_string(),
            r.y_m.to_string(),
            r.z_m.to_string(),
            r.yaw_deg.to_string(),
            r.gap_mm.to_string(),
            cell(&r.line).into_owned(),
            cell(&r.reader).into_owned(),
            cell(&r.antenna).into_owned(),
            r.freq_mhz.to_string(),
            r.direct().part_dbm.to_string(),
            r.direct().screens_db.to_string(),
            or_empty(r.reflected_dbm()),
            or_empty(r.scattered.as_ref().map(|s| s.part_dbm)),
            r.losses_db.to_string(),
            r.incident_dbm.to_string(),
            r.measured_dbm.to_string(),
            r.threshold_dbm.to_string(),
            r.backscatter_db.to_string(),
            r.received_dbm.to_string(),
            u8::from(r.awake).to_string(),
            r.powered_share.to_string(),
            r.heard_odds.to_string(),
            r.alone_odds.to_string(),
        ])?;
    }
    let bytes = writer.into_inner().map_err(|e| csv::Error::from(e.into_error()))?;
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}
