//! The check as text, made to be read aloud: the verdict first, then what to act on, then the tables behind it.

use super::cautions::CAUTIONS;
use super::words::{grouped, table, wrap};
use crate::study::check::cover::CoverVerdict;
use crate::study::check::season::SeasonCheck;
use crate::study::check::{AntennaCheck, CheckReport, Finding, Gravity};

const WIDTH: usize = 100;

/// The whole report.
pub fn check_text(report: &CheckReport) -> String {
    let mut out = format!("{}: check before the race\n", report.event);
    if !report.note.is_empty() {
        out.push_str(&wrap(&report.note, WIDTH, ""));
    }
    out.push('\n');
    out.push_str(&wrap(&verdict(report), WIDTH, ""));
    findings(&mut out, &report.findings);
    region(&mut out, report);
    antennas(&mut out, report);
    sweeps(&mut out, report);
    assumed(&mut out, report);
    out.push_str("\nCautions\n");
    for caution in CAUTIONS {
        out.push_str(&wrap(&format!("- {caution}"), WIDTH, "  "));
    }
    out.push_str("\nInputs\n");
    for input in &report.inputs {
        out.push_str(&format!("  {}  sha256 {}\n", input.path, &input.sha256[..input.sha256.len().min(16)]));
    }
    out
}

/// The same of a season.
pub fn season_text(report: &SeasonCheck) -> String {
    let mut out = format!("{}: check before the season\n", report.season);
    if !report.note.is_empty() {
        out.push_str(&wrap(&report.note, WIDTH, ""));
    }
    out.push('\n');
    let count = |gravity: Gravity| report.findings.iter().filter(|f| f.gravity == gravity).count();
    let of = format!(
        "{} (calendar and what-ifs) with {}",
        plural(report.scenarios, "scenario"),
        plural(report.tags.len(), "tag")
    );
    let verdict = match (count(Gravity::Problem), count(Gravity::Warning)) {
        (0, 0) => format!("Nothing speaks against {of}, as far as this check goes."),
        (0, warnings) => {
            format!("No problem found in {of}, but {} to look at.", plural(warnings, "doubtful point"))
        }
        (problems, _) => format!("Do not transmit like this: {} in {of}.", plural(problems, "problem")),
    };
    out.push_str(&wrap(&verdict, WIDTH, ""));
    findings(&mut out, &report.findings);
    report.warnings.iter().for_each(|w| out.push_str(&wrap(&format!("- warning: {w}"), WIDTH, "  ")));
    out.push_str("\nCautions\n");
    for caution in CAUTIONS {
        out.push_str(&wrap(&format!("- {caution}"), WIDTH, "  "));
    }
    out
}

fn verdict(report: &CheckReport) -> String {
    let count = |gravity: Gravity| report.findings.iter().filter(|f| f.gravity == gravity).count();
    let antennas = plural(report.antennas.len(), "antenna");
    match (count(Gravity::Problem), count(Gravity::Warning)) {
        (0, 0) => format!(
            "Nothing speaks against this set-up: {antennas} within the limits of {}, as far as this check goes.",
            report.region.name
        ),
        (0, warnings) => format!(
            "No problem found with {antennas} in {}, but {} to look at.",
            report.region.name,
            plural(warnings, "doubtful point")
        ),
        (problems, _) => format!("Do not transmit like this: {}.", plural(problems, "problem")),
    }
}

fn plural(count: usize, word: &str) -> String {
    format!("{count} {word}{}", if count == 1 { "" } else { "s" })
}

