//! Replays the fuzz corpus on stable Rust.

#[path = "../fuzz/bodies.rs"]
mod bodies;

use readodds::random::{Purpose, Stream};

/// Pieces that parsers stumble over.
const PIECES: [&[u8]; 12] = [
    b"nan",
    b"-inf",
    b"1e999",
    b"[[",
    b"\"\"\"",
    b"\xff",
    b"\xf0\x9f\x8f\x83",
    b"\r",
    b",,,",
    b"= ",
    b"\0",
    b"99999999999999999999",
];

/// Changed copies of each corpus file, the same ones every time: a short stand-in for the fuzzer where only stable Rust is at hand.
/// READODDS_COPIES asks for a longer search.
fn replay_changed(target: &str, copies: u64, body: fn(&[u8])) {
    let asked = std::env::var("READODDS_COPIES").ok().and_then(|copies| copies.parse().ok());
    let copies = asked.unwrap_or(copies);
    for (number, whole) in corpus(target).into_iter().enumerate() {
        for copy in 0..copies {
            let mut stream = Stream::new(7, Purpose::Study, number as u64, 0, copy);
            let mut data = whole.clone();
            for _ in 0..1 + copy % 4 {
                let at = (stream.uniform() * (data.len() + 1) as f64) as usize;
                let end = (at + (stream.uniform() * 40.0) as usize).min(data.len());
                let piece = PIECES[(stream.uniform() * PIECES.len() as f64) as usize];
                match (stream.uniform() * 4.0) as usize {
                    0 => drop(data.drain(at..end)),
                    1 => drop(data.splice(at..at, whole.iter().copied().skip(end).take(60))),
                    2 => drop(data.splice(at..end, piece.iter().copied())),
                    _ => data[at.min(end)..end].iter_mut().for_each(|byte| *byte ^= 1),
                }
            }
            body(&data);
        }
    }
}

fn replay(target: &str, body: fn(&[u8])) {
    corpus(target).iter().for_each(|data| body(data));
}

fn corpus(target: &str) -> Vec<Vec<u8>> {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("fuzz/corpus").join(target);
    let mut files: Vec<_> =
        std::fs::read_dir(&folder).expect("a corpus folder").flatten().map(|f| f.path()).collect();
    files.sort();
    assert!(!files.is_empty(), "{target}: no corpus");
    files.iter().map(|file| std::fs::read(file).expect("a corpus file")).collect()
}

#[test]
fn scenario_corpus() {
    replay("scenario", bodies::scenario);
    replay_changed("scenario", 400, bodies::scenario);
}

#[test]
fn tag_corpus() {
    replay("tag", bodies::tag);
    replay_changed("tag", 400, bodies::tag);
}

#[test]
fn csv_corpus() {
    replay("csv", bodies::csv);
    replay_changed("csv", 400, bodies::csv);
}

#[test]
fn season_corpus() {
    replay("season", bodies::season);
    replay_changed("season", 400, bodies::season);
}

#[test]
fn shard_corpus() {
    // A corpus of another format would be refused before anything is tried.
    let whole = corpus("shard").into_iter().filter(|data| {
        let mended = readodds::estimate::rows_file::with_end(&String::from_utf8_lossy(data));
        readodds::estimate::rows_file::parse(mended.as_bytes()).is_ok()
    });
    assert_eq!(whole.count(), 2, "the corpus is of the present format");
    replay("shard", bodies::shard);
    replay_changed("shard", 400, bodies::shard);
}

#[test]
fn outcome_corpus() {
    replay("outcome", bodies::outcome);
    replay_changed("outcome", 400, bodies::outcome);
}

#[test]
fn log_corpus() {
    replay("log", bodies::log);
    replay_changed("log", 400, bodies::log);
}

#[test]
fn learned_corpus() {
    replay("learned", bodies::learned);
    replay_changed("learned", 400, bodies::learned);
}

#[test]
fn forecast_corpus() {
    replay("forecast", bodies::forecast);
    replay_changed("forecast", 400, bodies::forecast);
}

#[test]
fn live_corpus() {
    replay("live", bodies::live);
    replay_changed("live", 400, bodies::live);
}

#[test]
fn passing_corpus() {
    replay("passing", bodies::passing);
    // Each is 240 to 480 passings.
    replay_changed("passing", 4, bodies::passing);
}
