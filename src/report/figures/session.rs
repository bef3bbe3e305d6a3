//! What a laboratory session leaves beside the aligned curves: ripple shows as waves, drift as sweeps lying apart.
//!
//! Ripple and drift each have their own figure; the readings themselves a third.
//! Residual of a reading = threshold read − (average curve of its mount moved by the sample's offset and shift).

use super::lab::NAMED_SAMPLES;
use super::{figure, panel};
use crate::lab::faults::odds_in_words;
use crate::report::figure::{Along, Axis, Dot, Figure, Layer, Mark, Switch};
use crate::report::palette::{Dash, Ink, Marker, Style};
use crate::report::scale::Scale;
use crate::report::table::{Show, Table};
use crate::report::words::{listed, minus};
use crate::study::lab::TagAnswer;
use crate::study::lab::session::{RippleAnswer, SweepLevel};
use crate::tag::load::Measured;

/// Residuals of every sweep of the curve, a panel for each mount; `None` where nothing was read exactly.
pub fn residuals(measured: &Measured, key: &str) -> Option<Figure> {
    let mut table = Table::new(&[
        ("mount", "mount", Show::Fixed(0)),
        ("sample", "sample", Show::Fixed(0)),
        ("repeat", "repeat", Show::Fixed(0)),
        ("freq_mhz", "frequency, MHz", Show::Fixed(1)),
        ("residual_db", "reading less aligned curve, dB", Show::Fixed(2)),
    ]);
    let mut sizes: Vec<f64> = vec![];
    let mut drawn: Vec<(String, Vec<Layer>)> = vec![];
    for (mount, curve) in measured.mounts.iter().zip(measured.tag.curve.mounts()) {
        let mut layers = vec![];
        let used = measured.sweeps.iter().filter(|s| s.mount == *mount && s.link == measured.link);
        for sweep in used {
            let Some(k) = measured.samples.iter().position(|s| *s == sweep.sample) else { continue };
            let (offset, shift) = (measured.alignment.offset_db[k], measured.alignment.shift_mhz[k]);
            let mut points = vec![];
            for reading in &sweep.readings {
                let exact = reading.threshold_dbm.and_then(|level| level.exact());
                let residual =
                    exact.map(|v| v - offset - curve.threshold_dbm.value(reading.freq_mhz - shift));
                // A reading that is open on one side breaks the line.
                points.push((reading.freq_mhz, residual.unwrap_or(f64::NAN)));
                if let Some(residual) = residual {
                    sizes.push(residual.abs());
                    table.row([
                        mount.to_string().into(),
                        sweep.sample.as_str().into(),
                        sweep.repeat.as_str().into(),
                        reading.freq_mhz.into(),
                        residual.into(),
                    ]);
                }
            }
            let name = if sweep.repeat.is_empty() {
                format!("sample {}", sweep.sample)
            } else {
                format!("sample {}, {}", sweep.sample, sweep.repeat)
            };
            let many = measured.samples.len() > NAMED_SAMPLES;
            let (style, name) = match (many, layers.is_empty()) {
                (false, _) => (Style { width_px: 1.3, ..Style::series(k + 1) }, name),
                (true, true) => (Style::plain(Ink::Soft).wide(0.7), "each sweep".to_owned()),
                (true, false) => (Style::plain(Ink::Soft).wide(0.7), String::new()),
            };
            let line = Mark::Line { points, markers: false };
            layers.push(Layer::new(&name, style, line).switched(Switch::new("sample", &sweep.sample)));
        }
        let zero = Mark::Rule { along: Along::Y, at: 0.0, label: String::new() };
        layers.push(Layer::new("", Style::plain(Ink::Text).dashed(Dash::Dot), zero));
        drawn.push((mount.to_string(), layers));
    }
    sizes.sort_by(f64::total_cmp);
    let most = *sizes.last()?;
    let usual = sizes[(0.95 * (sizes.len() - 1) as f64) as usize];
    let every = || measured.sweeps.iter().flat_map(|s| &s.readings).map(|r| r.freq_mhz);
    let (low, high) = (every().fold(f64::INFINITY, f64::min), every().fold(f64::NEG_INFINITY, f64::max));
    let scale = if high > low { Scale::Linear { low, high } } else { Scale::around([low]) };
    let reach = most.clamp(0.2, 20.0);
    let y = Axis::new("reading less aligned curve, dB", Scale::around([-reach, reach]));
    let title = format!(
        "{}: 95 of 100 readings lie within {usual:.1} dB of the aligned curves, all within {most:.1} dB",
        measured.tag.name
    );
    let reading = "What is left of each reading once the average curve, the sample's offset and its shift are taken away. \
                   Even waves over frequency are ripple of the room or the cable; sweeps lying apart are drift or placing.";
    let source = format!("{} readings of {} samples", sizes.len(), measured.samples.len());
    let mut out = figure(key, title, reading, source, table);
    out.assumed = "a sample's whole curve moves together".into();
    out.columns = drawn.len().clamp(1, 3);
    out.panels = drawn
        .into_iter()
        .map(|(mount, layers)| {
            let mut one = panel(&mount, Axis::new("frequency, MHz", scale), y.clone(), 130.0, layers);
            one.switch = Switch::new("mount", &mount);
            one
        })
        .collect();
    Some(out)
}