/// Findings; those that say the same of several antennas are told once.
fn findings(out: &mut String, findings: &[Finding]) {
    let mut told: Vec<(&Finding, Vec<&str>)> = Vec::new();
    for finding in findings {
        match told.iter_mut().find(|(f, _)| f.code == finding.code && f.message == finding.message) {
            Some((_, places)) => places.push(&finding.place),
            None => told.push((finding, vec![&finding.place])),
        }
    }
    if !told.is_empty() {
        out.push_str("\nTo act on\n");
    }
    for (finding, places) in told {
        let gravity = match finding.gravity {
            Gravity::Problem => "PROBLEM",
            Gravity::Warning => "look again",
            Gravity::Note => "note",
        };
        let place = match places[..] {
            [""] => String::new(),
            [place] => format!(" At {place}."),
            _ => format!(" At {} antennas, the first is {}.", places.len(), places[0]),
        };
        let text = format!("- {gravity} [{}]: {}.{place}", finding.code, finding.message);
        out.push_str(&wrap(&text, WIDTH, "  "));
    }
}

fn region(out: &mut String, report: &CheckReport) {
    let r = &report.region;
    out.push_str("\nRadio rules\n");
    let bands: Vec<_> = r.bands_mhz.iter().map(|(low, high)| format!("{low} to {high} MHz")).collect();
    let text = format!(
        "{}: {}, {} channels, at most {} s on one. Limit {}. Source: {}. How sure: {}.",
        r.name,
        bands.join(" and "),
        r.channels,
        r.dwell_s,
        r.limit,
        r.source,
        r.certainty
    );
    out.push_str(&wrap(&text, WIDTH, "  "));
}

/// Antennas that differ in nothing but their place share a row.
fn antennas(out: &mut String, report: &CheckReport) {
    let mut groups: Vec<(&AntennaCheck, usize)> = Vec::new();
    for antenna in &report.antennas {
        let same = |a: &AntennaCheck| {
            (&a.point, &a.line, a.flat) == (&antenna.point, &antenna.line, antenna.flat)
                && a.power == antenna.power
                && a.exposure == antenna.exposure
                && a.directivity == antenna.directivity
        };
        match groups.iter_mut().find(|(a, _)| same(a)) {
            Some((_, count)) => *count += 1,
            None => groups.push((antenna, 1)),
        }
    }
    let name = |a: &AntennaCheck, count: usize| match count {
        1 => format!("{} / {} / {}", a.point, a.line, a.antenna),
        _ => format!("{} / {}: {count} like {}", a.point, a.line, a.antenna),
    };
    out.push_str("\nRadiated power\n");
    let rows: Vec<Vec<String>> = groups
        .iter()
        .map(|(a, count)| {
            vec![
                name(a, *count),
                format!("{:.1}", a.power_dbm),
                format!("{:.1}", a.cable_loss_db),
                format!("{:.1}", a.gain_dbi),
                format!("{:.2}", a.power.eirp_dbm),
                format!("{:.2}", a.power.erp_dbm),
                format!("{:+.2}", a.power.room_db),
                format!("{:.1}", a.directivity.directivity_dbi),
            ]
        })
        .collect();
    out.push_str(&table(
        &["antenna", "set dBm", "cable dB", "gain dBi", "EIRP dBm", "ERP dBm", "room dB", "directivity dBi"],
        &rows,
    ));
    out.push_str(&wrap(
        "Room: how far the setting lies below the limit. Gain counts over both polarisations. Directivity: the most gain the stated beamwidths can give.",
        WIDTH,
        "  ",
    ));

    out.push_str("\nKeep people who stay there at least this far away, m\n");
    let rows: Vec<Vec<String>> = groups
        .iter()
        .map(|(a, count)| {
            let e = &a.exposure;
            let mut row = vec![name(a, *count)];
            row.extend(
                [e.icnirp_m, e.icnirp_with_ground_m, e.fcc_m, e.fcc_with_ground_m, e.screening_m]
                    .map(|d| format!("{:.2}", ceil_to_hundredth(d))),
            );
            row
        })
        .collect();
    out.push_str(&table(&["antenna", "ICNIRP", "with ground", "FCC", "with ground", "largest"], &rows));
    let mut text = "Screening values, not an assessment: far-field formula at full power all the time, general public, whole body, 30 min average (ICNIRP 2020; 47 CFR 1.1310), without and with a ground reflection of 1.6 in field. So near to an antenna the formula is only a guide, and antennas side by side add up.".to_owned();
    if report.antennas.iter().any(|a| a.flat) {
        text.push_str(
            " Runners cross a mat in about a second; nobody should stand or linger on one that is on, nor work on it.",
        );
    }
    out.push_str(&wrap(&text, WIDTH, "  "));
}

