//! Batches, days and link profiles of one tag: what the generator of the demo put in is found, with the sizes put in.

use readodds::lab::stat::equivalence::EquivalenceVerdict;
use readodds::lab::tag_file::{self, TagFile};
use readodds::lab::{Level, Mount, Reading, Sweep, Taken, raw_folder, write};
use readodds::report::lab_text::lab_text;
use readodds::study::lab::{LabAnswer, LabRequest, run};
use readodds::{diag::Source, tag};
use std::path::{Path, PathBuf};
use std::sync::Arc;

fn cedar() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data/raw/cedar")
}

fn answer(folder: PathBuf, margin_db: Option<f64>) -> LabAnswer {
    let request =
        LabRequest { folders: vec![folder], equivalence_margin_db: margin_db, ..LabRequest::default() };
    run(&request)
        .unwrap_or_else(|found| panic!("{:?}", found.iter().map(|d| &d.message).collect::<Vec<_>>()))
        .0
}

/// Thursday was made 1.5 dB higher, Tuesday's samples were placed carelessly; the other four days were left alone.
#[test]
fn the_odd_days_of_cedar_stand_out_and_no_other() {
    let answer = answer(cedar(), None);
    let days = &answer.tags[0].precision[0];
    assert_eq!((days.factor, days.levels.len(), days.samples.len()), ("day", 6, 3));
    let flagged: Vec<&str> = days.flags.iter().map(|f| f.level.as_str()).collect();
    assert_eq!(flagged, ["Tue", "Thu"], "{:?}", days.flags);
    // Standard error of a day's mean of 6 placings of 0.15 dB (Tuesday 0.8): 0.06 to 0.33 dB.
    assert!((days.flags[1].difference_db - 1.5).abs() < 0.3, "{:?}", days.flags[1]);
    let (r, total) = (days.repeatability_db.expect("repeats"), days.reproducibility_db.expect("repeats"));
    // 1.5 dB on one of six days: a standard deviation of 1.5·√(1/6) = 0.61 dB.
    assert!(r < 0.45 && (0.4..0.9).contains(&total), "{r} {total}");
    assert_eq!(answer.tags[0].findings.iter().filter(|f| f.kind == "stands-out").count(), 2);
}

/// W1 was made 0.1 dB above the prototype, W2 1.2 dB, and 2.0 dB on its spacer.
#[test]
fn a_batch_is_equal_only_where_it_is_shown() {
    let answer = answer(cedar(), Some(1.0));
    let batches = answer.tags[0].batches.as_ref().expect("batches");
    let [w1, w2] = &batches.equivalence[..] else { panic!("two batches") };
    assert!(w1.rows.iter().all(|r| r.check.level.verdict == EquivalenceVerdict::Equivalent));
    for row in &w2.rows {
        let (close, level) = (row.place.starts_with("3 mm"), &row.check.level);
        let truth = if close { 2.0 } else { 1.2 };
        assert!(level.interval.low < truth && truth < level.interval.high, "{row:?}");
        assert_eq!(level.verdict == EquivalenceVerdict::Different, close, "{row:?}");
    }
    let text = lab_text(&answer);
    for words in ["Batch W1 equals prototype P within 1 dB at all 9 places", "P (prototype)", "only within"] {
        assert!(text.contains(words), "{words} in {text}");
    }
}

/// The faster profiles were made to need 0.7 and 1.5 dB more.
#[test]
fn link_profiles_differ_by_what_was_put_in() {
    let answer = answer(cedar(), None);
    let links = &answer.tags[0].links;
    assert_eq!(links.len(), 4);
    for link in links {
        let truth = if link.link == "fm0_640" { 1.5 } else { 0.7 };
        let (low, high) = (link.difference.interval.low, link.difference.interval.high);
        assert!(low < truth && truth < high, "{link:?}");
        assert!(link.settings.as_ref().expect("described").contains("instead of"));
    }
    assert!(lab_text(&answer).contains("FM0 instead of Miller 4"));
}

#[test]
fn batches_days_and_profiles_survive_the_round_trip() {
    let folder = std::env::temp_dir().join(format!("readodds-cedar-{}", std::process::id()));
    let _ = std::fs::remove_dir_all(&folder);
    let (raw, _) = raw_folder::read(&cedar()).expect("reads");
    let files = write::files(&raw.referred_file(), &raw.sweeps, "Invented.");
    write::folder(&folder, &files, false).expect("written");
    let (read, _) = tag::load::measured(&folder).expect("reads back");
    let names = |s: &Sweep| (s.title(), s.taken.clone(), s.minute, s.readings.len());
    let sorted = |mut list: Vec<(String, Taken, Option<f64>, usize)>| {
        list.sort_by(|a, b| a.0.cmp(&b.0));
        list
    };
    assert_eq!(
        sorted(raw.sweeps.iter().map(names).collect()),
        sorted(read.sweeps.iter().map(names).collect())
    );
    assert_eq!(read.file.link_profile.len(), 3);
    assert_eq!(read.file.power_step_db, Some(0.2));
    let (before, after) = (answer(cedar(), Some(1.0)), answer(folder.clone(), Some(1.0)));
    let numbers = |a: &LabAnswer| {
        let batches = a.tags[0].batches.as_ref().expect("batches");
        let checks = batches.equivalence.iter().flat_map(|e| &e.rows).map(|r| r.check.level.difference);
        let mut all: Vec<f64> = checks.collect();
        all.extend(a.tags[0].precision[0].reproducibility_db);
        // A written folder is sorted by mount, so the profiles come in another order.
        let mut links: Vec<_> = a.tags[0].links.iter().collect();
        links.sort_by_key(|l| (&l.link, &l.mount));
        all.extend(links.iter().map(|l| l.difference.difference));
        all
    };
    for (a, b) in numbers(&before).into_iter().zip(numbers(&after)) {
        // The order of the sweeps differs, and with it the order of sums.
        assert!((a - b).abs() < 1e-9, "{a} {b}");
    }
    std::fs::remove_dir_all(&folder).expect("removed");
}