/// A scale that leaves room for the markers at both ends.
fn padded(low: f64, high: f64) -> Scale {
    let room = 0.02 * (high - low).max(1e-9);
    Scale::Linear { low: low - room, high: high + room }
}

/// Ripple over frequency with the fitted sinusoid, a panel for each mount; `None` where no sweep is long enough to look.
pub fn ripple(tag: &TagAnswer, key: &str) -> Option<Figure> {
    let all = &tag.session.ripples;
    let first = all.first()?;
    let mut table = Table::new(&[
        ("mount", "mount", Show::Fixed(0)),
        ("freq_mhz", "frequency, MHz", Show::Fixed(1)),
        ("rest_db", "mean threshold less smooth curve, dB", Show::Fixed(3)),
        ("fitted_db", "fitted sinusoid, dB", Show::Fixed(3)),
    ]);
    let every = || all.iter().flat_map(|r| &r.freq_mhz).copied();
    let (low, high) = (every().fold(f64::INFINITY, f64::min), every().fold(f64::NEG_INFINITY, f64::max));
    let x = Axis::new("frequency, MHz", padded(low, high));
    let reach = all.iter().flat_map(|r| &r.rest_db).fold(0.3_f64, |a, v| a.max(v.abs()));
    let y = Axis::new("less the smooth curve, dB", Scale::around([-reach, reach]));
    let said = |r: &RippleAnswer| {
        let (wave, odds) = (&r.ripple, odds_in_words(r.ripple.false_alarm_odds));
        if r.found {
            format!("{}: ±{:.1} dB, way {:.1} m longer", r.mount, wave.amplitude, wave.path_difference_m)
        } else {
            format!("{}: no ripple (chance {odds})", r.mount)
        }
    };
    let panels = all.iter().map(|r| {
        for ((freq, rest), fitted) in r.freq_mhz.iter().zip(&r.rest_db).zip(&r.fitted_db) {
            table.row([r.mount.as_str().into(), (*freq).into(), (*rest).into(), (*fitted).into()]);
        }
        let dots = r.freq_mhz.iter().zip(&r.rest_db).map(|(freq, rest)| Dot {
            at: *freq,
            value: *rest,
            inner: None,
            outer: None,
            tip: format!("{freq} MHz: {rest:+.2} dB"),
        });
        let style = Style { marker: Marker::Point, ..Style::series(0) };
        let read = Layer::new("mean of the samples", style, Mark::Dots(Along::Y, dots.collect()));
        let points = r.freq_mhz.iter().copied().zip(r.fitted_db.iter().copied()).collect();
        let line = Mark::Line { points, markers: false };
        let style = if r.found {
            Style::series(2).wide(1.8).dashed(Dash::Solid)
        } else {
            Style::plain(Ink::Soft).dashed(Dash::Dot)
        };
        let name = if r.found { "fitted sinusoid" } else { "strongest sinusoid, not above chance" };
        let zero = Mark::Rule { along: Along::Y, at: 0.0, label: String::new() };
        let zero = Layer::new("", Style::plain(Ink::Soft).dashed(Dash::Dot), zero);
        let mut one =
            panel(&said(r), x.clone(), y.clone(), 130.0, vec![zero, read, Layer::new(name, style, line)]);
        one.switch = Switch::new("mount", &r.mount);
        one
    });
    let panels: Vec<_> = panels.collect();
    let worst =
        all.iter().filter(|r| r.found).max_by(|a, b| a.ripple.amplitude.total_cmp(&b.ripple.amplitude));
    let title = match worst {
        Some(r) => format!(
            "{}: a reflection on a way {:.1} m longer ripples the threshold by ±{:.1} dB, once every {:.0} MHz",
            tag.name, r.ripple.path_difference_m, r.ripple.amplitude, r.ripple.period_mhz
        ),
        None => format!("{}: no ripple of the room above chance", tag.name),
    };
    let reading = "Mean threshold of the samples of a mount less a smooth curve (a polynomial of degree 5). A reflection \
                   makes even waves, alike in all mounts: their period in frequency gives how much longer its way is.";
    let mut out = figure(key, title, reading, format!("{} frequencies", first.freq_mhz.len()), table);
    out.assumed = String::new();
    out.columns = panels.len().clamp(1, 3);
    out.panels = panels;
    Some(out)
}

