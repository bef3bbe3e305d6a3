//! Figures of a laboratory session: threshold and backscatter in every mount, the samples, tags beside each other.
//!
//! Threshold and backscatter never share a pair of axes: they are different quantities, and where two curves cross
//! would mean nothing.

use super::{figure, panel};
use crate::report::figure::{Along, Axis, Dot, Figure, Layer, Mark, Panel, Switch};
use crate::report::palette::{Dash, Ink, Style};
use crate::report::scale::Scale;
use crate::report::table::{Cell, Show, Table};
use crate::report::words::minus;
use crate::study::lab::{BandAnswer, CurvePoint, LabAnswer, MountAnswer, TagAnswer};

fn source(tag: &TagAnswer) -> String {
    let how = if tag.referred_here {
        "raw readings, referred to the tag here"
    } else {
        "readings referred to the tag"
    };
    format!("{} samples of {}, {how}", tag.samples.len(), tag.name)
}

fn frequency(mounts: &[&MountAnswer]) -> Axis {
    let all = || mounts.iter().flat_map(|m| &m.curve).map(|p| p.freq_mhz);
    let (low, high) = (all().fold(f64::INFINITY, f64::min), all().fold(f64::NEG_INFINITY, f64::max));
    let scale = if high > low { Scale::Linear { low, high } } else { Scale::around([low.max(0.0)]) };
    Axis::new("frequency, MHz", scale)
}

/// Regional bands as shading; those that overlap are joined. The legend names them all.
fn bands(mount: &MountAnswer) -> Vec<Layer> {
    let mut list: Vec<(f64, f64)> = mount.bands.iter().map(|b| (b.low_mhz, b.high_mhz)).collect();
    list.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut joined: Vec<(f64, f64)> = vec![];
    for (low, high) in list {
        match joined.last_mut() {
            Some(last) if low <= last.1 => last.1 = last.1.max(high),
            _ => joined.push((low, high)),
        }
    }
    let named = |b: &BandAnswer| format!("{} {} to {} MHz", b.region, b.low_mhz, b.high_mhz);
    let name = match &mount.bands[..] {
        few if few.len() <= 3 => few.iter().map(named).collect::<Vec<_>>().join(", "),
        many => format!("bands of {} regions", many.len()),
    };
    let shade = |(from, to)| {
        let mark = Mark::Shade { along: Along::X, from, to, label: String::new() };
        Layer::new(&name, Style::plain(Ink::Wash), mark)
    };
    joined.into_iter().map(shade).collect()
}

/// Samples that still get a line style of their own.
pub(super) const NAMED_SAMPLES: usize = 6;

/// Threshold of a point, or a hole in the line where no sample woke.
fn woke(p: &CurvePoint) -> f64 {
    if p.never_woke { f64::NAN } else { p.threshold_dbm }
}

/// Interval of the average tag; where no sample woke it is what is believed.
fn interval(curve: &[CurvePoint]) -> Vec<(f64, f64, f64)> {
    curve.iter().map(|p| (p.freq_mhz, p.low_dbm, p.high_dbm)).collect()
}

/// The average curve moved by each sample's offset and shift.
fn moved(tag: &TagAnswer, curve: &[CurvePoint]) -> Vec<Layer> {
    let many = tag.samples.len() > NAMED_SAMPLES;
    let line = |(k, sample): (usize, &String)| {
        let (offset, shift) = (tag.spread.offset_db.get(k)?, tag.spread.shift_mhz.get(k)?);
        let points = curve.iter().map(|p| (p.freq_mhz + shift, woke(p) + offset)).collect();
        let (style, name) = match (many, k) {
            (false, _) => (Style { width_px: 1.0, ..Style::series(k + 1) }, format!("sample {sample}")),
            (true, 0) => (Style::plain(Ink::Soft).wide(0.7), "each sample".to_owned()),
            (true, _) => (Style::plain(Ink::Soft).wide(0.7), String::new()),
        };
        let switch = Switch::new("sample", sample);
        Some(Layer::new(&name, style, Mark::Line { points, markers: false }).switched(switch))
    };
    tag.samples.iter().enumerate().filter_map(line).collect()
}