fn sweep(
    source: &Arc<Source>,
    sample: &str,
    mount: Mount,
    taken: Taken,
    level: impl Fn(f64) -> Level,
) -> Sweep {
    let reading = |k: i32| {
        let freq_mhz = 850.0 + 5.0 * f64::from(k);
        let threshold_dbm = Some(level(freq_mhz));
        Reading { freq_mhz, threshold_dbm, backscatter_db: Some(-10.0), backscatter_at_dbm: None, at: 0 }
    };
    Sweep {
        sample: sample.into(),
        mount,
        link: String::new(),
        repeat: String::new(),
        taken,
        minute: None,
        readings: (0..=20).map(reading).collect(),
        source: source.clone(),
    }
}

#[test]
fn a_sample_in_two_batches_and_a_sweep_given_twice_are_refused() {
    let source = Source::new("tag.toml", "name = 'x'\nown_spacer_mm = 1\nlevel = 'referred'\n");
    let file: TagFile = tag_file::read(&source).expect("good");
    let batch = |name: &str| Taken { batch: name.into(), ..Taken::default() };
    let one = |taken: Taken| sweep(&source, "A", Mount::FreeAir, taken, |_| Level::Exact(-12.0));
    let codes = |sweeps: Vec<Sweep>, file: TagFile| -> Vec<&str> {
        let found =
            tag::load::from_sweeps(file, &source, sweeps, Vec::new(), Vec::new()).expect_err("refused");
        found.iter().map(|d| d.code).filter(|c| *c == "tag-batch" || *c == "tag-twice").collect()
    };
    assert_eq!(codes(vec![one(batch("P")), one(batch("W"))], file.clone()), ["tag-batch"]);
    assert_eq!(codes(vec![one(batch("P")), one(batch("P"))], file.clone()), ["tag-twice"]);
    let wanted = TagFile { prototype_batch: Some("Q".into()), ..file };
    assert_eq!(codes(vec![one(batch("P"))], wanted), ["tag-batch"]);
}

/// Two tags of which one never wakes at the upper end: there its threshold is only known to lie above 12 dBm, so the
/// difference is open on one side; the 6 dB a forecast adds must not show.
#[test]
fn a_tag_that_never_woke_gives_a_bound_and_no_number() {
    let root = std::env::temp_dir().join(format!("readodds-never-{}", std::process::id()));
    let _ = std::fs::remove_dir_all(&root);
    let mut folders = Vec::new();
    for (name, dead) in [("sound", false), ("dead", true)] {
        let source =
            Source::new("tag.toml", format!("name = '{name}'\nown_spacer_mm = 1\nlevel = 'referred'\n"));
        let file = tag_file::read(&source).expect("good");
        let body = || Mount::Phantom { name: "gel".into(), gap_mm: 2.0 };
        let sweeps: Vec<Sweep> = [("A", -0.2), ("B", 0.2)]
            .into_iter()
            .flat_map(|(sample, offset)| {
                let close = move |freq: f64| match dead && freq >= 900.0 {
                    true => Level::Above(12.0),
                    false => Level::Exact(5.0 + offset + if dead { 6.0 } else { 0.0 }),
                };
                [
                    sweep(&source, sample, Mount::FreeAir, Taken::default(), move |_| {
                        Level::Exact(-12.0 + offset)
                    }),
                    sweep(&source, sample, body(), Taken::default(), close),
                ]
            })
            .collect();
        let folder = root.join(name);
        std::fs::create_dir_all(&root).expect("scratch");
        write::folder(&folder, &write::files(&file, &sweeps, "Invented."), false).expect("written");
        folders.push(folder);
    }
    let request = LabRequest { folders, regions: vec!["usa".into()], ..LabRequest::default() };
    let (answer, _) = run(&request).expect("two tags");
    let row = answer.comparisons[0].rows.iter().find(|r| r.place == "same gap 2 mm").expect("close");
    // 5 dBm against at least 12 dBm.
    assert!((row.difference.difference + 7.0).abs() < 0.2, "{row:?}");
    let most = row.at_most_db.expect("open");
    assert!((-7.0..-4.0).contains(&most), "{row:?}");
    let text = lab_text(&answer);
    assert!(text.contains("<= -") && text.contains("dead needs at least"), "{text}");
    assert!(!text.contains("No fault of the measurement was found.\n  -"), "{text}");
    std::fs::remove_dir_all(&root).expect("removed");
}
