//! Writes a referred tag folder, whole or not at all.
//!
//! Numbers are written with the fewest digits that read back to the same value, so a round trip is exact. The folder
//! is made beside its place under a temporary name and moved there last. An existing folder is only replaced when
//! asked, and only when it holds nothing but a tag.

use super::Sweep;
use super::tag_file::TagFile;
use crate::diag::{Diagnostic, Source, codes};
use std::path::{Path, PathBuf};

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

/// Writes the files as `folder`. With `force` an existing tag folder is replaced.
pub fn folder(folder: &Path, files: &Files, force: bool) -> Result<(), Box<Diagnostic>> {
    let shown = Source::new(folder.display().to_string(), "");
    let failed = |e: std::io::Error| {
        Box::new(
            Diagnostic::error(codes::OUTPUT_FAILED, format!("cannot write the folder: {e}")).in_file(&shown),
        )
    };
    let exists = std::fs::symlink_metadata(folder).is_ok();
    if exists {
        let refused = |message: &str, help: &str| {
            Box::new(Diagnostic::error(codes::OUTPUT_EXISTS, message).in_file(&shown).help(help))
        };
        if !force {
            return Err(refused(
                "the output is there already",
                "choose another name, or overwrite it with --force",
            ));
        }
        if !only_a_tag(folder).map_err(failed)? {
            return Err(refused(
                "the folder holds more than a tag (tag.toml and .csv files) and is not replaced",
                "choose another name for the output",
            ));
        }
    }
    let new = beside(folder, "new");
    let old = beside(folder, "old");
    let result = (|| {
        std::fs::create_dir_all(&new)?;
        for (name, text) in files {
            std::fs::write(new.join(name), text)?;
        }
        if exists {
            std::fs::rename(folder, &old)?;
        }
        if let Err(e) = std::fs::rename(&new, folder) {
            if exists {
                std::fs::rename(&old, folder)?;
            }
            return Err(e);
        }
        if exists { std::fs::remove_dir_all(&old) } else { Ok(()) }
    })();
    if result.is_err() {
        // Nothing half-written stays behind.
        let _ = std::fs::remove_dir_all(&new);
    }
    result.map_err(failed)
}

fn beside(folder: &Path, what: &str) -> PathBuf {
    let name = folder.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
    folder.with_file_name(format!(".{name}.{what}-{}", std::process::id()))
}

fn only_a_tag(folder: &Path) -> std::io::Result<bool> {
    if !folder.is_dir() {
        return Ok(false);
    }
    let mut has_toml = false;
    for entry in std::fs::read_dir(folder)? {
        let entry = entry?;
        let name = entry.file_name();
        let csv = Path::new(&name).extension().is_some_and(|e| e.eq_ignore_ascii_case("csv"));
        has_toml |= name == "tag.toml";
        if !entry.file_type()?.is_file() || !(csv || name == "tag.toml") {
            return Ok(false);
        }
    }
    // A raw folder is what the user measured: never replaced by what came out of it.
    let raw = std::fs::read_to_string(folder.join("tag.toml")).is_ok_and(|text| {
        toml::from_str::<toml::Table>(&text)
            .is_ok_and(|t| t.get("level").and_then(toml::Value::as_str) == Some("raw"))
    });
    Ok(has_toml && !raw)
}
