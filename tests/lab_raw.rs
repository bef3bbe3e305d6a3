//! Raw chamber files: referred exactly, faults found, exports of every shape read, bad ones refused in full.

use proptest::prelude::*;
use readodds::lab::raw_file::{self, RawFile};
use readodds::lab::{Level, raw_folder, raw_parse};
use readodds::lab::{correction, touchstone};
use readodds::study::lab::{LabAnswer, LabRequest, run};
use readodds::{diag::Source, tag};
use std::path::{Path, PathBuf};

fn demo(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data/raw").join(name)
}
fn answer(folders: &[PathBuf]) -> LabAnswer {
    let request = LabRequest { folders: folders.to_vec(), ..LabRequest::default() };
    run(&request)
        .unwrap_or_else(|found| panic!("{:?}", found.iter().map(|d| &d.message).collect::<Vec<_>>()))
        .0
}
fn kinds(answer: &LabAnswer) -> Vec<&'static str> {
    answer.tags[0].findings.iter().map(|f| f.kind).collect()
}

/// The generator of the demo put a reflector on a 12 m longer way (±0.6 dB) and swapped two files of sample C.
#[test]
fn the_reflector_and_the_swapped_files_of_alder_are_found() {
    let answer = answer(&[demo("alder")]);
    let findings = &answer.tags[0].findings;
    let ripples: Vec<_> = findings.iter().filter(|f| f.kind == "ripple").collect();
    assert_eq!(ripples.len(), 3, "{:?}", kinds(&answer));
    for ripple in ripples {
        // Tolerance: a sweep of 100 MHz holds four periods; a twentieth of a period is 0.15 m.
        assert!((ripple.number - 12.0).abs() < 0.15, "{ripple:?}");
    }
    let swapped: Vec<_> = findings.iter().filter(|f| f.kind == "beats-free-air").collect();
    assert_eq!(swapped.len(), 1);
    assert!(swapped[0].words.contains("Sample C"), "{}", swapped[0].words);
    assert!(!kinds(&answer).contains(&"quiet-room"));
}

/// The second repeat over the phantom was made 1 dB higher.
#[test]
fn the_drift_of_birch_is_found_and_nothing_else() {
    let answer = answer(&[demo("birch")]);
    let findings = &answer.tags[0].findings;
    assert_eq!(findings.iter().map(|f| f.kind).collect::<Vec<_>>(), ["drift", "drift", "drift"]);
    // Tolerance: placing a sample twice scatters by 0.15·√2/√5 = 0.1 dB; three of these.
    let (by_minute, by_repeat): (Vec<_>, Vec<_>) = findings.iter().partition(|f| f.about.contains("minute"));
    assert!(by_repeat.iter().all(|f| (f.number - 1.0).abs() < 0.3 && f.about.contains("saline")));
    // By the minute the step is spread over the session as a slope: between the step and twice as much.
    assert!(by_minute.len() == 1 && (0.7..2.0).contains(&by_minute[0].number), "{by_minute:?}");
}

#[test]
fn the_shipped_referred_tags_show_no_fault() {
    for name in ["alder", "birch", "cedar", "dogwood", "elm"] {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data/tags").join(name);
        let answer = answer(&[folder]);
        let kinds: Vec<_> = kinds(&answer).into_iter().filter(|k| *k != "cover").collect();
        assert!(kinds.is_empty(), "{name}: {kinds:?}");
    }
}

