//! A sweep file of 100,000 rows, read as referred CSV and as an instrument's export.

use divan::{Bencher, black_box};
use readodds::diag::Source;
use readodds::lab::{parse, raw_file, raw_parse};
use std::fmt::Write;

const ROWS: usize = 100_000;

fn main() {
    divan::main();
}

/// 100 samples of 1000 frequencies.
#[divan::bench(sample_count = 10)]
fn referred_csv_100_000_rows(bencher: Bencher<'_, '_>) {
    let mut text = "sample,phantom,gap_mm,freq_mhz,threshold_dbm,backscatter_db\n".to_owned();
    for row in 0..ROWS {
        let (sample, k) = (row / 1000, row % 1000);
        writeln!(text, "S{sample},body,10,{},-12.34,-8.5", 850.0 + 0.1 * k as f64).expect("memory");
    }
    let source = Source::new("large.csv", text);
    bencher.bench(|| parse::referred_csv(black_box(&source), 1.5).map(|r| r.0.len()).expect("good"));
}

#[divan::bench(sample_count = 10)]
fn raw_export_100_000_rows(bencher: Bencher<'_, '_>) {
    let toml = "name = 'x'\nown_spacer_mm = 1.5\nlevel = 'raw'\n[export]\nseparator = 'semicolon'\ndecimal = 'comma'\n\
        [columns]\nfreq = { name = 'f', unit = 'Hz' }\nthreshold = { name = 'p', unit = 'dBm' }\nsample = 's'\n\
        [setup]\ndistance_m = 1.0\nantenna_gain_dbi = 6.0\ncable_loss_db = 1.0\n\
        [[sweep]]\nfile = 'a.txt'\nphantom = 'none'\n";
    let file = raw_file::read(&Source::new("tag.toml", toml)).expect("good");
    let mut text = "s;f;p\n".to_owned();
    for row in 0..ROWS {
        let (sample, k) = (row / 1000, row % 1000);
        writeln!(text, "S{sample};{};12,5", 850_000_000 + 100_000 * k).expect("memory");
    }
    let source = Source::new("large.txt", text);
    bencher.bench(|| {
        raw_parse::read(&file, &file.sweep[0], black_box(&source)).map(|r| r.0.len()).expect("good")
    });
}