/// Thresholds of one tag, a panel for each mount.
pub fn thresholds(tag: &TagAnswer, level: f64, key: &str) -> Figure {
    let mounts: Vec<&MountAnswer> = tag.mounts.iter().collect();
    let mut table = Table::new(&[
        ("mount", "mount", Show::Fixed(0)),
        ("freq_mhz", "frequency, MHz", Show::Fixed(1)),
        ("threshold_dbm", "threshold, dBm", Show::Fixed(2)),
        ("low_dbm", "from", Show::Fixed(2)),
        ("high_dbm", "to", Show::Fixed(2)),
        ("never_woke", "", Show::Fixed(0)),
    ]);
    let offsets = || tag.spread.offset_db.iter().copied();
    let (least, most) = (offsets().fold(0.0, f64::min), offsets().fold(0.0, f64::max));
    let bands_of = mounts.iter().flat_map(|m| interval(&m.curve)).flat_map(|(_, low, high)| [low, high]);
    let seen = mounts.iter().flat_map(|m| &m.curve).filter(|p| !p.never_woke);
    let values = bands_of.chain(seen.flat_map(|p| [p.threshold_dbm + least, p.threshold_dbm + most]));
    let y = Axis::new("threshold, dBm at the tag", Scale::around(values));
    let panels = mounts.iter().map(|m| {
        for p in &m.curve {
            table.row([
                m.mount.as_str().into(),
                p.freq_mhz.into(),
                p.threshold_dbm.into(),
                p.low_dbm.into(),
                p.high_dbm.into(),
                if p.never_woke { "never woke" } else { "" }.into(),
            ]);
        }
        let mut layers = bands(m);
        let edges = interval(&m.curve);
        layers.push(Layer::new(
            &format!("{:.0} % interval of the average tag", 100.0 * level),
            Style::series(0),
            Mark::Band(edges),
        ));
        layers.extend(moved(tag, &m.curve));
        let points = m.curve.iter().map(|p| (p.freq_mhz, woke(p))).collect();
        layers.push(Layer::new(
            "average tag",
            Style::series(0).wide(2.4),
            Mark::Line { points, markers: false },
        ));
        let never: Vec<(f64, String)> = m
            .curve
            .iter()
            .filter(|p| p.never_woke)
            .map(|p| (p.freq_mhz, format!("{} MHz: no sample woke", p.freq_mhz)))
            .collect();
        if !never.is_empty() {
            layers.push(Layer::new(
                "no sample woke",
                Style::plain(Ink::Text).wide(1.4),
                Mark::Rug { strokes: never, height_px: 9.0 },
            ));
        }
        mount_panel(m, frequency(&mounts), y.clone(), layers)
    });
    let panels: Vec<Panel> = panels.collect();
    let reading = "Least power at the tag that wakes it, one panel for each mount, all to one scale; lower is better. Thin \
                   lines: the average curve moved by each sample's offset and shift. The laboratory's own level error is \
                   not in the band.";
    let mut out = figure(key, mounts_title(tag), reading, source(tag), table);
    out.assumed = "a sample's whole curve moves together".into();
    out.columns = panels.len().clamp(1, 3);
    out.panels = panels;
    out
}

fn mount_panel(mount: &MountAnswer, x: Axis, y: Axis, layers: Vec<Layer>) -> Panel {
    let mut one = panel(&mount.mount, x, y, 150.0, layers);
    one.switch = Switch::new("mount", &mount.mount);
    one
}

fn mounts_title(tag: &TagAnswer) -> String {
    let level = |m: &MountAnswer| minus(&format!("{:.1}", m.best_dbm));
    match (tag.mounts.first(), tag.mounts.last()) {
        (Some(far), Some(close)) if tag.mounts.len() > 1 => {
            let moves = close.best_mhz - far.best_mhz;
            let way = if moves < 0.0 { "falls" } else { "rises" };
            format!(
                "{}: {} dBm at best in {}, {} dBm at {}; the best frequency {way} by {:.0} MHz",
                tag.name,
                level(far),
                far.mount,
                level(close),
                close.mount,
                moves.abs(),
            )
        }
        (Some(only), _) => format!("{}: {} dBm at best in {}", tag.name, level(only), only.mount),
        _ => format!("{}: no mount", tag.name),
    }
}

