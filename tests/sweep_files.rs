//! Bad sweep files: every problem found, placed and explained; nothing panics.

use proptest::prelude::*;
use readodds::diag::{Checked, Source};
use readodds::lab::{Level, Mount, Sweep, parse::referred_csv, text, toml_text};
use readodds::tag::tag_file;

const HEAD: &str = "sample,phantom,gap_mm,freq_mhz,threshold_dbm,backscatter_db,backscatter_at_dbm\n";

fn read(csv: &str) -> Checked<Vec<Sweep>> {
    referred_csv(&Source::new("t.csv", csv), 1.5)
}
fn rows(rows: &str) -> Checked<Vec<Sweep>> {
    read(&format!("# Invented.\n{HEAD}{rows}"))
}
/// Code, place and message of each problem.
fn problems(result: Checked<Vec<Sweep>>) -> Vec<(&'static str, String, String)> {
    let found = result.expect_err("refused");
    found.into_iter().map(|d| (d.code, d.place().unwrap_or_default(), d.message)).collect()
}

#[test]
fn a_good_file_is_read_and_sorted() {
    let (sweeps, warnings) =
        rows("A,none,,868,-17.5,-6,0\nA,none,,866,>12.0,,\nA,body,10,866,<-30,-9,0\nB,none,,866,,,\n")
            .expect("a good file");
    assert!(warnings.is_empty());
    assert_eq!(sweeps.len(), 3);
    assert_eq!(sweeps[0].readings[0].threshold_dbm, Some(Level::Above(12.0)));
    assert_eq!(sweeps[0].readings[1].freq_mhz, 868.0);
    assert_eq!(sweeps[1].mount, Mount::Phantom { name: "body".into(), gap_mm: 10.0 });
    assert_eq!(sweeps[1].readings[0].threshold_dbm, Some(Level::Below(-30.0)));
    assert_eq!(sweeps[2].readings[0].threshold_dbm, None);
}

#[test]
fn an_air_gap_is_counted_from_the_spacer() {
    let (sweeps, _) =
        read("sample,phantom,air_gap_mm,freq_mhz,threshold_dbm,backscatter_db\nA,body,8.5,866,-9,\n")
            .expect("a good file");
    assert_eq!(sweeps[0].mount.gap_mm(), Some(10.0));
    let both = problems(read("sample,phantom,gap_mm,air_gap_mm,freq_mhz,threshold_dbm,backscatter_db\n"));
    assert_eq!(both[0].0, "csv-column");
}

#[test]
fn every_bad_cell_is_placed() {
    let found = problems(rows(
        "A,none,,866,nan,,\nA,none,,868,inf,,\nA,none,,870,\"-12,5\",,\nA,none,,872,35,,\nA,none,,874,-41,,\n\
         ,none,,876,-12,,\nA,,,878,-12,,\nA,none,3,880,-12,,\nA,body,,882,-12,,\nA,body,1.0,884,-12,,\n\
         A,none,,886000,-12,,\nA,none,,,-12,,\nA,none,,890,-12\nA,none,,892,-12,5,6,1,3\nA,none,,894,> x,,\n",
    ));
    let places: Vec<&str> = found.iter().map(|(_, place, _)| place.as_str()).collect();
    assert_eq!(
        places,
        [
            "t.csv:3:13",
            "t.csv:4:13",
            "t.csv:5:13",
            "t.csv:6:13",
            "t.csv:7:13",
            "t.csv:8:1",
            "t.csv:9:3",
            "t.csv:10:8",
            "t.csv:11:8",
            "t.csv:12:8",
            "t.csv:13:9",
            "t.csv:14:9",
            "t.csv:15:1",
            "t.csv:16:1",
            "t.csv:17:13"
        ]
    );
}

#[test]
fn limits_are_held_on_the_edge() {
    for (cell, good) in
        [("30", true), ("30.01", false), ("-40", true), ("-40.01", false), (">30", true), ("NaN", false)]
    {
        assert_eq!(rows(&format!("A,none,,866,{cell},,\n")).is_ok(), good, "{cell}");
    }
}

#[test]
fn the_usual_spreadsheet_accidents_are_named() {
    let semicolon = problems(read("sample;phantom;gap_mm\nA;none;\n"));
    assert_eq!((semicolon[0].0, semicolon[0].1.as_str()), ("csv-separator", "t.csv:1:1"));
    let comma = rows("A,none,,866,-12,5,,\n").expect_err("eight fields");
    assert!(comma[0].help[0].contains("decimal comma"));
    let column = problems(read("sample,phantom,gap_mm,frequency,threshold_dbm,backscatter_db\n"));
    assert_eq!(column.len(), 2, "{column:?}");
    assert!(column[0].1.starts_with("t.csv:1:23"));
    assert_eq!(problems(read(HEAD))[0].0, "csv-no-rows");
    assert_eq!(problems(read("# only a comment\n"))[0].0, "csv-no-rows");
    let twice = problems(rows("A,none,,866,-12,,\n# between\nA,none,,866,-12,,\n"));
    assert_eq!((twice[0].0, twice[0].1.as_str()), ("csv-duplicate", "t.csv:5:1"));
}

#[test]
fn twenty_problems_are_shown_and_the_rest_counted() {
    let found = rows(&"A,none,,866,x,,\n".repeat(50)).expect_err("fifty problems");
    assert_eq!(found.len(), 21);
    assert!(found[20].message.starts_with("30 more"));
}

#[test]
fn a_200_mb_file_is_refused_unread() {
    let path = std::env::temp_dir().join(format!("readodds-large-{}.csv", std::process::id()));
    std::fs::File::create(&path).and_then(|f| f.set_len(200 << 20)).expect("a sparse file");
    let refused = text::read(&path).expect_err("too large");
    std::fs::remove_file(&path).expect("removed");
    assert_eq!(refused.code, "file-too-large");
    assert!(refused.message.contains("200 MB"));
}

proptest! {
    #[test]
    fn the_csv_reader_never_panics(text in "\\PC*|([A-C,;\"\n\r#> <.0-9-]|none|body|nan|866){0,200}") {
        let _ = read(&text);
        let _ = rows(&text);
    }

    #[test]
    fn bytes_never_panic(bytes in proptest::collection::vec(any::<u8>(), 0..300)) {
        if let Ok(file) = text::from_bytes("t.csv", bytes) {
            let _ = referred_csv(&file.source, 0.0);
        }
    }

    #[test]
    fn the_tag_file_reader_never_panics(
        text in "\\PC*|(name|note|price|spread|own_spacer_mm|level|'referred'|'raw'|=|\\[|\\]|\n|é|'x'|1.0|nan|-3| ){0,40}"
    ) {
        let source = Source::new("tag.toml", text);
        let _ = tag_file::read(&source);
        let _ = toml_text::place(&source, &["spread", "offset_sd_db"]);
    }
}
