//! Writes a referred tag folder, whole or not at all.
//!
//! Numbers are written with the fewest digits that read back to the same value, so a round trip is exact.

use super::Sweep;
use super::tag_file::TagFile;
use crate::diag::{Diagnostic, Source, codes};
use crate::files::whole_folder::{Refused, WholeFolder};
use std::path::Path;

/// File name and text of each file of a folder.
pub type Files = Vec<(String, String)>;

/// `tag.toml` and one CSV per mount. `origin` is the comment on the first line of each file.
pub fn files(tag: &TagFile, sweeps: &[Sweep], origin: &str) -> Files {
    let origin = origin.replace(['\n', '\r'], " ");
    let mut mounts: Vec<(String, Vec<&Sweep>)> = Vec::new();
    for sweep in sweeps {
        let name = file_name(sweep);
        match mounts.iter_mut().find(|(n, _)| *n == name) {
            Some((_, list)) => list.push(sweep),
            None => mounts.push((name, vec![sweep])),
        }
    }
    let tag = TagFile { sweeps: Some(mounts.iter().map(|(name, _)| name.clone()).collect()), ..tag.clone() };
    let toml = toml::to_string(&tag).expect("a tag file holds plain values only");
    let mut out = vec![("tag.toml".to_owned(), format!("# {origin}\n{toml}"))];
    out.extend(mounts.into_iter().map(|(name, list)| (name, csv(&list, &origin))));
    out
}

fn file_name(sweep: &Sweep) -> String {
    let plain = |text: &str| -> String {
        text.chars().map(|c| if c.is_ascii_alphanumeric() || c == '.' { c } else { '_' }).collect()
    };
    match &sweep.mount {
        super::Mount::FreeAir => "free_air.csv".to_owned(),
        super::Mount::Phantom { name, gap_mm } => {
            format!("{}_{}mm.csv", plain(name), plain(&gap_mm.to_string()))
        }
    }
}

fn csv(sweeps: &[&Sweep], origin: &str) -> String {
    let mut writer = csv::Writer::from_writer(Vec::new());
    // Circumstances have columns only where some sweep names them.
    type Named = (&'static str, fn(&Sweep) -> String);
    let circumstances: [Named; 5] = [
        ("batch", |s| s.taken.batch.clone()),
        ("session", |s| s.taken.session.clone()),
        ("operator", |s| s.taken.operator.clone()),
        ("day", |s| s.taken.day.clone()),
        ("minute", |s| s.minute.map_or(String::new(), |m| m.to_string())),
    ];
    let named: Vec<Named> =
        circumstances.into_iter().filter(|(_, of)| sweeps.iter().any(|s| !of(s).is_empty())).collect();
    let head = [
        "sample",
        "phantom",
        "gap_mm",
        "freq_mhz",
        "threshold_dbm",
        "backscatter_db",
        "backscatter_at_dbm",
        "link",
        "repeat",
    ]
    .into_iter()
    .chain(named.iter().map(|(name, _)| *name));
    let write = "writing to memory never fails";
    writer.write_record(head).expect(write);
    let number = |value: Option<f64>| value.map_or(String::new(), |v| v.to_string());
    for sweep in sweeps {
        let (phantom, gap) = match &sweep.mount {
            super::Mount::FreeAir => ("none", String::new()),
            super::Mount::Phantom { name, gap_mm } => (name.as_str(), gap_mm.to_string()),
        };
        let own: Vec<String> = named.iter().map(|(_, of)| of(sweep)).collect();
        for r in &sweep.readings {
            let threshold = r.threshold_dbm.map_or(String::new(), |t| t.to_string());
            let (freq, taken) = (r.freq_mhz.to_string(), number(r.backscatter_at_dbm));
            let (backscatter, link) = (number(r.backscatter_db), &sweep.link);
            let cells =
                [&sweep.sample, phantom, &gap, &freq, &threshold, &backscatter, &taken, link, &sweep.repeat];
            let cells = cells.into_iter().chain(own.iter().map(String::as_str));
            writer.write_record(cells).expect(write);
        }
    }
    let bytes = writer.into_inner().expect(write);
    format!("# {origin}\n{}", String::from_utf8(bytes).expect("made of text"))
}

/// Writes the files as `folder`. An existing folder is only replaced with `force`, and only where nothing but what this program wrote is in
/// it; files of ours that were changed since count as ours then.
pub fn folder(folder: &Path, files: &Files, force: bool) -> Result<(), Box<Diagnostic>> {
    let shown = Source::new(folder.display().to_string(), "");
    let refused = |message: &str, help: &str| {
        Box::new(Diagnostic::error(codes::OUTPUT_EXISTS, message).in_file(&shown).help(help))
    };
    if std::fs::symlink_metadata(folder).is_ok() && !force {
        return Err(refused(
            "the output is there already",
            "choose another name, or overwrite it with --force",
        ));
    }
    let bytes = files.iter().map(|(name, text)| (name.clone(), text.clone().into_bytes())).collect();
    let written = WholeFolder::claim(folder, 0, force).and_then(|place| place.replace(&bytes, |_| false));
    written.map_err(|why| match why {
        Refused::Io(e) => Box::new(
            Diagnostic::error(codes::OUTPUT_FAILED, format!("cannot write the folder: {e}")).in_file(&shown),
        ),
        why => refused(
            &format!("the folder is not replaced: {why}"),
            "choose another name for the output; only what readodds wrote is ever replaced",
        ),
    })
}