/// Backscatter of one tag, a panel for each mount.
pub fn backscatter(tag: &TagAnswer, key: &str) -> Figure {
    let mounts: Vec<&MountAnswer> = tag.mounts.iter().collect();
    let mut table = Table::new(&[
        ("mount", "mount", Show::Fixed(0)),
        ("freq_mhz", "frequency, MHz", Show::Fixed(1)),
        ("backscatter_db", "backscatter, dB", Show::Fixed(2)),
    ]);
    let y = Axis::new(
        "backscatter efficiency, dB",
        Scale::around(mounts.iter().flat_map(|m| &m.curve).map(|p| p.backscatter_db)),
    );
    let mut panels = vec![];
    for m in &mounts {
        for p in &m.curve {
            table.row([m.mount.as_str().into(), p.freq_mhz.into(), p.backscatter_db.into()]);
        }
        let mut layers = bands(m);
        let points = m.curve.iter().map(|p| (p.freq_mhz, p.backscatter_db)).collect();
        layers.push(Layer::new(
            "average of the samples",
            Style::series(3).wide(2.2),
            Mark::Line { points, markers: false },
        ));
        panels.push(mount_panel(m, frequency(&mounts), y.clone(), layers));
    }
    let spread = |m: &MountAnswer| m.curve.iter().map(|p| p.backscatter_db).fold(f64::NEG_INFINITY, f64::max);
    let title = match (mounts.first(), mounts.last()) {
        (Some(far), Some(close)) if mounts.len() > 1 => format!(
            "{}: the strongest reply is {} dB in {} and {} dB at {}",
            tag.name,
            minus(&format!("{:.1}", spread(far))),
            far.mount,
            minus(&format!("{:.1}", spread(close))),
            close.mount
        ),
        _ => format!("{}: backscatter over frequency", tag.name),
    };
    let reading = "Power the tag sends back, modulated, over the isotropic power that arrives; one panel for each mount, all \
                   to one scale; higher is better.";
    let mut out = figure(key, title, reading, source(tag), table);
    out.assumed = String::new();
    out.columns = panels.len().clamp(1, 3);
    out.panels = panels;
    out
}

/// How the samples of one tag differ.
pub fn samples(tag: &TagAnswer, key: &str) -> Option<Figure> {
    if tag.samples.len() < 2 || tag.spread.offset_db.len() != tag.samples.len() {
        return None;
    }
    let mut table = Table::new(&[
        ("sample", "sample", Show::Fixed(0)),
        ("offset_db", "offset, dB", Show::Fixed(2)),
        ("shift_mhz", "shift, MHz", Show::Fixed(2)),
    ]);
    for (k, sample) in tag.samples.iter().enumerate() {
        table.row([
            sample.as_str().into(),
            tag.spread.offset_db[k].into(),
            Cell::from(tag.spread.shift_mhz.get(k).copied()),
        ]);
    }
    let dots = |values: &[f64], unit: &str| -> Vec<Dot> {
        let dot = |(i, v): (usize, &f64)| Dot {
            at: i as f64,
            value: *v,
            inner: Some((v.min(0.0), v.max(0.0))),
            outer: None,
            tip: format!("sample {}: {v:+.2} {unit}", tag.samples.get(i).map_or("", String::as_str)),
        };
        values.iter().enumerate().map(dot).collect()
    };
    let zero = || {
        let mark = Mark::Rule { along: Along::X, at: 0.0, label: String::new() };
        Layer::new("", Style::plain(Ink::Soft).dashed(Dash::Dot), mark)
    };
    let one = |title: &str, label: &str, values: &[f64], unit: &str, named: bool| {
        let widest = values.iter().fold(0.2_f64, |a, v| a.max(v.abs())) * 1.15;
        let names = tag.samples.iter().map(|s| if named { s.clone() } else { String::new() });
        panel(
            title,
            Axis::new(label, Scale::around([-widest, widest])),
            Axis::categories("sample", names, true),
            26.0 * tag.samples.len() as f64,
            vec![zero(), Layer::new("", Style::series(0), Mark::Dots(Along::X, dots(values, unit)))],
        )
    };
    let range = tag.spread.offset_db.iter().fold((0.0_f64, 0.0_f64), |(a, b), v| (a.min(*v), b.max(*v)));
    let title = format!(
        "{}: the best and the worst of {} samples lie {:.1} dB apart",
        tag.name,
        tag.samples.len(),
        range.1 - range.0
    );
    let reading = "Offset of each sample's whole curve from the average sample (to the right: needs more power) and its \
                   shift in frequency.";
    let mut out = figure(key, title, reading, source(tag), table);
    out.assumed = "a sample's whole curve moves together".into();
    out.columns = 2;
    out.panels = vec![
        one("offset", "offset of the threshold, dB", &tag.spread.offset_db, "dB", true),
        one("shift", "shift of the curve, MHz", &tag.spread.shift_mhz, "MHz", false),
    ];
    Some(out)
}

