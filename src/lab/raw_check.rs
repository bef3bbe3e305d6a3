//! Reads a raw `tag.toml` and checks it: limits, units that fit their column, and the set-up the units ask for.

use super::raw_file::{DecimalMark, LevelUnit, RawFile, Separator};
use super::toml_text;
use crate::diag::{Diagnostic, Source};
use std::sync::Arc;

/// Table, key, value, least, most, unit.
type LimitedKey = (&'static str, &'static str, Option<f64>, f64, f64, &'static str);

/// Reads and checks the text.
pub fn read(source: &Arc<Source>) -> Result<RawFile, Vec<Diagnostic>> {
    let file: RawFile = toml_text::read(source)?;
    let mut found = Vec::new();
    let (s, u) = (&file.setup, &file.uncertainty);
    let limits: [LimitedKey; 21] = [
        ("", "own_spacer_mm", Some(file.own_spacer_mm), 0.0, 50.0, "mm"),
        ("", "price", file.price, 0.0, 1e6, ""),
        ("setup", "distance_m", s.distance_m, 0.05, 30.0, "m"),
        ("setup", "receive_distance_m", s.receive_distance_m, 0.05, 30.0, "m"),
        ("setup", "antenna_gain_dbi", s.antenna_gain_dbi, -10.0, 25.0, "dBi"),
        ("setup", "receive_gain_dbi", s.receive_gain_dbi, -10.0, 25.0, "dBi"),
        (
            "setup",
            "cable_loss_db",
            s.cable_loss_db,
            0.0,
            60.0,
            "dB: a loss is written without a sign, and a cable does not amplify",
        ),
        (
            "setup",
            "receive_cable_loss_db",
            s.receive_cable_loss_db,
            0.0,
            60.0,
            "dB: a loss is written without a sign, and a cable does not amplify",
        ),
        ("setup", "polarisation_loss_db", Some(s.polarisation_loss_db), 0.0, 30.0, "dB"),
        ("setup", "antenna_largest_dimension_m", s.antenna_largest_dimension_m, 0.01, 10.0, "m"),
        ("setup", "max_generator_dbm", s.max_generator_dbm, -60.0, 60.0, "dBm"),
        ("setup", "min_generator_dbm", s.min_generator_dbm, -150.0, 60.0, "dBm"),
        ("setup", "power_step_db", s.power_step_db, 0.0, 6.0, "dB"),
        ("setup", "impedance_ohm", s.impedance_ohm, 1.0, 1000.0, "ohm"),
        ("uncertainty", "generator_sd_db", u.generator_sd_db, 0.0, 10.0, "dB"),
        ("uncertainty", "analyser_sd_db", u.analyser_sd_db, 0.0, 10.0, "dB"),
        ("uncertainty", "cable_sd_db", u.cable_sd_db, 0.0, 10.0, "dB"),
        ("uncertainty", "gain_sd_db", u.gain_sd_db, 0.0, 10.0, "dB"),
        ("uncertainty", "generator_reflection", u.generator_reflection, 0.0, 0.99, ""),
        ("uncertainty", "antenna_reflection", u.antenna_reflection, 0.0, 0.99, ""),
        ("uncertainty", "positioning_sd_db", u.positioning_sd_db, 0.0, 10.0, "dB"),
    ];
    for (table, key, value, min, max, unit) in limits {
        let Some(value) = value else { continue };
        if !(value >= min && value <= max) {
            let path: Vec<&str> = [table, key].into_iter().filter(|k| !k.is_empty()).collect();
            let message = format!("{key} = {value} is outside {min}..={max} {unit}");
            found.push(
                Diagnostic::error("tag-range", message.trim_end())
                    .at(source, toml_text::place(source, &path)),
            );
        }
    }
    file.spread.check(&mut |path, value, min, max, unit, _| {
        let Some(value) = value else { return };
        if !(value >= min && value <= max) {
            let key = path.last().copied().unwrap_or("");
            let message = format!("{key} = {value} is outside {min}..={max} {unit}");
            found.push(
                Diagnostic::error("tag-range", message.trim_end()).at(source, toml_text::place(source, path)),
            );
        }
    });
    super::link_profile::check(&file.link_profile, source, &mut found);
    let mut wrong = |path: &[&str], message: String, help: &str| {
        let finding = Diagnostic::error("raw-setup", message).at(source, toml_text::place(source, path));
        found.push(finding.help(help));
    };
    if file.export.separator == Separator::Comma && file.export.decimal == DecimalMark::Comma {
        let message = "decimal commas and comma separators cannot be told apart".to_owned();
        wrong(&["export"], message, "set separator = \"semicolon\" (or tab, pipe, blank)");
    }
    if file.export.comment.is_some_and(|c| !c.is_ascii()) {
        wrong(
            &["export", "comment"],
            "the comment mark is not ASCII".into(),
            "use one character such as % or #",
        );
    }
    if let (Some(distance), Some(half)) = (s.distance_m, u.distance_half_width_m)
        && !(half >= 0.0 && half < distance)
    {
        let message = format!("distance_half_width_m = {half} is outside 0..{distance} m");
        wrong(
            &["uncertainty", "distance_half_width_m"],
            message,
            "the error of the distance, not the distance",
        );
    }
    units(&file, &mut wrong);
    if file.sweep.is_empty() {
        wrong(&["sweep"], "no [[sweep]]".into(), "name the exported files, each in a table [[sweep]]");
    }
    for sweep in &file.sweep {
        if std::path::Path::new(&sweep.file).is_absolute() || sweep.file.contains("..") {
            let message = format!("file {:?} lies outside the tag folder", sweep.file);
            wrong(&["sweep"], message, "keep the exports beside tag.toml");
        }
    }
    if found.is_empty() { Ok(file) } else { Err(found) }
}

/// Units that fit their column, and the set-up they ask for.
fn units(file: &RawFile, wrong: &mut impl FnMut(&[&str], String, &str)) {
    use LevelUnit::{Dbm, Dbsm, Dbv, MilliW, SquareMetre, VoltPerMetre, W};
    let power = |unit: LevelUnit| matches!(unit, Dbm | Dbv | W | MilliW);
    let columns = &file.columns;
    if columns.threshold.is_none() && columns.reply.is_none() {
        wrong(&["columns"], "neither `threshold` nor `reply`".into(), "name at least one of the two columns");
    }
    let mut referred = false;
    if let Some(column) = &columns.threshold {
        referred |= power(column.unit);
        if !power(column.unit) && column.unit != VoltPerMetre {
            let message = "a threshold is a generator level or a field".to_owned();
            wrong(&["columns", "threshold", "unit"], message, "dBm, dBV, W, mW or V/m");
        }
    }
    let field = columns.threshold.as_ref().is_some_and(|c| c.unit == VoltPerMetre);
    if field && !file.export.no_answer.is_empty() {
        let message = "`no_answer` says nothing about a field strength".to_owned();
        wrong(&["export", "no_answer"], message, "write `>1.8` in the column: did not answer up to 1.8 V/m");
    }
    if let Some(column) = &columns.reply {
        referred |= power(column.unit);
        if column.unit == VoltPerMetre {
            let message = "a reply is an analyser level or a delta radar cross-section".to_owned();
            wrong(&["columns", "reply", "unit"], message, "dBm, dBV, W, mW, dBsm or m2");
        }
        if matches!(column.unit, Dbsm | SquareMetre) && file.setup.delta_rcs.is_none() {
            let message = "`setup.delta_rcs` must say which delta radar cross-section this is".to_owned();
            wrong(
                &["columns", "reply"],
                message,
                "delta_rcs = \"quarter\" or \"full\": they lie 6.02 dB apart",
            );
        }
    }
    if let Some(column) = &columns.reply_at {
        referred = true;
        if !power(column.unit) {
            let message = "`reply_at` is a generator level".to_owned();
            wrong(&["columns", "reply_at", "unit"], message, "dBm, dBV, W or mW");
        }
    }
    let setup = &file.setup;
    if referred {
        let needs: [(&str, bool); 3] = [
            ("distance_m", setup.distance_m.is_some()),
            ("antenna_gain_dbi", setup.antenna_gain_dbi.is_some() || setup.antenna_gain_file.is_some()),
            ("cable_loss_db", setup.cable_loss_db.is_some() || setup.cable_loss_file.is_some()),
        ];
        for (key, _) in needs.into_iter().filter(|(_, there)| !there) {
            let message = format!("`setup.{key}` is missing: levels cannot be referred to the tag");
            wrong(
                &["setup"],
                message,
                "gain and cable may also be files: antenna_gain_file, cable_loss_file",
            );
        }
    }
    let pairs = [
        ("antenna_gain", setup.antenna_gain_dbi.is_some(), setup.antenna_gain_file.is_some()),
        ("cable_loss", setup.cable_loss_db.is_some(), setup.cable_loss_file.is_some()),
        ("receive_gain", setup.receive_gain_dbi.is_some(), setup.receive_gain_file.is_some()),
        (
            "receive_cable_loss",
            setup.receive_cable_loss_db.is_some(),
            setup.receive_cable_loss_file.is_some(),
        ),
        (
            "transfer_threshold",
            setup.transfer_threshold_db.is_some(),
            setup.transfer_threshold_file.is_some(),
        ),
        (
            "transfer_backscatter",
            setup.transfer_backscatter_db.is_some(),
            setup.transfer_backscatter_file.is_some(),
        ),
    ];
    for (key, number, file) in pairs {
        if number && file {
            wrong(&["setup"], format!("`{key}` is given as a number and as a file"), "keep one of them");
        }
    }
    if !file.export.no_answer.is_empty() && setup.max_generator_dbm.is_none() {
        let message = "`setup.max_generator_dbm` is missing".to_owned();
        wrong(
            &["export", "no_answer"],
            message,
            "a tag that did not answer has a threshold above that level",
        );
    }
}