/// Source: Friis 1946: a raw reading referred by hand. Birch at 850 MHz: forward = gain 5.8 dBi − cable 1.4 dB −
/// 20·log10(4π·1.2 m/0.352697 m) = 32.620 dB, so −28.220 dB. Threshold: that, less half the step of 0.2 dB.
/// Tolerance: 0.001 dB (the loss to three digits).
#[test]
fn val_a_raw_reading_is_referred() {
    let (raw, _) = raw_folder::read(&demo("birch")).expect("reads");
    let (reading, sent) = (&raw.raw[0].readings[0], &raw.sweeps[0].readings[0]);
    assert_eq!(reading.freq_mhz, 850.0);
    let generator = reading.threshold_dbm.and_then(Level::exact).expect("woke");
    let threshold = sent.threshold_dbm.and_then(Level::exact).expect("woke");
    assert!((threshold - (generator - 28.220 - 0.1)).abs() < 1e-3);
    let incident = generator - 28.220;
    assert!((sent.backscatter_at_dbm.expect("at the threshold") - incident).abs() < 1e-3);
    let reply = reading.reply.expect("a reply");
    assert!((sent.backscatter_db.expect("a reply") - (reply + 28.220 - incident)).abs() < 1e-3);
}

#[test]
fn a_raw_folder_is_written_referred_and_read_unchanged() {
    let place = std::env::temp_dir().join(format!("readodds-lab-{}", std::process::id()));
    let _ = std::fs::remove_dir_all(&place);
    let request =
        LabRequest { folders: vec![demo("birch")], write_to: Some(place.clone()), ..LabRequest::default() };
    let (answer, _) = run(&request).expect("written");
    assert_eq!(answer.written.as_deref(), Some(place.to_str().expect("a plain path")));
    let (read, _) = tag::load::measured(&place).expect("reads");
    let (raw, _) = raw_folder::read(&demo("birch")).expect("reads");
    assert_eq!(read.sweeps.len(), raw.sweeps.len());
    for (a, b) in raw.sweeps.iter().zip(&read.sweeps) {
        let values = |s: &readodds::lab::Sweep| {
            s.readings.iter().map(|r| (r.freq_mhz, r.threshold_dbm, r.backscatter_db)).collect::<Vec<_>>()
        };
        assert_eq!(values(a), values(b));
    }
    // Laboratory and session parts of the budget: 0.2, 0.1, 0.3 dB, mismatch 0.1216 dB, distance 0.0836 dB.
    assert!((read.tag.spread.lab_bias_sd_db - 0.4023).abs() < 5e-4, "{}", read.tag.spread.lab_bias_sd_db);
    assert!(run(&request).is_err(), "not overwritten unasked");
    assert!(run(&LabRequest { force: true, ..request }).is_ok());
    std::fs::remove_dir_all(&place).expect("removed");
}

const RAW: &str = "name = 'x'\nown_spacer_mm = 1.5\nlevel = 'raw'\n[export]\nseparator = 'SEP'\ndecimal = 'DEC'\n\
    no_answer = ['none']\n[columns]\nfreq = { name = 'f', unit = 'FUNIT' }\nthreshold = { name = 'p', unit = 'PUNIT' }\n\
    [setup]\ndistance_m = 1.0\nantenna_gain_dbi = 6.0\ncable_loss_db = 1.0\nmax_generator_dbm = 30.0\n\
    [[sweep]]\nfile = 'a.txt'\nsample = 'A'\nphantom = 'none'\n";

fn raw(separator: &str, decimal: &str, freq: &str, power: &str) -> RawFile {
    let text =
        RAW.replace("SEP", separator).replace("DEC", decimal).replace("FUNIT", freq).replace("PUNIT", power);
    raw_file::read(&Source::new("tag.toml", text)).unwrap_or_else(|found| panic!("{found:?}"))
}

