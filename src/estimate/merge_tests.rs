use super::*;
use crate::estimate::offsets::{LEVELS, RACE_DAYS};
use crate::estimate::rows_file::{FORMAT, FORMAT_VERSION, Input, parse, write};
use crate::estimate::run::{Plan, Precision};
use crate::estimate::world::{Ask, Shares, WorldRow};

const WORLDS: u64 = 11;

fn row(world: u64) -> WorldRow {
    let rate = 1.0 / (world as f64 + 3.0);
    let odds: Vec<f32> = (0..6 * RACE_DAYS).map(|day| (rate / (day as f64 + 1.7)) as f32).collect();
    // Of the first set, both halves of the passings.
    let of_set = &odds[..2 * RACE_DAYS];
    let rate = of_set.iter().map(|&odds| f64::from(odds)).sum::<f64>() / of_set.len() as f64;
    let shares = Shares {
        causes: [rate, 0.0, 1e-300, f64::MIN_POSITIVE],
        strata: vec![rate],
        lateral: [0.5 * rate, 0.5 * rate, 0.0, 0.0, 0.0, 0.0],
        lateral_weight: [0.5, 0.5, 0.0, 0.0, 0.0, 0.0],
        ..Shares::default()
    };
    WorldRow {
        world,
        level_weights: vec![1.0; LEVELS],
        passings: 40,
        odds,
        weights: vec![1.0],
        points: vec![shares],
    }
}

fn part(index: u64, of: u64) -> (String, RowsFile) {
    let plan = Plan {
        seed: 9,
        precision: Precision { relative: 0.05, runners: 0.01, max_passings: 1000 },
        worlds: Some(WORLDS),
        passings_per_world: 40,
    };
    let header = Header {
        format: FORMAT.to_owned(),
        format_version: FORMAT_VERSION,
        program_version: "1.2.3".to_owned(),
        build: "b1".to_owned(),
        study: FORECAST.to_owned(),
        inputs: vec![Input { path: "a.toml".to_owned(), sha256: "00".to_owned() }],
        plan,
        shard: Shard { index, of },
    };
    let ask = Ask { seed: 9, masks: vec![vec![1]], allocation: vec![40], tilt: Default::default() };
    let rows = header.shard.worlds(WORLDS).map(row).collect();
    let parts = vec![Part { name: FORECAST.to_owned(), ask, rows }];
    (format!("part-{index}"), RowsFile { header, parts })
}

fn parts(of: u64) -> Vec<(String, RowsFile)> {
    (0..of).map(|index| part(index, of)).collect()
}

fn text(file: &RowsFile) -> Vec<u8> {
    let mut bytes = Vec::new();
    write(&mut bytes, &file.header, &file.parts).unwrap();
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
        let (header, part) = merge(files).unwrap();
        assert_eq!(text(&RowsFile { header, parts: vec![part] }), text(&whole), "{of} shards");
    }
    // Different splits may be mixed as long as every race is there once: evens from 0/2, odds from 1/4 and 3/4.
    assert!(merge(vec![part(0, 2), part(1, 4), part(3, 4)]).is_ok());
}

#[test]
fn what_does_not_fit_is_refused_by_name() {
    let mut hole = parts(4);
    hole.remove(2);
    assert_eq!(refusal(hole), "worlds 2, 6, 10 are missing; no file of shard 2/4");
    let mut overlap = parts(3);
    overlap.push(part(0, 6));
    assert_eq!(refusal(overlap), "worlds 0, 6 stand both in part-0 and in part-0; leave one of them out");
    let mut seed = parts(2);
    seed[1].1.header.plan.seed = 10;
    assert_eq!(refusal(seed), "part-1 does not go with part-0: seed: 9 against 10");
    let mut version = parts(2);
    version[1].1.header.program_version = "1.2.4".to_owned();
    assert_eq!(
        refusal(version),
        "part-1 does not go with part-0: version of the program: 1.2.3 against 1.2.4"
    );
    let mut build = parts(2);
    build[1].1.header.build = "b2".to_owned();
    assert_eq!(
        refusal(build),
        "part-1 does not go with part-0: build (hash of the program's sources): b1 against b2"
    );
    let mut study = parts(2);
    study[0].1.header.study = "rank".to_owned();
    assert!(refusal(study).starts_with("part-0 is the checkpoint of a study, not a shard"));
    let mut input = parts(2);
    input[1].1.header.inputs[0].sha256 = "01".to_owned();
    assert_eq!(refusal(input), "part-1 does not go with part-0: content of a.toml: SHA-256 00 against 01");
    let mut unfinished = parts(2);
    unfinished[1].1.parts[0].rows.truncate(3);
    let said = refusal(unfinished);
    assert!(said.contains("part-1 is not finished: 3 of 5 worlds; run shard 1/2 again"), "{said}");
    assert!(said.contains("worlds 7, 9 are missing"), "{said}");
    let mut open = parts(1);
    open[0].1.header.plan.worlds = None;
    assert!(refusal(open).contains("without a fixed number of worlds"));
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
    for (a, b) in file.parts[0].rows.iter().zip(&back.parts[0].rows) {
        let bits = |row: &WorldRow| row.odds.iter().map(|x| x.to_bits()).collect::<Vec<u32>>();
        assert_eq!(bits(a), bits(b));
        assert_eq!(a.points[0].causes.map(f64::to_bits), b.points[0].causes.map(f64::to_bits));
    }
}

/// A forged row under a hash of its own is still found: odds have a range.
#[test]
fn a_forged_row_is_refused() {
    let mut file = part(0, 1).1;
    file.parts[0].rows[3].odds[5] = 1.5;
    assert!(parse(&text(&file)).unwrap_err().contains("world 3 holds a share or odds outside what can be"));
    type Forge = fn(&mut WorldRow);
    let forgeries: [(&str, Forge); 9] = [
        ("more missed than passed", |row| {
            row.points[0].strata[0] = 6.0;
            row.points[0].causes[0] = 6.0;
            row.points[0].lateral[0] = 6.0;
        }),
        ("causes that do not add up", |row| row.points[0].causes[1] += 1e-3),
        ("places that do not add up", |row| row.points[0].lateral[3] += 1e-3),
        ("a place where more is missed than passes", |row| {
            row.points[0].lateral_weight = [1.0, 0.0, 0.0, 0.0, 0.0, 0.0]
        }),
        ("a weight that is not the world's", |row| row.weights[0] = 0.7),
        ("a level that weighs too much", |row| row.level_weights[0] = 2.0),
        ("more close to the body than pass", |row| row.points[0].clamped = 1.5),
        ("odds that are not those of the causes", |row| row.odds[7] += 0.01),
        ("no number", |row| row.odds[0] = f32::NAN),
    ];
    for (what, forge) in forgeries {
        let mut file = part(0, 1).1;
        forge(&mut file.parts[0].rows[3]);
        assert!(parse(&text(&file)).is_err(), "{what}");
    }
    let mut file = part(0, 1).1;
    file.parts[0].rows[2].odds.pop();
    assert!(parse(&text(&file)).unwrap_err().contains("does not hold the timing points"));
}