/// Level of every sweep in the order of measuring; `None` with fewer than three sweeps.
pub fn drift(tag: &TagAnswer, key: &str) -> Option<Figure> {
    let session = &tag.session;
    if session.sweeps.len() < 3 {
        return None;
    }
    let mut table = Table::new(&[
        ("order", "order", Show::Fixed(0)),
        ("minute", "minute", Show::Fixed(0)),
        ("mount", "mount", Show::Fixed(0)),
        ("sample", "sample", Show::Fixed(0)),
        ("repeat", "repeat", Show::Fixed(0)),
        ("day", "day", Show::Fixed(0)),
        ("level_db", "level, dB", Show::Fixed(2)),
    ]);
    let last = session.sweeps.last().and_then(|s| s.minute).unwrap_or(0.0);
    // Long campaigns in hours.
    let (unit, per) = if last > 600.0 { ("hours", 60.0) } else { ("minutes", 1.0) };
    let at = |s: &SweepLevel| if session.timed { s.minute.unwrap_or(0.0) / per } else { s.order as f64 };
    for s in &session.sweeps {
        table.row([
            (s.order as f64).into(),
            s.minute.into(),
            s.mount.as_str().into(),
            s.sample.as_str().into(),
            s.repeat.as_str().into(),
            s.day.as_str().into(),
            s.level_db.into(),
        ]);
    }
    let label = if session.timed {
        format!("{unit} after the first sweep")
    } else {
        "measuring order (of the files)".into()
    };
    let (first, end) = session
        .sweeps
        .iter()
        .map(at)
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), v| (a.min(v), b.max(v)));
    let x = Axis::new(&label, padded(first, end));
    let reach = session.sweeps.iter().fold(0.3_f64, |a, s| a.max(s.level_db.abs()));
    let y = Axis::new("level of the sweep, dB", Scale::around([-reach, reach]));
    let mut mounts: Vec<&str> = vec![];
    for s in &session.sweeps {
        if !mounts.contains(&s.mount.as_str()) {
            mounts.push(&s.mount);
        }
    }
    let zero = Mark::Rule { along: Along::Y, at: 0.0, label: String::new() };
    let mut layers = vec![Layer::new("", Style::plain(Ink::Soft).dashed(Dash::Dot), zero)];
    for (k, mount) in mounts.iter().enumerate() {
        let dots = session.sweeps.iter().filter(|s| s.mount == *mount).map(|s| {
            let named = [("repeat", &s.repeat), ("day", &s.day)].into_iter().filter(|(_, n)| !n.is_empty());
            let named: String = named.map(|(what, name)| format!(", {what} {name}")).collect();
            Dot {
                at: at(s),
                value: s.level_db,
                inner: None,
                outer: None,
                tip: format!("sample {}{named}: {:+.2} dB", s.sample, s.level_db),
            }
        });
        let layer = Layer::new(mount, Style::series(k), Mark::Dots(Along::Y, dots.collect()));
        layers.push(layer.switched(Switch::new("mount", mount)));
    }
    // A straight line only where repeats show a drift and chance would hardly show the slope.
    let drifts: Vec<_> = tag.findings.iter().filter(|f| f.kind == "drift").collect();
    if let Some(line) = session.drift.filter(|d| d.p_value < 0.01 && !drifts.is_empty()) {
        let middle = session.sweeps.iter().map(at).sum::<f64>() / session.sweeps.len() as f64;
        let mean = session.sweeps.iter().map(|s| s.level_db).sum::<f64>() / session.sweeps.len() as f64;
        let slope = if session.timed { line.value * per / 60.0 } else { line.value };
        let points = [first, end].map(|t| (t, mean + slope * (t - middle))).to_vec();
        let name = if session.timed {
            format!("straight line: {:+.2} dB an hour", line.value)
        } else {
            format!("straight line: {:+.3} dB a sweep", line.value)
        };
        let style = Style::plain(Ink::Text).dashed(Dash::Long);
        layers.push(Layer::new(&minus(&name), style, Mark::Line { points, markers: false }));
    }
    let range =
        session.sweeps.iter().fold((0.0_f64, 0.0_f64), |(a, b), s| (a.min(s.level_db), b.max(s.level_db)));
    let odd: Vec<(&str, &str)> =
        tag.precision.iter().flat_map(|p| p.flags.iter().map(|f| (p.factor, f.level.as_str()))).collect();
    let title = match (&drifts[..], &odd[..]) {
        ([], []) => format!(
            "{}: sweeps lie within {} and {} dB of their curves; {}",
            tag.name,
            minus(&format!("{:+.1}", range.0)),
            minus(&format!("{:+.1}", range.1)),
            if tag.repeats.is_some() { "no drift found" } else { "without repeats no drift can be told" }
        ),
        ([], [(factor, only)]) => format!("{}: {factor} {only} stands out", tag.name),
        ([], many @ [(factor, _), ..]) => {
            let names: Vec<String> = many.iter().map(|(_, level)| (*level).to_owned()).collect();
            format!("{}: {factor}s {} stand out", tag.name, listed(&names))
        }
        (many, _) => {
            let most =
                many.iter().map(|f| f.number).fold(0.0_f64, |a, v| if v.abs() > a.abs() { v } else { a });
            let most = minus(&format!("{most:+.1}"));
            format!("{}: the last repeats read {most} dB against the first", tag.name)
        }
    };
    let reading = "One point a sweep: its mean reading less the average curve moved by the sample's offset and shift. A drift \
                   moves all samples of later sweeps the same way; carelessly placed samples scatter.";
    let mut out = figure(key, title, reading, format!("{} sweeps", session.sweeps.len()), table);
    out.assumed = "a sample's whole curve moves together".into();
    out.columns = 1;
    out.panels = vec![panel("", x, y, 200.0, layers)];
    Some(out)
}
