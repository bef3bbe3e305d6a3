//! Replays the fuzz corpus on stable Rust.

#[path = "../fuzz/bodies.rs"]
mod bodies;

fn replay(target: &str, body: fn(&[u8])) {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("fuzz/corpus").join(target);
    let mut files: Vec<_> =
        std::fs::read_dir(&folder).expect("a corpus folder").flatten().map(|f| f.path()).collect();
    files.sort();
    assert!(!files.is_empty(), "{target}: no corpus");
    for file in files {
        body(&std::fs::read(&file).expect("a corpus file"));
    }
}

#[test]
fn scenario_corpus() {
    replay("scenario", bodies::scenario);
}

#[test]
fn tag_corpus() {
    replay("tag", bodies::tag);
}

#[test]
fn csv_corpus() {
    replay("csv", bodies::csv);
}

#[test]
fn season_corpus() {
    replay("season", bodies::season);
}

#[test]
fn shard_corpus() {
    replay("shard", bodies::shard);
}

#[test]
fn passing_corpus() {
    replay("passing", bodies::passing);
}
