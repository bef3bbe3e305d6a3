//! Referred folders written and read back: exact, whole, never over something else.

use readodds::lab::{Level, Mount, Reading, Sweep, tag_file, write};
use readodds::{diag::Source, tag};
use std::path::{Path, PathBuf};

struct Scratch(PathBuf);
impl Scratch {
    fn new(name: &str) -> Scratch {
        let path = std::env::temp_dir().join(format!("readodds-{name}-{}", std::process::id()));
        let _ = std::fs::remove_dir_all(&path);
        std::fs::create_dir_all(&path).expect("a scratch folder");
        Scratch(path)
    }
}
impl Drop for Scratch {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

fn demo(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data/tags").join(name)
}

#[test]
fn every_shipped_tag_survives_the_round_trip_exactly() {
    let scratch = Scratch::new("round-trip");
    for name in ["alder", "birch", "cedar", "dogwood", "elm"] {
        let (before, _) = tag::load::measured(&demo(name)).expect("loads");
        let folder = scratch.0.join(name);
        let files = write::files(&before.file, &before.sweeps, "Invented, written back by a test.");
        write::folder(&folder, &files, false).expect("written");
        let (after, _) = tag::load::measured(&folder).expect("reads unchanged");
        assert_eq!(before.sweeps.len(), after.sweeps.len());
        for sweep in &before.sweeps {
            let twin = after.sweeps.iter().find(|s| s.title() == sweep.title()).expect("the same sweep");
            let plain =
                |s: &Sweep| s.readings.iter().map(|r| Reading { at: 0, ..r.clone() }).collect::<Vec<_>>();
            assert_eq!(plain(sweep), plain(twin));
        }
        for f in [850.0, 866.3, 901.7, 950.0] {
            for gap in [1.0, 5.0, 40.0, f64::INFINITY] {
                assert_eq!(before.tag.curve.value(f, gap), after.tag.curve.value(f, gap));
            }
        }
    }
}

#[test]
fn awkward_names_and_numbers_survive() {
    let scratch = Scratch::new("awkward");
    let toml =
        Source::new("tag.toml", "name = 'a \"b\"\\n'\nnote = 'x'\nown_spacer_mm = 0.1\nlevel = 'referred'\n");
    let file = tag_file::read(&toml).expect("good");
    let sweep = |mount: Mount| Sweep {
        sample: "A, \"one\"".into(),
        mount,
        link: String::new(),
        repeat: "2".into(),
        taken: Default::default(),
        minute: None,
        readings: [
            (866.0, Level::Exact(-0.1 - 0.2)),
            (868.0, Level::Above(1.0 / 3.0)),
            (870.0, Level::Below(-39.9)),
        ]
        .map(|(freq_mhz, level)| Reading {
            freq_mhz,
            threshold_dbm: Some(level),
            backscatter_db: Some(-1e-7),
            backscatter_at_dbm: None,
            at: 0,
        })
        .to_vec(),
        source: toml.clone(),
    };
    let body = Mount::Phantom { name: "gel/ü 1".into(), gap_mm: 0.30000000000000004 };
    let sweeps = [sweep(Mount::FreeAir), sweep(body)];
    let folder = scratch.0.join("tag");
    write::folder(&folder, &write::files(&file, &sweeps, "line\nbreak"), false).expect("written");
    let (after, _) = tag::load::measured(&folder).expect("reads");
    assert_eq!(after.file.name, file.name);
    for (a, b) in sweeps.iter().zip(&after.sweeps) {
        assert_eq!((&a.sample, &a.mount), (&b.sample, &b.mount));
        let levels =
            |s: &Sweep| s.readings.iter().map(|r| (r.threshold_dbm, r.backscatter_db)).collect::<Vec<_>>();
        assert_eq!(levels(a), levels(b));
    }
}

#[test]
fn nothing_is_overwritten_unasked_and_nothing_but_a_tag_ever() {
    let scratch = Scratch::new("overwrite");
    let (tag, _) = tag::load::measured(&demo("elm")).expect("loads");
    let files = write::files(&tag.file, &tag.sweeps, "Invented.");
    let folder = scratch.0.join("tag");
    write::folder(&folder, &files, false).expect("written");
    assert_eq!(write::folder(&folder, &files, false).expect_err("refused").code, "output-exists");
    write::folder(&folder, &files, true).expect("replaced");
    std::fs::write(folder.join("notes.txt"), "mine").expect("a note");
    assert_eq!(write::folder(&folder, &files, true).expect_err("refused").code, "output-exists");
    assert!(folder.join("notes.txt").exists());
    std::fs::remove_file(folder.join("notes.txt")).expect("removed");
    // A folder that somebody else made is never replaced, a tag or not.
    let own = scratch.0.join("own");
    std::fs::create_dir(&own).expect("a folder");
    std::fs::write(own.join("tag.toml"), "level = 'raw'\n").expect("a raw tag");
    assert_eq!(write::folder(&own, &files, true).expect_err("theirs").code, "output-exists");
    assert_eq!(std::fs::read_to_string(own.join("tag.toml")).expect("still there"), "level = 'raw'\n");
    // No temporary folder stays behind.
    let left: Vec<_> =
        std::fs::read_dir(&scratch.0).expect("listed").flatten().map(|e| e.file_name()).collect();
    assert_eq!(left.len(), 2, "{left:?}");
}
