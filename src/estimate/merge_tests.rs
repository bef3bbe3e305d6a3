use super::*;
use crate::estimate::race_row::{Ask, PointRow, SetRow, Shares};
use crate::estimate::rows_file::{FORMAT, FORMAT_VERSION, Input, parse, write};
use crate::estimate::run::Plan;
use crate::estimate::stop::Precision;

const RACES: u64 = 11;

fn row(race: u64) -> RaceRow {
    let rate = 1.0 / (race as f64 + 3.0);
    let set = SetRow { rate, variance: rate / 7.0, causes: [rate, 0.0, 1e-300, f64::MIN_POSITIVE] };
    RaceRow {
        race,
        passings: 40,
        wetness_shares: [0.1, 0.2, 0.7],
        points: vec![PointRow {
            sets: vec![set.clone()],
            shares: Shares { placement: vec![rate; 2], ..Shares::default() },
        }],
        any_missed: set,
    }
}

fn part(index: u64, of: u64) -> (String, RowsFile) {
    let plan = Plan {
        seed: 9,
        precision: Precision { relative: 0.05, absolute: 1e-6, max_passings: 1000 },
        races: Some(RACES),
        passings_per_race: 40,
        estimator: Default::default(),
    };
    let header = Header {
        format: FORMAT.to_owned(),
        format_version: FORMAT_VERSION,
        program_version: "1.2.3".to_owned(),
        inputs: vec![Input { path: "a.toml".to_owned(), sha256: "00".to_owned() }],
        plan,
        ask: Ask { seed: 9, masks: vec![vec![1]], allocation: vec![40] },
        shard: Shard { index, of },
    };
    let rows = header.shard.races(RACES).map(row).collect();
    (format!("part-{index}"), RowsFile { header, rows, sets: Vec::new() })
}

fn parts(of: u64) -> Vec<(String, RowsFile)> {
    (0..of).map(|index| part(index, of)).collect()
}

fn text(file: &RowsFile) -> Vec<u8> {
    let mut bytes = Vec::new();
    write(&mut bytes, &file.header, &file.rows, &file.sets).unwrap();
    bytes
}

fn refusal(files: Vec<(String, RowsFile)>) -> String {
    merge(files).unwrap_err().join("\n")
}

#[test]
fn any_split_in_any_order_gives_the_same_bytes() {
    let whole = part(0, 1).1;
    for of in [1, 2, 3, 5, 11, 20] {
        let mut files = parts(of);
        files.reverse();
        let (header, rows) = merge(files).unwrap();
        assert_eq!(text(&RowsFile { header, rows, sets: Vec::new() }), text(&whole), "{of} shards");
    }
    // Different splits may be mixed as long as every race is there once: evens from 0/2, odds from 1/4 and 3/4.
    assert!(merge(vec![part(0, 2), part(1, 4), part(3, 4)]).is_ok());
}

#[test]
fn what_does_not_fit_is_refused_by_name() {
    let mut hole = parts(4);
    hole.remove(2);
    assert_eq!(refusal(hole), "races 2, 6, 10 are missing; no file of shard 2/4");
    let mut overlap = parts(3);
    overlap.push(part(0, 6));
    assert_eq!(refusal(overlap), "races 0, 6 stand both in part-0 and in part-0; leave one of them out");
    let mut seed = parts(2);
    seed[1].1.header.plan.seed = 10;
    assert_eq!(refusal(seed), "part-1 does not go with part-0: seed: 9 against 10");
    let mut version = parts(2);
    version[1].1.header.program_version = "1.2.4".to_owned();
    assert_eq!(
        refusal(version),
        "part-1 does not go with part-0: version of the program: 1.2.3 against 1.2.4"
    );
    let mut input = parts(2);
    input[1].1.header.inputs[0].sha256 = "01".to_owned();
    assert_eq!(refusal(input), "part-1 does not go with part-0: content of a.toml: SHA-256 00 against 01");
    let mut unfinished = parts(2);
    unfinished[1].1.rows.truncate(3);
    let said = refusal(unfinished);
    assert!(said.contains("part-1 is not finished: 3 of 5 races; run shard 1/2 again"), "{said}");
    assert!(said.contains("races 7, 9 are missing"), "{said}");
    let mut open = parts(1);
    open[0].1.header.plan.races = None;
    assert!(refusal(open).contains("without a fixed number of race days"));
    assert!(refusal(Vec::new()).contains("no file"));
}

/// Damage to any byte, and every truncation, is noticed.
#[test]
fn a_damaged_file_is_never_used() {
    let file = part(1, 2).1;
    let good = text(&file);
    assert_eq!(parse(&good).unwrap(), file);
    for end in 0..good.len() {
        assert!(parse(&good[..end]).is_err(), "cut to {end} bytes");
    }
    for place in 0..good.len() {
        let mut bad = good.clone();
        bad[place] ^= 0x11;
        assert!(parse(&bad).is_err(), "byte {place}");
    }
}

#[test]
fn numbers_read_back_to_the_same_bits() {
    let file = part(0, 1).1;
    let back = parse(&text(&file)).unwrap();
    for (a, b) in file.rows.iter().zip(&back.rows) {
        assert_eq!(a.points[0].sets[0].rate.to_bits(), b.points[0].sets[0].rate.to_bits());
        assert_eq!(
            a.points[0].sets[0].causes.map(f64::to_bits),
            b.points[0].sets[0].causes.map(f64::to_bits)
        );
    }
}