fn ceil_to_hundredth(value: f64) -> f64 {
    (value * 100.0 - 1e-9).ceil() / 100.0
}

fn sweeps(out: &mut String, report: &CheckReport) {
    let c = &report.cover;
    out.push_str("\nSweeps and channels\n");
    let verdict = match c.verdict {
        CoverVerdict::Covered => "all of it is covered",
        CoverVerdict::WaterBeyond => "the channels are covered, the water shift is not",
        CoverVerdict::ChannelsBeyond => "some channels are not covered",
        CoverVerdict::NoOverlap => "nothing in common",
    };
    let text = format!(
        "Tag {} was swept from {} to {} MHz in every mount. Channels in use: {} to {} MHz; water moves the tag by up to {:.1} MHz, so the curves are read up to {:.1} MHz: {verdict}.",
        report.tag,
        c.swept_mhz.0,
        c.swept_mhz.1,
        c.channels_mhz.0,
        c.channels_mhz.1,
        c.water_shift_mhz,
        c.channels_mhz.1 + c.water_shift_mhz
    );
    out.push_str(&wrap(&text, WIDTH, "  "));
}

fn assumed(out: &mut String, report: &CheckReport) {
    if !report.effects_off.is_empty() {
        out.push_str(&wrap(
            &format!("\nSwitched off in this scenario: {}.", report.effects_off.join(", ")),
            WIDTH,
            "",
        ));
    }
    out.push_str(&format!("\nAssumed, not measured ({} runners)\n", grouped(report.runners)));
    for a in &report.assumptions {
        out.push_str(&wrap(&format!("- {} = {} ({})", a.what, a.value, a.source), WIDTH, "  "));
    }
    if !report.warnings.is_empty() {
        out.push_str("\nWarnings of the loaders\n");
        for warning in &report.warnings {
            out.push_str(&wrap(&format!("- {warning}"), WIDTH, "  "));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::study::check::{TagCover, check};

    fn text_of(scenario: &str) -> String {
        let (course, warnings) =
            crate::course::from_text("x.toml", scenario, std::path::Path::new("")).expect("valid");
        let tag = TagCover { name: "birch".to_owned(), swept_mhz: (850.0, 950.0), file_hashes: Vec::new() };
        check_text(&check(&course, &tag, &Default::default(), &warnings))
    }

    #[test]
    fn the_verdict_comes_first_and_no_line_is_too_long() {
        let text = text_of(include_str!("../../scenarios/half-marathon-rain-eu-lower.toml"));
        let verdict = text.lines().nth(3).unwrap_or_default();
        assert!(verdict.starts_with("Nothing speaks against this set-up: 16 antennas"), "{text}");
        for heading in
            ["Radiated power", "Keep people", "Sweeps and channels", "Assumed, not measured", "Cautions"]
        {
            assert!(text.contains(heading), "{heading}");
        }
        assert!(text.contains("Screening values, not an assessment"));
        assert!(text.lines().all(|l| l.chars().count() <= 130), "{text}");
    }

    #[test]
    fn problems_are_told_once_for_all_antennas_alike() {
        let loud = include_str!("../../scenarios/half-marathon-rain-eu-lower.toml")
            .replace("power_dbm = 30.0", "power_dbm = 33.0");
        let text = text_of(&loud);
        assert!(text.contains("Do not transmit like this: 16 problems."), "{text}");
        assert_eq!(text.matches("PROBLEM [power-above-limit]").count(), 1);
        let unwrapped = text.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(
            unwrapped.contains("At 16 antennas, the first is 10 km / mats / reader 1 / mat 1."),
            "{text}"
        );
    }
}