/// Source: unit definitions (10 dBm = 10 mW = 0.01 W; across 50 Ω 10 dBm = 0.7071 V = −3.0103 dBV). Tolerance: 1e-4.
#[test]
fn val_every_unit_and_separator_gives_the_same_level() {
    for (separator, decimal, freq, power, text) in [
        ("comma", "point", "MHz", "dBm", "f,p\n866.5,10.0\n"),
        ("semicolon", "comma", "kHz", "mW", "f;p\n866500,0;10,0\n"),
        ("tab", "point", "Hz", "W", "f\tp\n866500000\t0.01\n"),
        ("pipe", "comma", "GHz", "dBV", "f|p\n0,8665|-3,0103\n"),
        ("blank", "point", "MHz", "dBm", "  f   p\n  866.5    10\n"),
    ] {
        let file = raw(separator, decimal, freq, power);
        let source = Source::new("a.txt", text);
        let (sweeps, _) = raw_parse::read(&file, &file.sweep[0], &source).unwrap_or_else(|f| panic!("{f:?}"));
        let reading = &sweeps[0].readings[0];
        assert!((reading.freq_mhz - 866.5).abs() < 1e-9, "{separator}");
        let level = reading.threshold_dbm.and_then(Level::exact).expect("a level");
        assert!((level - 10.0).abs() < 1e-4, "{separator}: {level}");
    }
}

#[test]
fn no_answer_is_a_limit_and_bad_cells_are_placed() {
    let file = raw("semicolon", "comma", "MHz", "dBm");
    let read = |text: &str| raw_parse::read(&file, &file.sweep[0], &Source::new("a.txt", text));
    let (sweeps, _) = read("f;p\n866;none\n868;>25,5\n870;\n").expect("good");
    let levels: Vec<_> = sweeps[0].readings.iter().map(|r| r.threshold_dbm).collect();
    assert_eq!(levels, [Some(Level::Above(30.0)), Some(Level::Above(25.5)), None]);
    let found = read("f;p\n866;1.234,5\n868;nan\n86,8;1\n870;1;2\n872;300\n872;1\n872;2\n")
        .expect_err("six problems");
    let places: Vec<_> = found.iter().map(|d| d.place().expect("placed")).collect();
    assert_eq!(
        places,
        ["a.txt:2:5", "a.txt:3:5", "a.txt:4:1", "a.txt:5:1", "a.txt:6:5", "a.txt:7:1", "a.txt:8:1"]
    );
    assert_eq!(read("x;y\n1;2\n").expect_err("no such columns").len(), 2);
}

#[test]
fn an_incomplete_set_up_is_told_in_full() {
    let text = RAW
        .replace("SEP", "comma")
        .replace("DEC", "comma")
        .replace("FUNIT", "MHz")
        .replace("PUNIT", "m2")
        .replace("distance_m = 1.0\n", "distance_m = -1.0\n");
    let found = raw_file::read(&Source::new("tag.toml", text)).expect_err("three problems");
    let places: Vec<_> = found.iter().map(|d| d.place().expect("placed")).collect();
    assert_eq!(places.len(), 3, "{found:?}");
    assert!(places[0].starts_with("tag.toml:12:14"), "{places:?}");
}

proptest! {
    #[test]
    fn no_export_makes_the_readers_panic(
        text in "\\PC*|([fp;,\t| \n\r#%\"<>.0-9-]|866|none|nan|é|MHz|S|DB|!){0,120}",
        separator in prop::sample::select(vec!["comma", "semicolon", "tab", "pipe", "blank"]),
    ) {
        let file = raw(separator, "point", "MHz", "dBm");
        let _ = raw_parse::read(&file, &file.sweep[0], &Source::new("a.txt", text.clone()));
        for name in ["c.csv", "c.s1p", "c.s2p"] {
            let _ = correction::read(&Source::new(name, text.clone()));
        }
        let _ = touchstone::read(&Source::new("c.s1p", text), 1);
    }

    #[test]
    fn no_raw_tag_file_makes_the_reader_panic(cut in 0..400usize, junk in "\\PC{0,8}") {
        let text = RAW.replace("SEP", "tab").replace("DEC", "point").replace("FUNIT", "MHz").replace("PUNIT", "dBm");
        let mut at = cut.min(text.len());
        while !text.is_char_boundary(at) {
            at -= 1;
        }
        let _ = raw_file::read(&Source::new("tag.toml", format!("{}{junk}{}", &text[..at], &text[at..])));
    }
}