/// Several tags in free air and at their closest mounts.
pub fn side_by_side(answer: &LabAnswer, key: &str) -> Option<Figure> {
    if answer.tags.len() < 2 {
        return None;
    }
    let mut table = Table::new(&[
        ("tag", "tag", Show::Fixed(0)),
        ("mount", "mount", Show::Fixed(0)),
        ("freq_mhz", "frequency, MHz", Show::Fixed(1)),
        ("threshold_dbm", "threshold, dBm", Show::Fixed(2)),
    ]);
    type Pick = fn(&TagAnswer) -> Option<&MountAnswer>;
    let picks: [(&str, Pick); 2] =
        [("free air", |t| t.mounts.first()), ("closest mount of each", |t| t.mounts.last())];
    let mut panels = vec![];
    for (title, pick) in picks {
        let chosen: Vec<(usize, &TagAnswer, &MountAnswer)> =
            answer.tags.iter().enumerate().filter_map(|(k, t)| pick(t).map(|m| (k, t, m))).collect();
        let mounts: Vec<&MountAnswer> = chosen.iter().map(|c| c.2).collect();
        let seen = mounts.iter().flat_map(|m| &m.curve).filter(|p| !p.never_woke).map(|p| p.threshold_dbm);
        let edges = mounts.iter().flat_map(|m| interval(&m.curve)).flat_map(|(_, low, high)| [low, high]);
        let y = Axis::new("threshold, dBm at the tag", Scale::around(seen.chain(edges)));
        let mut layers = mounts.first().map_or(vec![], |m| bands(m));
        for (k, tag, mount) in &chosen {
            for p in &mount.curve {
                table.row([
                    tag.name.as_str().into(),
                    mount.mount.as_str().into(),
                    p.freq_mhz.into(),
                    p.threshold_dbm.into(),
                ]);
            }
            let edges = interval(&mount.curve);
            let switch = || Switch::new("tag", &tag.name);
            layers.push(Layer::new("", Style::series(*k), Mark::Band(edges)).switched(switch()));
            let points = mount.curve.iter().map(|p| (p.freq_mhz, woke(p))).collect();
            layers.push(
                Layer::new(&tag.name, Style::series(*k).wide(2.2), Mark::Line { points, markers: false })
                    .switched(switch()),
            );
        }
        panels.push(panel(title, frequency(&mounts), y, 190.0, layers));
    }
    let best = |pick: Pick| {
        let key = |t: &&TagAnswer| pick(t).map_or(f64::INFINITY, |m| m.best_dbm);
        answer.tags.iter().min_by(|a, b| key(a).total_cmp(&key(b))).map_or("", |t| t.name.as_str())
    };
    let (air, close) = (best(picks[0].1), best(picks[1].1));
    let title = if air == close {
        format!("{air} wakes at the least power in free air and at the closest mount")
    } else {
        format!("{air} wakes at the least power in free air, {close} at the closest mount")
    };
    let reading = "Average sample of each tag with its interval; lower is better; a line ends where no sample woke. The closest mounts may have different \
                   gaps: the table of comparisons takes tags at one gap.";
    let source = format!("{} tags as measured", answer.tags.len());
    let mut out = figure(key, title, reading, source, table);
    out.assumed = String::new();
    out.columns = 2;
    out.panels = panels;
    Some(out)
}
