//! What a laboratory session leaves beside the aligned curves: ripple shows as waves, drift as sweeps lying apart.
//!
//! Residual of a reading = threshold read − (average curve of its mount moved by the sample's offset and shift).

use super::predict::{figure, panel};
use crate::report::figure::{Along, Axis, Figure, Layer, Mark, Switch};
use crate::report::palette::{Dash, Ink, Style};
use crate::report::scale::Scale;
use crate::report::table::{Show, Table};
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
            let style = Style { width_px: 1.3, ..Style::series(k + 1) };
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
    let reach = most.clamp(0.2, 6.0);
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
