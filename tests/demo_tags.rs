//! The shipped tags load without a word, and differ the way they say they do.

use readodds::tag::{self, Tag};
use std::path::Path;

fn load(name: &str) -> (Tag, Vec<String>) {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data/tags").join(name);
    match tag::load(&folder) {
        Ok((tag, warnings)) => (tag, warnings.into_iter().map(|d| d.message).collect()),
        Err(problems) => panic!("{name}: {:?}", problems.iter().map(|d| &d.message).collect::<Vec<_>>()),
    }
}

#[test]
fn five_tags_load() {
    for name in ["alder", "birch", "cedar", "dogwood", "elm"] {
        let (tag, warnings) = load(name);
        assert_eq!(tag.name, name);
        assert!(tag.note.starts_with("Invented"));
        assert!(tag.spread.samples >= 3);
        assert_eq!(tag.curve.mounts().len(), 3);
        assert_eq!(tag.curve.closest_gap_mm(), tag.own_spacer_mm);
        assert_eq!(tag.curve.covered_mhz().0, 850.0);
        assert_eq!(tag.file_hashes.len(), 4);
        assert_eq!(warnings.is_empty(), name != "elm", "{name}: {warnings:?}");
    }
}

#[test]
fn each_tag_is_what_its_note_says() {
    let [alder, birch, cedar, dogwood, elm] =
        ["alder", "birch", "cedar", "dogwood", "elm"].map(|name| load(name).0);
    let threshold = |tag: &Tag, freq: f64, gap: f64| tag.curve.value(freq, gap).0;
    // Best in free air, poor close to the body.
    assert!(threshold(&alder, 915.0, f64::INFINITY) < threshold(&birch, 915.0, f64::INFINITY) - 2.0);
    assert!(threshold(&alder, 915.0, 2.0) > threshold(&birch, 915.0, 2.0) + 10.0);
    // Differences between tags grow from free air to close on the body (common practice).
    let apart = |gap: f64| (threshold(&alder, 915.0, gap) - threshold(&birch, 915.0, gap)).abs();
    assert!(apart(f64::INFINITY) < apart(10.0) + 3.0 && apart(10.0) < apart(2.0));
    // Steady in all mounts.
    assert!(threshold(&birch, 915.0, 2.0) - threshold(&birch, 915.0, f64::INFINITY) < 5.0);
    // A thick spacer with a high threshold.
    assert!(cedar.own_spacer_mm == 3.0 && threshold(&cedar, 915.0, f64::INFINITY) > -16.5);
    // Tuned to the lower band.
    assert!(threshold(&dogwood, 866.3, 5.0) < threshold(&dogwood, 922.0, 5.0) - 4.0);
    // Censored close to the body.
    assert!(threshold(&elm, 945.0, 1.5) > 12.0);
    // The body takes twice as much off the backscatter as it adds to the threshold, within 3 dB.
    let (p0, b0) = alder.curve.value(915.0, f64::INFINITY);
    let (p1, b1) = alder.curve.value(915.0, 10.0);
    assert!((b0 - b1 - 2.0 * (p1 - p0)).abs() < 3.0);
}
